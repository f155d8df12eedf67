"""News: who is told what of what happened. The table below is the collective's agreement (a choice of this project)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from unittest import mock

import pytest
from flask.testing import FlaskClient
from tests.service.conftest import ok
from tests.service.effect_workers import work_out

from accord_rules.revision.book import Book
from accord_service.steps import news
from accord_service.store import Event

READERS = (
    ("quay-side", "counter"),
    ("quay-side", "operator"),
    ("quay-side", "owner"),
    ("quay-side", "steward"),
    ("mill-loft", "counter"),
    ("mill-loft", "owner"),
    ("collective", "admin"),
)
EVERYBODY = frozenset(READERS)
QUAY = frozenset(reader for reader in READERS if reader[0] == "quay-side")
PROPOSERS = frozenset({("quay-side", role) for role in ("operator", "owner", "steward")} | {("collective", "admin")})
KEEPERS = frozenset({("quay-side", "owner"), ("collective", "admin")})


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    client: FlaskClient = changing.first
    return client


def read(client: FlaskClient, headers: Mapping[str, str], since: int | None = None) -> Any:
    return ok(client.get("/v1/news" if since is None else f"/v1/news?since={since}", headers=headers))


def told(client: FlaskClient, changing: Any, since: int, event: str) -> frozenset[tuple[str, str]]:
    """Who is told of an event that is after an entry."""
    return frozenset(
        reader
        for reader in READERS
        if any(item["event"] == event for item in read(client, changing.headers(*reader), since)["items"])
    )


def now(client: FlaskClient, changing: Any) -> int:
    return int(read(client, changing.headers("quay-side", "counter"))["seq"])


def test_who_is_told_what(client: FlaskClient, changing: Any, order: dict[str, Any], book: Book) -> None:
    def of(role: str, shop: str = "quay-side") -> dict[str, str]:
        return dict(changing.headers(shop, role))

    since = now(client, changing)
    press = "/v1/shop/presses/bench-38/readings"
    reading = {
        "display": "375 °F",
        "surface": ["371 °F", "368 °F", "370 °F"],
        "taken_on": "2026-03-02",
        "despite": ["old"],
    }
    ok(client.post(press, json=reading, headers=of("operator")))
    assert told(client, changing, since, "reading.entered") == QUAY

    since = now(client, changing)
    record = ok(client.post("/v1/records", json=order, headers=of("counter")))["record_id"]
    outcome = {"decoration": 0, "result": "good"}
    ok(client.post(f"/v1/records/{record}/outcomes", json=outcome, headers=of("counter")))
    assert told(client, changing, since, "outcome.reported") == QUAY
    assert told(client, changing, since, "record.created") == frozenset(), "every job is no news"

    since = now(client, changing)
    issued = ok(
        client.post("/v1/keys", json={"shop_id": "quay-side", "role": "counter", "holder": "N"}, headers=of("owner"))
    )
    assert told(client, changing, since, "key.issued") == KEEPERS
    ok(client.delete(f"/v1/keys/{issued['key_id']}", headers=of("owner")))
    assert told(client, changing, since, "key.revoked") == KEEPERS

    since = now(client, changing)
    example = client.get("/v1/openapi.json").json["paths"]["/v1/proposals"]["post"]["requestBody"]["content"]
    body = next(iter(example["application/json"]["examples"].values()))["value"]
    proposal = ok(client.post("/v1/proposals", json=body, headers=of("operator")))["proposal_id"]
    client.post(f"/v1/proposals/{proposal}/open", headers=of("operator"))
    work_out(changing.collective.server.url)
    assert told(client, changing, since, "proposal.opened") == PROPOSERS
    waiting = {r: read(client, changing.headers(*r))["proposals_waiting"] for r in READERS}
    assert waiting == {reader: [proposal] if reader[1] == "steward" else [] for reader in READERS}
    ok(client.post(f"/v1/proposals/{proposal}/decline", json={"reason": "not now"}, headers=of("steward")))
    assert told(client, changing, since, "proposal.declined") == PROPOSERS
    assert read(client, of("steward"))["proposals_waiting"] == []


def test_the_first_revision_is_news_to_everybody_who_asks_from_the_start(client: FlaskClient, changing: Any) -> None:
    assert told(client, changing, 0, "revision.published") == EVERYBODY
    items = read(client, changing.headers("mill-loft", "counter"), 0)["items"]
    (published,) = (item for item in items if item["event"] == "revision.published")
    assert published["text"] == "Revision 1 of the book is published."
    assert published["by"] is None, "the first start"


def test_nothing_is_told_twice_and_nothing_left_out(client: FlaskClient, changing: Any) -> None:
    """However small the steps are in which it is asked."""
    owner = changing.headers("quay-side", "owner")
    for number in range(12):
        body = {"shop_id": "quay-side", "role": "counter", "holder": f"N {number}"}
        ok(client.post("/v1/keys", json=body, headers=owner))
    whole = read(client, owner, 0)
    for most, through in ((1, 1000), (3, 7), (100, 2)):
        with mock.patch.object(news, "TOLD_MOST", most), mock.patch.object(news, "LOOKED_THROUGH_MOST", through):
            items, since, more = [], 0, True
            while more:
                part = read(client, owner, since)
                assert part["seq"] > since or not part["more"]
                items, since, more = items + part["items"], part["seq"], part["more"]
        assert items == whole["items"]
        assert since == whole["seq"]


def test_nothing_new_is_not_sent_again(client: FlaskClient, changing: Any) -> None:
    headers = changing.headers("mill-loft", "counter")
    since = now(client, changing)
    first = client.get(f"/v1/news?since={since}", headers=headers)
    again = client.get(f"/v1/news?since={since}", headers={**headers, "If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    assert read(client, headers, 999_999)["items"] == [], "a number that is still to come is now"
    assert client.get("/v1/news?since=-1", headers=headers).status_code == 400


def test_every_event_is_news_or_is_known_to_be_none() -> None:
    none = {
        Event.SHOP_CREATED,
        Event.PROPOSAL_DRAFTED,
        Event.PROPOSAL_EDITED,
        Event.PROPOSAL_EFFECT_STARTED,
        Event.RECORD_CREATED,
        Event.RECORD_REFERENCE_DELETED,
        Event.RECORDS_EXPIRED,
    }
    assert set(news._KINDS) | none == set(Event)
    assert not set(news._KINDS) & none
