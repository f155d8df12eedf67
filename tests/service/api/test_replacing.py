"""What holds of everything that is replaced, at whichever address: what you GET you can PUT, and no change is lost.

RFC 9110: section 13.1.1 (If-Match, to keep one writer from undoing another's change unseen), section 8.8.1 (a strong
validator changes whenever the bytes of a GET do). That a body sent back unchanged is no new version is
this project's own.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import pytest
from flask import Flask
from tests.service.effect_workers import work_out

from accord_service.api import examples
from accord_service.api.v1 import ENDPOINTS
from accord_service.store import Store

Change = Callable[[Mapping[str, Any], int], Mapping[str, Any]]
PROPOSED = {
    "title": "A new source",
    "kind": "from-memory",
    "text": "What the stewards remember.",
    "speaks_of": ["press"],
}


def _named(document: Mapping[str, Any], number: int) -> Mapping[str, Any]:
    return {**document, "name": f"Number {number}"}


@dataclass(frozen=True)
class Place:
    """Something that can be replaced: who may, where, and how to change it in as many ways as wished."""

    who: tuple[str, str]
    path: str
    changed: Change


PLACES = {
    "replaceOwnShop": Place(("quay-side", "owner"), "/v1/shop", _named),
    "replacePress": Place(
        ("quay-side", "owner"),
        "/v1/shop/presses/left",
        lambda document, number: {**document, "display_most": f"{220 + number} °C"},
    ),
    "replaceHouseRules": Place(
        ("quay-side", "owner"),
        "/v1/shop/house-rules",
        lambda document, number: {**document, "limits": {"fumes.pvc_most": f"{180 + number} °C"}},
    ),
    "replaceHouseRule": Place(
        ("quay-side", "owner"),
        "/v1/shop/house-rules/rules/house.twice",
        lambda document, number: {**document, "rule": {**document["rule"], "title": f"Number {number}"}},
    ),
    "replaceHouseLimit": Place(
        ("quay-side", "owner"),
        "/v1/shop/house-rules/limits/fumes.pvc_most",
        lambda document, number: {**document, "value": f"{170 + number} °C"},
    ),
    "replaceShop": Place(("collective", "admin"), "/v1/shops/mill-loft", _named),
    "replaceProposal": Place(
        ("quay-side", "owner"),
        "/v1/proposals/p1",
        lambda document, number: {**document, "reason": f"For the reason number {number}."},
    ),
}


@pytest.fixture(scope="module")
def shops(changing: Any) -> Any:
    """The two shops, the one with two presses, and a draft of its owner's."""
    owner = changing.headers("quay-side", "owner")
    shop = changing.first.get("/v1/shop", headers=owner)
    presses = [{"id": "left", "type": "clamshell"}, {"id": "right", "type": "swing-away"}]
    written = changing.first.put(
        "/v1/shop", json=shop.json | {"presses": presses}, headers=owner | {"If-Match": shop.headers["ETag"]}
    )
    assert written.status_code == 200, written.text
    head = changing.first.get("/v1/revisions", headers=owner).json["entries"][0]
    proposal = {
        "base": {"revision": head["revision"], "digest": head["digest"]},
        "changes": [{"kind": "sources", "id": "remembered", "value": PROPOSED}],
        "reason": "It is missing.",
        "evidence": "None.",
    }
    assert changing.first.post("/v1/proposals", json=proposal, headers=owner).json["proposal_id"] == "p1"
    rule = {**examples.HOUSE_RULE, "id": "house.twice"}
    assert changing.first.post("/v1/shop/house-rules/rules", json=rule, headers=owner).status_code == 201
    return changing


class Writer:
    """Somebody who may replace what is at a place, through one of the workers."""

    def __init__(self, shops: Any, name: str, worker: str = "first") -> None:
        self.place = PLACES[name]
        self._client, self._headers = getattr(shops, worker), shops.headers(*self.place.who)

    def get(self) -> Any:
        answer = self._client.get(self.place.path, headers=self._headers)
        assert answer.status_code == 200, answer.text
        return answer

    def put(self, document: Mapping[str, Any], tag: str, query: str = "") -> Any:
        client = self._client.application.test_client()  # threads share none
        return client.put(self.place.path + query, json=document, headers=self._headers | {"If-Match": tag})


def writes(shops: Any) -> int:
    """How many writes there ever were."""
    with closing(Store.at(shops.collective.server.url)) as store:
        return store.audit.head().seq


