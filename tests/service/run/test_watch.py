"""What whoever runs the service sees: health, readiness, counters, timings, request ids, logs."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.tokens import key_id_of, secret_of

from accord_rules.authority import Authority
from accord_rules.revision.book import Book
from accord_service.run import log


def test_alive(client: FlaskClient) -> None:
    assert client.get("/healthz").json == {"status": "alive"}


def test_ready_says_which_book(client: FlaskClient, book: Book) -> None:
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert answer.json["status"] == "ready"
    assert answer.json["checks"]["book"] == {"ok": True, "revision": 1, "digest": book.digest}
    assert answer.json["checks"]["self_test"]["ok"]
    assert answer.json["checks"]["store"] == {"ok": True, "detail": ""}


def test_a_red_self_test_is_found_at_the_start(
    collective: Any, serve: Callable[[Any], Flask], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(self: Authority, one_in: int) -> None:
        raise RuntimeError("rule x is silent")

    monkeypatch.setattr(Authority, "self_test", fail)
    answer = serve(collective).test_client().get("/readyz")
    assert answer.status_code == 503
    assert "rule x is silent" in answer.json["checks"]["self_test"]["detail"]


def test_requests_are_counted_by_endpoint_never_by_address(client: FlaskClient, key: dict[str, str]) -> None:
    for stranger in ("/wp-admin", "/v1/zzz-stranger", "/v1/rules/no-such-rule-at-all"):
        client.get(stranger, headers=key)
    client.open("/v1/rules", method="BREW")
    text = client.get("/metrics").text
    assert 'accord_requests_total{endpoint="get_rule",method="GET",status="404"}' in text
    assert 'accord_requests_total{endpoint="none",method="OTHER",status="405"}' in text
    assert not re.search("wp-admin|zzz-stranger|no-such-rule-at-all|BREW", text)


def test_timings_are_told(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    """Server-Timing, W3C: name;dur=milliseconds."""
    never_asked = order | {"quantity": 579}  # what is given from memory takes no time to answer
    header = client.post("/v1/validate", json=never_asked, headers=key).headers["Server-Timing"]
    durations = dict(re.findall(r"([a-z]+);dur=(\d+\.\d\d)", header))
    assert list(durations) == ["read", "answer", "write", "total"]
    assert float(durations["total"]) >= float(durations["answer"])


@pytest.mark.parametrize("request_id", ["HL-7.1:abc_d", "a" * 64])
def test_a_sane_request_id_is_kept(client: FlaskClient, request_id: str) -> None:
    assert client.get("/healthz", headers={"X-Request-Id": request_id}).headers["X-Request-Id"] == request_id


@pytest.mark.parametrize("request_id", ["", "a" * 65, "a b", "<script>", 'a"b', "é"])
def test_any_other_is_replaced(client: FlaskClient, request_id: str) -> None:
    replaced = client.get("/healthz", headers={"X-Request-Id": request_id}).headers["X-Request-Id"]
    assert re.fullmatch("[0-9a-f]{32}", replaced)


def test_a_request_is_one_line_of_json_without_key_or_order(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], caplog: pytest.LogCaptureFixture
) -> None:
    token = key["Authorization"].removeprefix("Bearer ")
    order["reference"] = "customer-name"
    with caplog.at_level(logging.INFO, "accord_service"):
        answer = client.post("/v1/validate", json=order, headers=key | {"X-Request-Id": "one"})
    (record,) = [record for record in caplog.records if record.getMessage() == "answered"]
    text = log.JsonLines().format(record)
    assert "\n" not in text
    line = json.loads(text)
    assert line["request_id"] == "one"
    assert (line["endpoint"], line["method"], line["status"]) == ("post_validate", "POST", 200)
    assert (line["shop"], line["role"], line["key"]) == ("quay-side", "counter", key_id_of(token))
    assert line["verdict_id"] == answer.json["id"]
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", line["time"])
    assert "customer-name" not in text
    assert secret_of(token) not in text


def test_a_log_line_holds_a_whole_traceback(caplog: pytest.LogCaptureFixture) -> None:
    try:
        raise ValueError("line one\nline two")
    except ValueError:
        logging.getLogger("accord_service.test").exception("it failed")
    text = log.JsonLines().format(caplog.records[-1])
    assert "\n" not in text
    assert "line one\nline two" in json.loads(text)["exception"]


def test_logs_are_written_once_however_many_apps_there_are() -> None:
    log.configure("INFO")
    log.configure("INFO")
    handlers = logging.getLogger("accord_service").handlers
    assert len([handler for handler in handlers if isinstance(handler.formatter, log.JsonLines)]) == 1
