"""Problem details (RFC 9457): one tree, one page a type, and nothing of ours leaks out of a 500."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from accord_rules.authority import Authority
from accord_rules.governance.house import Refusal
from accord_service.http import problems
from accord_service.http.problems import PROBLEMS, AllPiecesReported, HouseRulesRefused, Problem


def test_the_tree_at_the_top_of_the_module_is_the_tree() -> None:
    drawn = re.findall(r"[├└]── (\w+) +(\d+)", problems.__doc__ or "")
    assert drawn == [(problem.__name__, str(problem.status)) for problem in PROBLEMS.values()]


@pytest.mark.parametrize("slug", PROBLEMS)
def test_every_type_has_its_page(client: FlaskClient, slug: str) -> None:
    problem = PROBLEMS[slug]
    page = client.get(f"/problems/{slug}", headers={"Accept": "text/html"})
    assert page.mimetype == "text/html"
    assert str(problem.status) in page.text
    document = client.get(f"/problems/{slug}", headers={"Accept": "application/json"}).json
    assert document["type"] == f"/problems/{slug}"
    assert document["meaning"] == problem.meaning
    assert document["remedy"] == problem.remedy
    assert f"/problems/{slug}" in client.get("/problems").text


@pytest.mark.parametrize("slug", PROBLEMS)
@pytest.mark.parametrize("detail", ["", "There is no revision 999", "There is no revision 999.", "It went on.."])
def test_a_detail_has_one_full_stop_or_question_mark(slug: str, detail: str) -> None:
    problem_type = PROBLEMS[slug]
    makers: dict[type[Problem], Callable[[], Problem]] = {
        AllPiecesReported: lambda: AllPiecesReported(2, 2),
        HouseRulesRefused: lambda: HouseRulesRefused([Refusal("/limits/x", detail)]),
    }
    problem = makers.get(problem_type, lambda: problem_type(detail))()
    written = problems.document(problem, "some-id")
    for text in (written["detail"], *(error["message"] for error in written["errors"])):
        assert re.search(r"(?<![.?])[.?]$", text), text


@pytest.mark.parametrize(
    ("method", "address", "status"),
    [
        ("GET", "/v1/rules?revision=999", 404),
        ("GET", "/v1/revisions/999", 404),
        ("GET", "/v1/rules/no-such-rule", 404),
        ("GET", "/v1/no-such-page", 404),
        ("DELETE", "/v1/rules", 405),
        ("GET", "/v1/rules?levle=notes", 400),
        ("POST", "/v1/validate", 415),
    ],
)
def test_a_refusal_is_one_sentence(
    client: FlaskClient, key: dict[str, str], method: str, address: str, status: int
) -> None:
    answer = client.open(address, method=method, headers=key)
    assert answer.status_code == status
    assert re.search(r"[^. ]\.$", answer.json["detail"]), answer.json["detail"]


def test_unknown_types_are_not_found(client: FlaskClient) -> None:
    assert client.get("/problems/no-such-problem").status_code == 404


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    """An authority whose every question fails."""

    def fail(self: Authority, *arguments: Any, **options: Any) -> Any:
        raise RuntimeError("the secret of the house")

    monkeypatch.setattr(Authority, "validated", fail)


@pytest.mark.usefixtures("broken")
def test_what_fails_inside_is_logged_with_its_id_and_not_told(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        never_asked = order | {"quantity": 577}  # or the answer of before would be given
        answer = client.post("/v1/validate", json=never_asked, headers=key | {"X-Request-Id": "counter-7"})
    assert answer.status_code == 500
    assert answer.json["type"] == "/problems/internal-error"
    assert answer.json["request_id"] == "counter-7"
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    (record,) = [record for record in caplog.records if record.levelno == logging.ERROR]
    assert record.details == {"request_id": "counter-7"}  # type: ignore[attr-defined]
    assert record.exc_info is not None
    assert "the secret of the house" in str(record.exc_info[1])


@pytest.fixture
def unready(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    with app.extensions["accord"].taken() as snapshot:
        monkeypatch.setattr(snapshot.edition, "failed", "SelfTestError: rule x is silent")


@pytest.mark.usefixtures("unready")
def test_while_the_self_test_is_red_no_order_is_judged(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    for path in ("/v1/validate", "/v1/recommend"):
        answer = client.post(path, json=order, headers=key)
        assert answer.status_code == 503
        assert answer.json["type"] == "/problems/not-ready"
    ready = client.get("/readyz")
    assert ready.status_code == 503
    assert ready.json["checks"]["self_test"] == {"ok": False, "detail": "SelfTestError: rule x is silent"}
    assert client.get("/healthz").status_code == 200
    assert client.get("/v1/rules", headers=key).status_code == 200
    assert "Not ready" in client.get("/").text


def test_an_error_is_readable_without_unescaping(client: FlaskClient, key: dict[str, str]) -> None:
    body = {"item": {}, "decorations": [{"settings": {"temperature": 180}}]}
    answer = client.post("/v1/validate", json=body, headers=key)
    assert "°F" in answer.data.decode("utf-8")
    assert json.loads(answer.data) == answer.json


@pytest.mark.parametrize(("status", "stands_for"), [(410, 400), (418, 400), (507, 500), (416, 416), (404, 404)])
def test_a_status_without_a_type_of_its_own_is_the_first_of_its_class(status: int, stands_for: int) -> None:
    """RFC 9110 section 15: clients take an unknown status for x00 of its class; about:blank would tell them nothing."""
    assert problems.of_status(status).status == stands_for


@pytest.mark.parametrize(
    ("method", "path", "headers", "status", "type_"),
    [
        ("GET", "/nowhere", {}, 404, "not-found"),
        ("GET", "/v1//shop", {}, 404, "not-found"),
        ("GET", "/static/../app.py", {}, 404, "not-found"),
        ("BREW", "/v1/validate", {}, 405, "wrong-method"),
        ("POST", "/docs", {}, 405, "wrong-method"),
        ("GET", "/static/pages.css", {"Range": "bytes=9999999-"}, 416, "range-not-there"),
    ],
)
def test_what_flask_refuses_is_of_our_own_table(
    client: FlaskClient, method: str, path: str, headers: dict[str, str], status: int, type_: str
) -> None:
    """RFC 9457 section 3.1.1: a type that can be looked up."""
    answer = client.open(path, method=method, headers=headers)
    assert (answer.status_code, answer.json["type"]) == (status, f"/problems/{type_}")
    assert answer.mimetype == "application/problem+json"
    assert client.get(answer.json["type"]).status_code == 200
    if status == 405:
        assert answer.headers["Allow"], "RFC 9110 section 15.5.6"
    if status == 416:
        assert answer.headers["Content-Range"].startswith("bytes */"), "RFC 9110 section 15.5.17"