def test_the_laws_are_held_over_every_endpoint_that_replaces_something(shops: Any) -> None:
    replacing = {endpoint.operation_id for endpoint in ENDPOINTS if endpoint.replaces is not None}
    described = shops.first.get("/v1/openapi.json").json["paths"]
    taking = {
        operation["operationId"]
        for operations in described.values()
        for operation in operations.values()
        if "If-Match" in {parameter["name"] for parameter in operation["parameters"]}
    }
    puts = {endpoint.operation_id for endpoint in ENDPOINTS if endpoint.method == "PUT"}
    deletes = {endpoint.operation_id for endpoint in ENDPOINTS if endpoint.method == "DELETE"}
    assert set(PLACES) == replacing - deletes == puts
    assert replacing == taking
    reads = {endpoint.path for endpoint in ENDPOINTS if endpoint.method == "GET"}
    assert {endpoint.path for endpoint in ENDPOINTS if endpoint.replaces is not None} <= reads


@pytest.mark.parametrize("name", PLACES)
def test_what_is_read_can_be_sent_back_and_changes_nothing(shops: Any, name: str) -> None:
    writer = Writer(shops, name)
    before, written = writer.get(), writes(shops)
    answer = writer.put(before.json, before.headers["ETag"])
    assert (answer.status_code, answer.data, answer.headers["ETag"]) == (200, before.data, before.headers["ETag"])
    assert writer.get().headers["ETag"] == before.headers["ETag"]
    assert writes(shops) == written


@pytest.mark.parametrize("name", PLACES)
def test_what_is_answered_to_a_write_is_what_is_read_then(shops: Any, name: str) -> None:
    writer, reader = Writer(shops, name), Writer(shops, name, "second")
    before = writer.get()
    answer = writer.put(writer.place.changed(before.json, 1), before.headers["ETag"])
    assert answer.status_code == 200, answer.text
    now = reader.get()
    assert (answer.data, answer.headers["ETag"]) == (now.data, now.headers["ETag"])
    assert answer.headers["ETag"] != before.headers["ETag"]
    assert answer.json == writer.place.changed(before.json, 1)


@pytest.mark.parametrize("name", PLACES)
def test_nobodys_change_is_lost_to_who_tried_before(shops: Any, name: str) -> None:
    """Two read the same; one tries a change, the other makes one; then the first writes with all it could have seen."""
    slow, quick = Writer(shops, name), Writer(shops, name, "second")
    seen = slow.get()
    tag, wish = seen.headers["ETag"], slow.place.changed(seen.json, 2)
    trial = slow.put(wish, tag, "?validate_only=true")
    assert (trial.status_code, trial.json, trial.headers.get("ETag")) == (200, wish, None), trial.text
    quick_answer = quick.put(quick.place.changed(seen.json, 3), tag)
    assert quick_answer.status_code == 200, quick_answer.text
    sum_ = hashlib.sha256(trial.data).hexdigest()[:32]
    forged = [f'"{number}{more}"' for number in range(1, 10) for more in ("", "-deadbeef", f"-{sum_}")]
    for stale in (tag, f'"{sum_}"', f"W/{quick_answer.headers['ETag']}", *forged, ", ".join(forged)):
        refused = slow.put(wish, stale)
        assert (refused.status_code, refused.json.get("type")) == (412, "/problems/changed-meanwhile"), stale
    assert slow.put(wish, tag, "?validate_only=true").status_code == 412
    assert slow.get().data == quick_answer.data


@pytest.mark.parametrize("name", PLACES)
def test_of_two_who_write_at_once_one_is_told(shops: Any, name: str) -> None:
    writers = [Writer(shops, name), Writer(shops, name, "second")]
    seen = writers[0].get()
    wishes = [writers[0].place.changed(seen.json, number) for number in (4, 5)]
    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(lambda writer, wish: writer.put(wish, seen.headers["ETag"]), writers, wishes))
    assert sorted(answer.status_code for answer in answers) == [200, 412]
    (won,) = [answer for answer in answers if answer.status_code == 200]
    assert writers[0].get().data == won.data


@pytest.mark.parametrize("name", PLACES)
def test_what_may_be_overwritten_has_to_be_said(shops: Any, name: str) -> None:
    """RFC 9110 section 13.1.1: * holds whatever there is now; without the header nothing is written (428)."""
    writer = Writer(shops, name)
    wish = writer.place.changed(writer.get().json, 6)
    assert writer.put(wish, "*").json == wish
    client, headers = shops.first, shops.headers(*writer.place.who)
    assert client.put(writer.place.path, json=wish, headers=headers).status_code == 428


UNKNOWN = {
    "/v1/shop/presses/nobodys": (("quay-side", "owner"), "PUT /v1/shop"),
    "/v1/shop/house-rules/rules/house.nobodys": (("quay-side", "owner"), "POST /v1/shop/house-rules/rules"),
    "/v1/shops/nobodys": (("collective", "admin"), "POST /v1/shops"),
}


