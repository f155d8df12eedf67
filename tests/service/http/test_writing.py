"""Writes done once however often they are asked for: Idempotency-Key, validate_only, and the store's refusals."""

from __future__ import annotations

import copy
import tomllib
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any

import pytest
from tests.tokens import key_id_of

from accord_service.http.writing import Answer, etag, request_digest
from accord_service.store import NotReplicated, Store

SHOP = tomllib.loads("""
id = "pier-end"
name = "Pier End"
market = "uk"
unit_system = "metric"
standing = []
[[presses]]
id = "left"
type = "clamshell"
[stock]
products = []
consumables = []
""")


@pytest.fixture
def admin(changing: Any) -> dict[str, str]:
    return dict(changing.headers("collective", "admin"))


def shop(id: str) -> dict[str, Any]:
    return copy.deepcopy(SHOP) | {"id": id}


def entries(changing: Any) -> int:
    """How many writes there ever were."""
    store = Store.at(changing.collective.server.url)
    try:
        return store.audit.head().seq
    finally:
        store.close()


def test_sent_twice_is_done_once_and_answered_twice_the_same(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-1"}
    first = changing.first.post("/v1/shops", json=shop("pier-1"), headers=once)
    written = entries(changing)
    again = changing.second.post("/v1/shops", json=shop("pier-1"), headers=once)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.data == first.data
    assert again.headers["ETag"] == first.headers["ETag"]
    assert (first.headers.get("Idempotency-Replayed"), again.headers["Idempotency-Replayed"]) == (None, "true")
    assert entries(changing) == written
    without = changing.first.post("/v1/shops", json=shop("pier-1"), headers=admin)
    assert (without.status_code, without.json["type"]) == (409, "/problems/already-there")


def test_the_order_of_keys_in_the_body_makes_no_other_request(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-2"}
    first = changing.first.post("/v1/shops", json=shop("pier-2"), headers=once)
    turned = dict(reversed(shop("pier-2").items()))
    assert changing.first.post("/v1/shops", json=turned, headers=once).data == first.data


def test_a_key_used_for_something_else_is_refused(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-3"}
    assert changing.first.post("/v1/shops", json=shop("pier-3"), headers=once).status_code == 201
    for path, body in (
        ("/v1/shops", shop("pier-4")),
        ("/v1/keys", {"shop_id": "pier-3", "role": "owner", "holder": "Ada Reyes"}),
    ):
        refused = changing.first.post(path, json=body, headers=once)
        assert (refused.status_code, refused.json["type"]) == (422, "/problems/key-used-before")


def test_a_key_sent_to_another_address_or_for_another_version_is_refused(changing: Any, admin: dict[str, str]) -> None:
    """The body is the same, so that address and If-Match alone tell the requests apart."""
    for name in ("pier-7", "pier-8"):
        assert changing.first.post("/v1/shops", json=shop(name), headers=admin).status_code == 201
    once, body = admin | {"Idempotency-Key": "pier-7"}, shop("pier-7") | {"name": "Pier Seven"}
    now = changing.first.get("/v1/shops/pier-7", headers=admin).headers["ETag"]
    first = changing.first.put("/v1/shops/pier-7", json=body, headers=once | {"If-Match": now})
    assert first.status_code == 200
    for address, version in (("/v1/shops/pier-8", now), ("/v1/shops/pier-7", first.headers["ETag"])):
        refused = changing.first.put(address, json=body, headers=once | {"If-Match": version})
        assert (refused.status_code, refused.json.get("type")) == (422, "/problems/key-used-before"), (address, version)
    unsaid = "/v1/shops/pier-7?validate_only=false"
    again = changing.second.put(unsaid, json=body, headers=once | {"If-Match": now})
    assert (again.data, again.headers["Idempotency-Replayed"]) == (first.data, "true"), "said or unsaid, it is the same"


def test_each_part_of_a_request_is_in_its_digest() -> None:
    whole = ("PUT", ["/v1/x", {"limit": 1}], '"1"', {"a": 1})
    others = [
        ("POST", *whole[1:]),
        ("PUT", ["/v1/y", {"limit": 1}], '"1"', {"a": 1}),
        ("PUT", ["/v1/x", {"limit": 2}], '"1"', {"a": 1}),
        ("PUT", ["/v1/x", {"limit": 1}], None, {"a": 1}),
        ("PUT", ["/v1/x", {"limit": 1}], '"1"', {"a": 2}),
    ]
    digests = {request_digest(*parts) for parts in (whole, *others)}
    assert len(digests) == 6
    assert request_digest(*whole) in digests


def test_another_shops_key_of_the_same_word_is_another_key(changing: Any) -> None:
    ids = set()
    for holder in ("quay-side", "mill-loft"):
        headers = changing.headers(holder, "owner") | {"Idempotency-Key": "same-word"}
        answer = changing.first.post(
            "/v1/keys", json={"shop_id": holder, "role": "counter", "holder": "Ada Reyes"}, headers=headers
        )
        assert answer.status_code == 201
        ids.add(answer.json["key_id"])
    assert len(ids) == 2


def test_the_same_write_on_many_threads_is_done_once(changing: Any, admin: dict[str, str]) -> None:
    written = entries(changing)

    def ask(number: int) -> Any:
        client = (changing.first, changing.second)[number % 2].application.test_client()
        return client.post("/v1/keys", json={"shop_id": "mill-loft", "role": "operator", "holder": "Ada Reyes"},
                           headers=admin | {"Idempotency-Key": "at-once"})  # fmt: skip

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(ask, range(16)))
    created = [answer for answer in answers if answer.status_code == 201]
    others = {(answer.status_code, answer.json["type"]) for answer in answers if answer not in created}
    assert others <= {(409, "/problems/still-under-way")}
    assert len({answer.json["key_id"] for answer in created}) == 1
    assert len([answer for answer in created if answer.json["token"] is not None]) == 1
    assert entries(changing) == written + 1
    assert ask(0).json["key_id"] == created[0].json["key_id"]


def test_while_a_write_is_under_way_its_repetition_is_told_so(changing: Any, admin: dict[str, str]) -> None:
    """draft-ietf-httpapi-idempotency-key-header, section 2.7: 409 while the first is being processed, 422 for another
    request under the same key."""
    body = {"shop_id": "mill-loft", "role": "operator", "holder": "Ada Reyes"}
    once = admin | {"Idempotency-Key": "under-way"}
    key_id = key_id_of(admin["Authorization"].split()[1])
    digest = request_digest("POST", ["/v1/keys", {"validate_only": False}], None, body)
    with closing(Store.at(changing.collective.server.url)) as store:
        with store.idempotency.claimed(key_id, "under-way", digest):
            repeated = changing.first.post("/v1/keys", json=body, headers=once)
            reused = changing.first.post("/v1/keys", json=body | {"role": "counter"}, headers=once)
            elsewhere = changing.first.post("/v1/keys", json=body, headers=admin | {"Idempotency-Key": "another"})
        done = changing.first.post("/v1/keys", json=body, headers=once)
    assert (repeated.status_code, repeated.json["type"]) == (409, "/problems/still-under-way")
    assert int(repeated.headers["Retry-After"]) >= 1
    assert (reused.status_code, reused.json["type"]) == (422, "/problems/key-used-before")
    assert (elsewhere.status_code, done.status_code) == (201, 201)


def test_a_write_that_failed_leaves_its_key_free(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "free-again"}
    assert (
        changing.first.post(
            "/v1/keys", json={"shop_id": "pier-9", "role": "owner", "holder": "Ada Reyes"}, headers=once
        ).status_code
        == 404
    )
    assert changing.first.post("/v1/shops", json=shop("pier-9"), headers=once).status_code == 201


@pytest.mark.parametrize(("bare", "quoted"), [("pier-q", '"pier-q"'), ("a\\b", '"a\\\\b"'), ('a"b', '"a\\"b"')])
def test_a_key_in_quotes_is_the_same_key(changing: Any, admin: dict[str, str], bare: str, quoted: str) -> None:
    """The draft has it as a string of RFC 9651 section 3.3.3, in which a backslash goes before quote and backslash."""
    body = {"shop_id": "mill-loft", "role": "operator", "holder": "Ada Reyes"}
    first = changing.first.post("/v1/keys", json=body, headers=admin | {"Idempotency-Key": bare})
    again = changing.second.post("/v1/keys", json=body, headers=admin | {"Idempotency-Key": quoted})
    assert (first.status_code, again.json["key_id"]) == (201, first.json["key_id"])
    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.headers["Location"] == first.headers["Location"]


def test_two_keys_of_one_shop_do_not_share_a_word(changing: Any) -> None:
    """A word is its caller's alone: of two owners of a shop who happen to use the same, both are heard."""
    body = {"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes"}
    holders = [changing.headers("quay-side", role) for role in ("owner", "admin")]
    answers = [
        changing.first.post("/v1/keys", json=body, headers=holder | {"Idempotency-Key": "one-word"})
        for holder in holders
    ]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json["key_id"] != answers[1].json["key_id"]


def test_a_preview_names_nothing_that_is_not_there(changing: Any, admin: dict[str, str]) -> None:
    trial = changing.first.post(
        "/v1/keys?validate_only=true",
        json={"shop_id": "mill-loft", "role": "owner", "holder": "Ada Reyes"},
        headers=admin,
    )
    assert (trial.status_code, trial.json["key_id"], trial.json["last_four"], trial.json["token"]) == (200, *[None] * 3)
    shop_preview = changing.first.post("/v1/shops?validate_only=true", json=shop("pier-10"), headers=admin)
    assert [name for name in ("ETag", "Location") if name in trial.headers or name in shop_preview.headers] == []


@pytest.mark.parametrize("word", ["", " ", "x" * 201, "a b", "é", '""', '"a', '"a" b', '"a\\b"', f'"{"x" * 201}"'])
def test_a_word_that_is_no_key_is_refused(changing: Any, admin: dict[str, str], word: str) -> None:
    refused = changing.first.post("/v1/shops", json=shop("pier-5"), headers=admin | {"Idempotency-Key": word})
    assert (refused.status_code, refused.json["type"]) == (400, "/problems/bad-header")
    assert changing.first.get("/v1/shops/pier-5", headers=admin).status_code == 404


def test_what_only_asks_neither_writes_nor_uses_up_a_key(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-6"}
    written = entries(changing)
    preview = changing.first.post("/v1/shops?validate_only=true", json=shop("pier-6"), headers=once)
    assert preview.status_code == 200
    assert entries(changing) == written
    done = changing.first.post("/v1/shops?validate_only=false", json=shop("pier-6"), headers=once)
    assert (done.status_code, done.json) == (201, preview.json)
    taken = changing.first.post("/v1/shops?validate_only=true", json=shop("pier-6"), headers=admin)
    assert taken.status_code == 409, "refused by the same path as the write"
    assert changing.first.post("/v1/shops?validate_only=perhaps", json=shop("x"), headers=admin).status_code == 400


def test_an_etag_is_a_version_and_the_bytes() -> None:
    seventh, eighth = Answer({}, version=7), Answer({}, version=8)
    assert etag(seventh, b"x").startswith("7-")
    assert etag(seventh, b"x") != etag(eighth, b"x")
    assert etag(seventh, b"x") != etag(seventh, b"y")
    assert etag(Answer({}), b"x") in etag(seventh, b"x")
    assert etag(Answer({}, version=7, part=True), b"x") == etag(Answer({}, version=8, part=True), b"x")


def test_what_the_replicas_do_not_have_is_acknowledged_to_no_repetition(
    changing: Any, admin: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first answer may have been a 503 for that very reason, and a promotion would lose the write."""
    once = admin | {"Idempotency-Key": "pier-20"}
    assert changing.first.post("/v1/shops", json=shop("pier-20"), headers=once).status_code == 201
    there = changing.first.get("/v1/shops/pier-20", headers=admin)
    unchanged = admin | {"If-Match": there.headers["ETag"]}

    def ask() -> list[Any]:
        return [
            changing.first.post("/v1/shops", json=shop("pier-20"), headers=once),
            changing.first.put("/v1/shops/pier-20", json=there.json, headers=unchanged),
        ]

    def nobody_has_it(store: Store) -> None:
        raise NotReplicated("the write has reached 0 of the 1 replicas that must have it; ask again")

    with monkeypatch.context() as patch:
        patch.setattr(Store, "confirm", nobody_has_it)
        for answer in ask():
            assert (answer.status_code, answer.json["type"]) == (503, "/problems/store-unavailable")
            assert answer.json["detail"].startswith("The write has reached 0 of the 1 replicas")
            assert answer.headers["Retry-After"] == "1"
        preview = changing.first.put("/v1/shops/pier-20?validate_only=true", json=there.json, headers=unchanged)
        assert preview.status_code == 200, "nothing is acknowledged by it"
    assert [answer.status_code for answer in ask()] == [201, 200]
