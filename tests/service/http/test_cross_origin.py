"""Pages of other origins (Fetch standard, CORS protocol): those listed are admitted, all others are not told so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_service.app import create_app

PAGE, OTHER = "https://orders.example", "https://elsewhere.example"
PREFLIGHT = {"Access-Control-Request-Method": "PUT", "Access-Control-Request-Headers": "authorization,if-match"}


@pytest.fixture(scope="module")
def admitting(collective: Any) -> Iterator[FlaskClient]:
    app = create_app(replace(collective.config, cors_origins=(PAGE, "http://localhost:3000")))
    yield app.test_client()
    app.extensions["accord"].close()


def admitted(answer: Any) -> set[str]:
    return {name for name in dict(answer.headers) if name.startswith("Access-Control-")}


def test_a_listed_origin_may_read_the_answer(admitting: FlaskClient, key: dict[str, str]) -> None:
    for origin in (PAGE, "http://localhost:3000"):
        answer = admitting.get("/v1/shop", headers=key | {"Origin": origin})
        assert answer.status_code == 200
        assert answer.headers["Access-Control-Allow-Origin"] == origin
        exposed = set(answer.headers["Access-Control-Expose-Headers"].split(", "))
        assert {"ETag", "Location", "X-Request-Id", "Accord-Basis", "Retry-After", "Idempotency-Replayed"} <= exposed
        assert "Origin" in answer.vary


def test_a_listed_origin_may_read_a_refusal(admitting: FlaskClient) -> None:
    answer = admitting.get("/v1/shop", headers={"Origin": PAGE})
    assert (answer.status_code, answer.headers["Access-Control-Allow-Origin"]) == (401, PAGE)


def test_its_preflight_is_answered_without_a_key(admitting: FlaskClient) -> None:
    answer = admitting.options("/v1/shop", headers=PREFLIGHT | {"Origin": PAGE})
    assert answer.status_code == 200
    assert answer.headers["Access-Control-Allow-Origin"] == PAGE
    assert {"GET", "PUT"} <= set(answer.headers["Access-Control-Allow-Methods"].split(", "))
    sent = set(answer.headers["Access-Control-Allow-Headers"].lower().split(", "))
    assert {"authorization", "content-type", "if-match", "if-none-match", "idempotency-key"} <= sent
    assert int(answer.headers["Access-Control-Max-Age"]) > 0
    assert "Access-Control-Allow-Methods" not in admitting.get("/v1/shop", headers={"Origin": PAGE}).headers


@pytest.mark.parametrize(
    "origin", [OTHER, PAGE + ".elsewhere.example", "http://orders.example", PAGE + ":8443", PAGE.upper(), "null", "*"]
)
def test_no_other_origin_is_admitted(admitting: FlaskClient, key: dict[str, str], origin: str) -> None:
    answer = admitting.get("/v1/shop", headers=key | {"Origin": origin})
    preflight = admitting.options("/v1/shop", headers=PREFLIGHT | {"Origin": origin})
    assert (admitted(answer), admitted(preflight)) == (set(), set())
    assert "Origin" in answer.vary, "a cache must not give it to the origin that is admitted"


def test_nothing_is_admitted_beside_the_api(admitting: FlaskClient) -> None:
    for address in ("/", "/docs", "/metrics", "/readyz", "/v10"):
        assert admitted(admitting.get(address, headers={"Origin": PAGE})) == set()


def test_neither_everybody_nor_credentials(admitting: FlaskClient, key: dict[str, str]) -> None:
    for answer in (
        admitting.get("/v1/shop", headers=key | {"Origin": PAGE}),
        admitting.options("/v1/shop", headers=PREFLIGHT | {"Origin": PAGE}),
        admitting.get("/v1/shop", headers=key),
    ):
        assert "Access-Control-Allow-Credentials" not in answer.headers
        assert answer.headers.get("Access-Control-Allow-Origin") in (PAGE, None)


def test_it_is_off_until_origins_are_listed(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.get("/v1/shop", headers=key | {"Origin": PAGE})
    preflight = client.options("/v1/shop", headers=PREFLIGHT | {"Origin": PAGE})
    assert (admitted(answer), admitted(preflight)) == (set(), set())
    assert "Origin" not in answer.vary