@pytest.mark.parametrize("path", UNKNOWN)
def test_what_is_not_there_is_not_made_by_replacing_it(shops: Any, path: str) -> None:
    """RFC 6585 section 3: without If-Match 428, whether it is there or not. With it, it is said how one is made: what
    is new is added by POST, or with the whole, and If-None-Match (RFC 9110 section 13.1.2) makes nothing either."""
    who, made_with = UNKNOWN[path]
    body = {
        "/v1/shop/presses/nobodys": {"id": "nobodys", "type": "swing-away"},
        "/v1/shop/house-rules/rules/house.nobodys": {**examples.HOUSE_RULE, "id": "house.nobodys"},
        "/v1/shops/nobodys": {**examples.SHOP, "id": "nobodys"},
    }[path]
    for unsaid in ({}, {"If-None-Match": "*"}):
        needed = shops.first.put(path, json=body, headers=shops.headers(*who) | unsaid)
        assert (needed.status_code, needed.json["type"]) == (428, "/problems/if-match-needed")
    for named in ("*", '"3-0a1b2c"'):
        refused = shops.first.put(path, json=body, headers=shops.headers(*who) | {"If-Match": named})
        assert (refused.status_code, refused.json["type"]) == (404, "/problems/not-found")
        assert made_with in refused.json["detail"]


def test_two_presses_are_replaced_at_once_and_both_are_kept(shops: Any) -> None:
    """Each has an ETag of its own: who changes the one is not in the way of who changes the other."""
    owner = shops.headers("quay-side", "owner")
    paths = ["/v1/shop/presses/left", "/v1/shop/presses/right"]
    seen = [shops.first.get(path, headers=owner) for path in paths]
    whole = shops.first.get("/v1/shop", headers=owner)

    def replaced(index: int) -> Any:
        client = (shops.first, shops.second)[index].application.test_client()
        wish = seen[index].json | {"display_most": f"{230 + index} °C"}
        return client.put(paths[index], json=wish, headers=owner | {"If-Match": seen[index].headers["ETag"]})

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(replaced, range(2)))
    assert [answer.status_code for answer in answers] == [200, 200], [answer.text for answer in answers]
    now = shops.first.get("/v1/shop", headers=owner)
    assert [press["display_most"] for press in now.json["presses"]] == ["230 °C", "231 °C"]
    stale = shops.first.put("/v1/shop", json=whole.json, headers=owner | {"If-Match": whole.headers["ETag"]})
    assert stale.status_code == 412, "the shop they are part of has changed"


@pytest.mark.parametrize(
    ("spoil", "pointer"),
    [
        ({"id": "right"}, "/id"),
        ({"type": "mangle"}, "/type"),
        ({"calibration_age": 3}, "/calibration_age"),
        ({"surprise": 1}, "/surprise"),
    ],
)
def test_what_is_no_press_is_refused_with_its_place(shops: Any, spoil: dict[str, Any], pointer: str) -> None:
    writer = Writer(shops, "replacePress")
    seen = writer.get()
    refused = writer.put(seen.json | spoil, seen.headers["ETag"])
    assert (refused.status_code, [error["pointer"] for error in refused.json["errors"]]) == (422, [pointer])
    assert writer.get().data == seen.data


def test_a_proposal_stays_on_its_base(shops: Any) -> None:
    writer = Writer(shops, "replaceProposal")
    seen = writer.get()
    stale = seen.json["base"] | {"digest": "sha256:" + "0" * 64}
    refused = writer.put(seen.json | {"base": stale}, seen.headers["ETag"])
    assert (refused.status_code, [error["pointer"] for error in refused.json["errors"]]) == (422, ["/base"])


def test_sent_back_unchanged_a_proposal_keeps_its_approvals(shops: Any) -> None:
    """An edit makes a draft of it again; what edits nothing does not."""
    owner = shops.headers("quay-side", "owner")
    assert shops.first.post("/v1/proposals/p1/open", headers=owner).status_code == 202
    work_out(shops.collective.server.url)
    assert shops.first.get("/v1/proposals/p1/status", headers=owner).json["state"] == "open"
    writer = Writer(shops, "replaceProposal")
    seen = writer.get()
    assert writer.put(seen.json, seen.headers["ETag"]).status_code == 200
    assert shops.first.get("/v1/proposals/p1/status", headers=owner).json["state"] == "open"
    assert writer.put(writer.place.changed(seen.json, 7), seen.headers["ETag"]).status_code == 200
    assert shops.first.get("/v1/proposals/p1/status", headers=owner).json["state"] == "draft"


def test_nothing_is_said_to_be_replaced_while_the_store_is_away(fresh: Any, serve: Callable[[Any], Flask]) -> None:
    """A read goes on from what is held, which may be old; whether nothing would change only the store can say."""
    client, owner = serve(fresh).test_client(), fresh.headers("quay-side", "owner")
    seen = client.get("/v1/shop", headers=owner)
    fresh.server.stop()
    assert client.get("/v1/shop", headers=owner).json == seen.json
    sent_back = client.put("/v1/shop", json=seen.json, headers=owner | {"If-Match": seen.headers["ETag"]})
    assert sent_back.status_code == 503
