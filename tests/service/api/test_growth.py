"""How the API grows: what says where everything is, and what says that something will go."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import make_dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from accord_rules.authority import code_digest
from accord_rules.documents.writing import Documented
from accord_service.api.answers import ApiIndex, Limits
from accord_service.api.endpoint import Deprecation
from accord_service.api.v1 import ENDPOINTS
from accord_service.api.v1.get_limits import get_limits
from accord_service.app import create_app
from accord_service.described import openapi
from accord_service.http import wire

OLD = replace(
    get_limits,
    path="/v1/thresholds",
    deprecation=Deprecation(
        since=datetime(2027, 1, 1, tzinfo=UTC),
        sunset=datetime(2027, 12, 31, 23, 59, 59, tzinfo=UTC),
        successor="/v1/limits",
    ),
)


def test_the_index_says_what_it_is_and_where_everything_is(client: FlaskClient) -> None:
    """Without a key: it is what a client asks before it has one."""
    answer = client.get("/v1")
    assert answer.status_code == 200, answer.text
    index = answer.json
    assert (index["api_version"], index["code_digest"]) == ("1", code_digest())
    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert index["code_version"] == project["version"]
    assert {"gzip", "idempotency-key", "as-of-revision"} <= set(index["features"])
    assert {
        operation["operation_id"]: (operation["method"], operation["path"]) for operation in index["operations"]
    } == {endpoint.operation_id: (endpoint.method, endpoint.path) for endpoint in ENDPOINTS}
    assert set(index["links"]) == {"self", "description", "documentation", "problems"}
    for address in index["links"].values():
        assert client.get(address).status_code == 200, address
    assert client.get("/v1", headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304


def test_a_feature_that_is_off_is_not_told(client: FlaskClient, collective: Any) -> None:
    assert "cross-origin" not in client.get("/v1").json["features"]
    app = create_app(replace(collective.config, cors_origins=("https://orders.example",)))
    assert "cross-origin" in app.test_client().get("/v1").json["features"]
    app.extensions["accord"].close()


@pytest.fixture(scope="module")
def ageing(collective: Any) -> Iterator[Flask]:
    """A service with an endpoint that will go; none of ours does now."""
    app = create_app(collective.config)
    app.add_url_rule(OLD.rule, "get_thresholds", OLD.view, methods=[OLD.method])
    yield app
    app.extensions["accord"].close()


def test_none_of_ours_is_deprecated(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.get("/v1/limits", headers=key)
    assert answer.status_code == 200
    assert {"Deprecation", "Sunset", "Link"}.isdisjoint(dict(answer.headers))
    assert [endpoint.name for endpoint in ENDPOINTS if endpoint.deprecation is not None] == []


@pytest.mark.parametrize(("query", "status"), [("", 200), ("?limit=0", 400)])
def test_what_will_go_says_so_in_each_answer(ageing: Flask, key: dict[str, str], query: str, status: int) -> None:
    """RFC 9745 section 2.1: an RFC 9651 date, seconds since 1970 behind @; RFC 8594 section 3: an HTTP date."""
    answer = ageing.test_client().get(f"/v1/thresholds{query}", headers=key)
    assert answer.status_code == status
    assert answer.headers["Deprecation"] == "@1798761600"
    assert answer.headers["Sunset"] == "Fri, 31 Dec 2027 23:59:59 GMT"
    assert answer.headers["Link"] == '</v1/limits>; rel="successor-version"'


def test_without_a_day_it_goes_there_is_no_sunset(ageing: Flask) -> None:
    deprecation = replace(OLD.deprecation, sunset=None) if OLD.deprecation is not None else None
    assert deprecation is not None
    with ageing.test_request_context():
        marked = deprecation.mark(ageing.make_response(""))
    assert "Sunset" not in marked.headers
    assert "Deprecation" in marked.headers


def test_the_description_says_so_too(ageing: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(openapi, "ENDPOINTS", (*ENDPOINTS, OLD))
    paths = ageing.test_client().get("/v1/openapi.json").json["paths"]
    assert paths["/v1/thresholds"]["get"]["deprecated"] is True
    headers = paths["/v1/thresholds"]["get"]["responses"]["200"]["headers"]
    assert {"Deprecation", "Sunset", "Link"} <= set(headers)
    assert "deprecated" not in paths["/v1/limits"]["get"]
    assert paths["/v1"]["get"]["security"] == []


def test_two_shapes_of_one_name_are_told_with_both_modules() -> None:
    """Only one of them can be described under it; the description's own library tells that late, and of neither."""
    namesake = make_dataclass("Limits", [], bases=(Documented,), frozen=True)
    namesake.__module__ = "api.more"  # from Python 3.12 on make_dataclass says that it is its caller's
    with pytest.raises(ValueError, match=r"name Limits, of accord_service\.api\.answers and of api\.more"):
        wire.named_once((Limits, ApiIndex, Limits, namesake))
    assert wire.named_once((Limits, ApiIndex, Limits)) == (Limits, ApiIndex)
