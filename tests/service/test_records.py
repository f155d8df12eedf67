"""Verdict records: kept before they are answered, found again by their shop alone, and asked again years later.

Source of what is expected: this project's own contract; there is no outside one.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from accord_rules import authority as rules_authority
from accord_service.steps import records
from accord_service.store import EmbeddedServer, Store
from accord_service.store.connection import connect

WITH_RECORD = "/v1/validate?record=true"
NEWS_S = 0.6  # a worker asks for news each half second
FIRST_PIECE, RULE = "order.first_piece_quantity_from", "press-one-piece-first"


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    one: FlaskClient = changing.one
    return one


@pytest.fixture
def quay(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "owner"))


@pytest.fixture
def store(changing: Any) -> Iterator[Store]:
    opened = Store.at(changing.collective.server.url, timeout_s=5.0)
    yield opened
    opened.close()


def ok(answer: TestResponse) -> Any:
    assert answer.status_code in (200, 201), answer.text
    return answer.json


def test_a_recorded_verdict_is_found_again(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    verdict = ok(client.post(WITH_RECORD, json=order, headers=quay))
    found = ok(client.get(f"/v1/verdicts/{verdict['id']}", headers=quay))
    assert found["verdict"] == verdict
    assert found["order"] == {name: value for name, value in order.items() if name != "reference"}
    assert found["reference"] == order["reference"]
    assert found["code"] == rules_authority.code_digest()


def test_nothing_is_kept_unasked(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    order["quantity"] = 77
    verdict = ok(client.post("/v1/validate", json=order, headers=quay))
    assert client.get(f"/v1/verdicts/{verdict['id']}", headers=quay).status_code == 404


def test_asking_for_a_record_changes_no_byte_of_the_answer(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    assert (
        client.post("/v1/validate", json=order, headers=quay).data
        == client.post(WITH_RECORD, json=order, headers=quay).data
    )


def test_a_repetition_costs_no_second_record(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    ok(client.post(WITH_RECORD, json=order, headers=quay))
    before = store.audit.head()
    for _ in range(5):
        ok(client.post(WITH_RECORD, json=order | {"reference": "another"}, headers=quay))
    assert store.audit.head() == before


def test_another_shops_record_does_not_exist(
    client: FlaskClient, quay: dict[str, str], changing: Any, order: dict[str, Any]
) -> None:
    verdict = ok(client.post(WITH_RECORD, json=order, headers=quay))
    for holder in (("mill-loft", "counter"), ("mill-loft", "owner"), ("collective", "admin")):
        other = changing.headers(*holder)
        for address in ("", "/replay", "/outcomes"):
            answer = client.get(f"/v1/verdicts/{verdict['id']}{address}", headers=other)
            assert (answer.status_code, answer.json["type"]) == (404, "/problems/not-found")
    masking = client.delete(f"/v1/verdicts/{verdict['id']}/reference", headers=changing.headers("mill-loft", "owner"))
    assert masking.status_code == 404


def test_it_is_kept_as_long_as_configured(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    verdict = ok(client.post(WITH_RECORD, json=order, headers=quay))
    record = store.verdicts.get("quay-side", verdict["id"])
    assert record is not None
    assert record.expires_at is not None
    assert record.expires_at - record.at == 730 * 86_400


def test_masking_takes_the_reference_and_nothing_else(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    order["quantity"] = 31
    verdict = ok(client.post(WITH_RECORD, json=order, headers=quay))
    address = f"/v1/verdicts/{verdict['id']}"
    before = ok(client.get(address, headers=quay))
    previewed = ok(client.delete(f"{address}/reference?validate_only=true", headers=quay))
    assert ok(client.get(address, headers=quay)) == before
    masked = ok(client.delete(f"{address}/reference", headers=quay))
    after = ok(client.get(address, headers=quay))
    assert after == masked == previewed
    assert after == {**before, "reference": "masked", "verdict": {**verdict, "reference": "masked"}}
    assert order["reference"] not in str(after)


# -- replay ------------------------------------------------------------------------------------------------------------


def replayed(client: FlaskClient, headers: dict[str, str], verdict: Any, query: str = "") -> Any:
    return ok(client.get(f"/v1/verdicts/{verdict['id']}/replay{query}", headers=headers))


def test_nothing_changed_is_the_same_to_the_word(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    verdict = ok(client.post(WITH_RECORD, json=order, headers=quay))
    found = replayed(client, quay, verdict)
    assert found["same"]
    assert found["made_a_difference"] == {"code": False, "book": False, "house": False}
    assert found["verdict"]["id"] == verdict["id"]
    assert found["appeared"] == found["gone"] == found["changed"] == []


def test_house_rules_made_the_difference(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    """The house presses one piece ahead of 20 already, the book of 24."""
    order["quantity"] = 22
    shared = ok(client.post(WITH_RECORD, json=order, headers=quay))
    set_house(client, quay, {"limits": {FIRST_PIECE: 20}})
    housed = ok(client.post(WITH_RECORD, json=order, headers=quay))
    assert replayed(client, quay, housed)["same"]
    found = replayed(client, quay, shared)
    assert found["made_a_difference"] == {"code": False, "book": False, "house": True}
    assert [each["rule"] for each in found["appeared"]] == [RULE]
    set_house(client, quay, {})
    found = replayed(client, quay, housed)
    assert found["made_a_difference"] == {"code": False, "book": False, "house": True}
    assert [each["rule"] for each in found["gone"]] == [RULE]
    assert replayed(client, quay, shared)["same"]


def set_house(client: FlaskClient, headers: dict[str, str], rules: dict[str, Any]) -> None:
    seen = client.get("/v1/shop/house-rules", headers=headers)
    ok(client.put("/v1/shop/house-rules", json=rules, headers=headers | {"If-Match": seen.headers["ETag"]}))
    time.sleep(NEWS_S)


def test_another_book_made_the_difference(
    client: FlaskClient, quay: dict[str, str], store: Store, order: dict[str, Any]
) -> None:
    order["quantity"] = 23
    verdict = ok(client.post(WITH_RECORD, json=order, headers=quay))
    assert RULE not in {each["rule"] for each in verdict["findings"]}
    head = store.revisions.head()
    kept = store.revisions.revision(head.number)
    assert kept is not None
    documents = {kind: dict(entries) for kind, entries in kept.documents.items()}
    documents["limits"][FIRST_PIECE] = {**documents["limits"][FIRST_PIECE], "value": 20}
    new = store.revisions.publish(head, documents, author="test", approvers=(), reason="", proposal=None)
    time.sleep(NEWS_S)
    found = replayed(client, quay, verdict)
    assert (found["recorded_revision"], found["revision"]) == (head.number, new.number)
    assert found["made_a_difference"] == {"code": False, "book": True, "house": False}
    assert {each["rule"] for each in found["appeared"]} == {RULE}
    back = replayed(client, quay, verdict, f"?revision={head.number}")
    assert back["same"]
    assert client.get(f"/v1/verdicts/{verdict['id']}/replay?revision=999", headers=quay).status_code == 404


def test_other_code_made_the_difference(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    """A verdict as an older version might have worded it: its first condition reads otherwise."""
    order["quantity"] = 13
    verdict = ok(client.post("/v1/validate", json=order, headers=quay))
    shop = ok(client.get("/v1/shop", headers=quay))["shop"]
    asked = {"reference": None, "order": {n: v for n, v in order.items() if n != "reference"}, "shop": shop,
             "house": {}, "code": "sha256:older"}  # fmt: skip
    older = {**verdict, "conditions": ["As it was said then.", *verdict["conditions"]]}
    store.verdicts.record("quay-side", "vd_older", order=asked, verdict=older, revision=verdict["revision"], who="test")
    found = replayed(client, quay, {"id": "vd_older"}, f"?revision={verdict['revision']}")
    assert found["made_a_difference"] == {"code": True, "book": False, "house": False}
    unreadable = {**asked, "order": {**asked["order"], "mood": "good"}}
    store.verdicts.record("quay-side", "vd_odd", order=unreadable, verdict=older, revision=1, who="test")
    odd = replayed(client, quay, {"id": "vd_odd"})
    assert (odd["now"], odd["verdict"]) == ("unreadable", None)
    assert "mood" in odd["why"]
    assert odd["made_a_difference"] == {"code": True, "book": None, "house": None}


# -- store away --------------------------------------------------------------------------------------------------------


def test_while_the_store_is_away_a_record_is_refused_and_a_verdict_is_not(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any]
) -> None:
    app = serve(fresh)
    key = fresh.headers("quay-side", "counter")
    client = app.test_client()
    verdict = ok(client.post("/v1/validate", json=order, headers=key))
    server: EmbeddedServer = fresh.server
    server.stop()
    refused = client.post(WITH_RECORD, json=order, headers=key)
    assert (refused.status_code, refused.json["type"]) == (503, "/problems/store-unavailable")
    assert "verdict" not in refused.json
    held = ok(client.post("/v1/validate", json=order, headers=key))
    assert held == {**verdict, "basis": held["basis"]}


# -- retention ---------------------------------------------------------------------------------------------------------


def test_expired_records_leave_the_index_now_and_then(changing: Any) -> None:
    url, ticks, now_s = changing.collective.server.url, [0.0], [1_750_000_000.0]
    store, raw = Store.at(url, timeout_s=5.0, clock=lambda: now_s[0]), connect(url, timeout_s=5.0)
    try:
        store.verdicts.record("s", "vd_short", order={}, verdict={}, revision=1, retain_days=1, who="test")
        pruning = records.Pruning(store, each_s=10.0, monotonic=lambda: ticks[0])
        pruning.now_and_then()
        raw.delete("{accord}:verdict:s:vd_short")  # what the server does itself when the day is over
        now_s[0] += 2 * 86_400
        pruning.now_and_then()
        assert raw.zscore("{accord}:verdicts", "s/vd_short") is not None, "ten seconds are not over"
        ticks[0] = 10.0
        pruning.now_and_then()
        assert raw.zscore("{accord}:verdicts", "s/vd_short") is None
    finally:
        store.close()
        raw.close()
