"""Writes done once however often they are asked for: Idempotency-Key, validate_only, and the store's refusals."""

from __future__ import annotations

import copy
import tomllib
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from accord_service.http.writing import etag, request_digest, version_in
from accord_service.store import Store

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
    first = changing.one.post("/v1/shops", json=shop("pier-1"), headers=once)
    written = entries(changing)
    again = changing.other.post("/v1/shops", json=shop("pier-1"), headers=once)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.data == first.data
    assert again.headers["ETag"] == first.headers["ETag"]
    assert (first.headers.get("Idempotency-Replayed"), again.headers["Idempotency-Replayed"]) == (None, "true")
    assert entries(changing) == written
    without = changing.one.post("/v1/shops", json=shop("pier-1"), headers=admin)
    assert (without.status_code, without.json["type"]) == (409, "/problems/already-there")


def test_the_order_of_keys_in_the_body_makes_no_other_request(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-2"}
    first = changing.one.post("/v1/shops", json=shop("pier-2"), headers=once)
    turned = dict(reversed(shop("pier-2").items()))
    assert changing.one.post("/v1/shops", json=turned, headers=once).data == first.data


def test_a_key_used_for_something_else_is_refused(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-3"}
    assert changing.one.post("/v1/shops", json=shop("pier-3"), headers=once).status_code == 201
    for path, body in (("/v1/shops", shop("pier-4")), ("/v1/keys", {"shop_id": "pier-3", "role": "owner"})):
        refused = changing.one.post(path, json=body, headers=once)
        assert (refused.status_code, refused.json["type"]) == (422, "/problems/key-used-before")


def test_a_key_sent_to_another_address_or_for_another_version_is_refused(changing: Any, admin: dict[str, str]) -> None:
    """The body is the same, so that address and If-Match alone tell the requests apart."""
    for name in ("pier-7", "pier-8"):
        assert changing.one.post("/v1/shops", json=shop(name), headers=admin).status_code == 201
    once, body = admin | {"Idempotency-Key": "pier-7"}, shop("pier-7") | {"name": "Pier Seven"}
    first = changing.one.put("/v1/shops/pier-7", json=body, headers=once | {"If-Match": '"1"'})
    assert first.status_code == 200
    for address, version in (("/v1/shops/pier-8", '"1"'), ("/v1/shops/pier-7", '"2"')):
        refused = changing.one.put(address, json=body, headers=once | {"If-Match": version})
        assert (refused.status_code, refused.json.get("type")) == (422, "/problems/key-used-before"), (address, version)
    unsaid = "/v1/shops/pier-7?validate_only=false"
    again = changing.other.put(unsaid, json=body, headers=once | {"If-Match": '"1"'})
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
    digests = {request_digest(*each) for each in (whole, *others)}
    assert len(digests) == 6
    assert request_digest(*whole) in digests


def test_another_shops_key_of_the_same_word_is_another_key(changing: Any) -> None:
    made = set()
    for holder in ("quay-side", "mill-loft"):
        headers = changing.headers(holder, "owner") | {"Idempotency-Key": "same-word"}
        answer = changing.one.post("/v1/keys", json={"shop_id": holder, "role": "counter"}, headers=headers)
        assert answer.status_code == 201
        made.add(answer.json["id"])
    assert len(made) == 2


def test_the_same_write_on_many_threads_is_done_once(changing: Any, admin: dict[str, str]) -> None:
    written = entries(changing)

    def ask(number: int) -> Any:
        client = (changing.one, changing.other)[number % 2].application.test_client()
        return client.post("/v1/keys", json={"shop_id": "mill-loft", "role": "operator"},
                           headers=admin | {"Idempotency-Key": "at-once"})  # fmt: skip

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(ask, range(16)))
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.json["id"] for answer in answers}) == 1
    assert len([answer for answer in answers if answer.json["token"] is not None]) == 1
    assert entries(changing) == written + 1


@pytest.mark.parametrize("word", ["", " ", "x" * 201, "a b", "é"])
def test_a_word_that_is_no_key_is_refused(changing: Any, admin: dict[str, str], word: str) -> None:
    refused = changing.one.post("/v1/shops", json=shop("pier-5"), headers=admin | {"Idempotency-Key": word})
    assert (refused.status_code, refused.json["type"]) == (400, "/problems/bad-header")
    assert changing.one.get("/v1/shops/pier-5", headers=admin).status_code == 404


def test_what_only_asks_neither_writes_nor_uses_up_a_key(changing: Any, admin: dict[str, str]) -> None:
    once = admin | {"Idempotency-Key": "pier-6"}
    written = entries(changing)
    asked = changing.one.post("/v1/shops?validate_only=true", json=shop("pier-6"), headers=once)
    assert asked.status_code == 200
    assert entries(changing) == written
    done = changing.one.post("/v1/shops?validate_only=false", json=shop("pier-6"), headers=once)
    assert (done.status_code, done.json["shop"]) == (201, asked.json["shop"])
    taken = changing.one.post("/v1/shops?validate_only=true", json=shop("pier-6"), headers=admin)
    assert taken.status_code == 409, "refused by the same path as the write"
    assert changing.one.post("/v1/shops?validate_only=perhaps", json=shop("x"), headers=admin).status_code == 400


def test_an_etag_is_a_version_and_the_bytes() -> None:
    assert version_in(f'"{etag(7, b"x")}"') == 7
    assert etag(7, b"x") != etag(8, b"x")
    assert etag(7, b"x") != etag(7, b"y")
    assert etag(None, b"x") in etag(7, b"x")
