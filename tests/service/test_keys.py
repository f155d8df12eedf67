"""Keys: known or not, issued, revoked; the shop comes from the key alone."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from accord_service.store import Store

KEYED = ["/v1/catalogue", "/v1/catalogue/blanks", "/v1/catalogue/blanks/tee-heavy-white", "/v1/limits", "/v1/limits/x",
         "/v1/sources", "/v1/sources/x", "/v1/rules", "/v1/rules/x", "/v1/facts", "/v1/facts/x", "/v1/shop",
         "/v1/shops", "/v1/keys"]  # fmt: skip
OPEN = ["/", "/docs", "/healthz", "/readyz", "/metrics", "/problems", "/problems/not-found", "/v1/openapi.json"]


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


@pytest.mark.parametrize("path", KEYED)
def test_reads_need_a_key(client: FlaskClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 401
    assert answer.json["type"] == "/problems/not-authenticated"
    assert answer.headers["WWW-Authenticate"] == 'Bearer realm="platen-accord"'


@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend", "/v1/shops", "/v1/keys"])
def test_nothing_of_a_post_is_read_before_its_key(client: FlaskClient, path: str) -> None:
    assert client.post(path, data=b"{", content_type="text/plain").status_code == 401


@pytest.mark.parametrize("path", OPEN)
def test_open_addresses_need_none(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 200


def wrong_tokens(token: str) -> list[str]:
    id_, _, secret = token.partition(".")
    swapped = token.swapcase()
    return ["wrong", token[:-1], token + "2", swapped, "é", id_, secret, f"{id_}.", f".{secret}", f"{id_}.{'A' * 43}",
            f"{'a' * 16}.{secret}", hashlib.sha256(token.encode()).hexdigest(),
            f"{id_}.{hashlib.sha256(secret.encode()).hexdigest()[:43]}"]  # fmt: skip


def test_unknown_keys_are_refused(client: FlaskClient, tokens: dict[tuple[str, str], str]) -> None:
    wrong_ones = wrong_tokens(tokens["quay-side", "counter"])
    assert len(set(wrong_ones)) == 13
    for wrong in wrong_ones:
        answer = client.get("/v1/shop", headers=bearer(wrong))
        assert answer.status_code == 401, wrong
        assert 'error="invalid_token"' in answer.headers["WWW-Authenticate"]  # RFC 6750 section 3.1


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer ", "Basic cXVheQ==", "quay-counter-token"])
def test_other_credentials_are_no_key(client: FlaskClient, header: str) -> None:
    answer = client.get("/v1/shop", headers={"Authorization": header})
    assert answer.status_code == 401
    assert "error=" not in answer.headers["WWW-Authenticate"]


def test_the_scheme_may_be_spelt_in_any_case(client: FlaskClient, tokens: dict[tuple[str, str], str]) -> None:
    """RFC 9110 section 11.1."""
    key = {"Authorization": f"bearer {tokens['quay-side', 'counter']}"}
    assert client.get("/v1/shop", headers=key).status_code == 200


def test_a_key_shows_its_own_shop(client: FlaskClient, tokens: dict[tuple[str, str], str]) -> None:
    assert {shop for shop, _ in tokens} == {"quay-side", "mill-loft", "collective"}
    for (shop, role), token in tokens.items():
        answer = client.get("/v1/shop/status", headers=bearer(token))
        if shop == "collective":
            assert (answer.status_code, answer.json["type"]) == (403, "/problems/no-shop")
        else:
            found = (answer.json["shop_id"], answer.json["role"], answer.json["key_id"])
            assert found == (shop, role, token.partition(".")[0])
            assert client.get("/v1/shop", headers=bearer(token)).json["id"] == shop


def test_a_key_of_no_shop_can_read_the_book_but_ask_for_nobody(
    client: FlaskClient, collective: Any, order: dict[str, Any]
) -> None:
    key = collective.headers("collective", "admin")
    assert client.get("/v1/rules", headers=key).status_code == 200
    asked = [("GET", "/v1/shop"), ("GET", "/v1/shop/presses/left"), ("POST", "/v1/validate"), ("POST", "/v1/recommend"),
             ("POST", "/v1/envelope")]  # fmt: skip
    for method, address in asked:
        refused = client.open(address, method=method, json=order if method == "POST" else None, headers=key)
        assert (refused.status_code, refused.json["type"]) == (403, "/problems/no-shop")
        assert "belongs to no shop" in refused.json["detail"]


def test_a_role_that_may_not_is_told_which_may(client: FlaskClient, key: dict[str, str]) -> None:
    refused = client.get("/v1/keys", headers=key)
    assert refused.status_code == 403
    assert refused.json["type"] == "/problems/role-not-allowed"
    assert "owner, admin" in refused.json["detail"]


def test_a_new_key_works_at_once_on_every_worker(changing: Any) -> None:
    one, other = changing.one, changing.other
    owner = changing.headers("quay-side", "owner")
    issued = one.post("/v1/keys", json={"shop": "quay-side", "role": "counter"}, headers=owner)
    assert issued.status_code == 201
    assert issued.headers["Cache-Control"] == "no-store"
    for client in (one, other):
        answer = client.get("/v1/shop/status", headers=bearer(issued.json["token"]))
        assert (answer.status_code, answer.json["role"]) == (200, "counter")
        made = client.get(issued.headers["Location"], headers=owner)
        assert made.json == {name: value for name, value in issued.json.items() if name != "token"}


def test_tokens_are_kept_nowhere(changing: Any) -> None:
    client, admin = changing.one, changing.headers("quay-side", "admin")
    body = {"shop": "mill-loft", "role": "owner"}
    once = {"Idempotency-Key": "issue-1"}
    token = client.post("/v1/keys", json=body, headers=admin | once).json["token"]
    again = client.post("/v1/keys", json=body, headers=admin | once)
    assert again.json["token"] is None, "an answer that is remembered must not hold it"
    secret = token.partition(".")[2].encode()
    kept = b"".join(file.read_bytes() for file in changing.collective.data.rglob("*.aof"))
    assert token.partition(".")[0].encode() in kept
    assert secret not in kept
    assert "token" not in client.get("/v1/keys", headers=admin).json["entries"][0]


@pytest.mark.alone
def test_a_revoked_key_is_refused_by_every_worker_within_two_seconds(
    changing: Any, wait_for: Callable[..., None]
) -> None:
    one, other = changing.one, changing.other
    admin = changing.headers("quay-side", "admin")
    issued = one.post("/v1/keys", json={"shop": "quay-side", "role": "counter"}, headers=admin).json
    counter, id_ = bearer(issued["token"]), issued["id"]
    assert other.get("/v1/shop", headers=counter).status_code == 200
    revoked = one.delete(f"/v1/keys/{id_}", headers=admin)
    assert revoked.json["revoked_at"] is not None
    for client in (one, other):
        wait_for(lambda client=client: client.get("/v1/shop", headers=counter).status_code == 401, seconds=2.0)
    again = one.delete(f"/v1/keys/{id_}", headers=admin)
    assert (again.status_code, again.json) == (200, revoked.json)


def test_the_last_admins_key_can_not_be_revoked(fresh: Any, serve: Callable[[Any], Flask]) -> None:
    client, admin = serve(fresh).test_client(), fresh.headers("collective", "admin")
    listed = client.get("/v1/keys?limit=200", headers=admin).json["entries"]
    own = fresh.tokens["collective", "admin"].partition(".")[0]
    for each in listed:
        if each["role"] == "admin" and each["id"] != own:
            assert client.delete(f"/v1/keys/{each['id']}", headers=admin).status_code == 200
    refused = client.delete(f"/v1/keys/{own}", headers=admin)
    assert (refused.status_code, refused.json["type"]) == (409, "/problems/already-there")
    assert client.get("/v1/keys", headers=admin).status_code == 200


def test_what_only_asks_issues_and_revokes_nothing(changing: Any) -> None:
    client, admin = changing.one, changing.headers("quay-side", "admin")
    before = client.get("/v1/keys?limit=200", headers=admin).json
    asked = client.post("/v1/keys?validate_only=true", json={"shop": "quay-side", "role": "owner"}, headers=admin)
    assert (asked.status_code, asked.json["token"]) == (200, None)
    wrong = client.post("/v1/keys?validate_only=true", json={"shop": "nowhere", "role": "owner"}, headers=admin)
    assert wrong.status_code == 404
    id_ = changing.collective.tokens["quay-side", "counter"].partition(".")[0]
    assert client.delete(f"/v1/keys/{id_}?validate_only=true", headers=admin).json["revoked_at"] is not None
    assert client.get("/v1/keys?limit=200", headers=admin).json == before


def test_keys_are_listed_by_shop_and_page(changing: Any) -> None:
    client, admin = changing.one, changing.headers("quay-side", "admin")
    address, ids = "/v1/keys?shop=quay-side&limit=2", []
    while address:
        page = client.get(address, headers=admin).json
        assert {each["shop"] for each in page["entries"]} == {"quay-side"}
        ids += [each["id"] for each in page["entries"]]
        address = page["next"]
    assert ids == sorted(ids)
    tokens = changing.collective.tokens
    assert {t.partition(".")[0] for (shop, _), t in tokens.items() if shop == "quay-side"} <= set(ids)


def test_a_key_of_the_collective_is_a_stewards_or_an_admins(changing: Any) -> None:
    client, admin = changing.one, changing.headers("quay-side", "admin")
    for role, status in (("steward", 201), ("admin", 201), ("owner", 422), ("counter", 422)):
        answer = client.post("/v1/keys", json={"shop": "collective", "role": role}, headers=admin)
        assert (role, answer.status_code) == (role, status)


def test_every_change_is_in_the_audit_under_the_key_that_made_it(changing: Any) -> None:
    client, owner = changing.one, changing.headers("quay-side", "owner")
    issued = client.post("/v1/keys", json={"shop": "quay-side", "role": "counter"}, headers=owner).json
    client.delete(f"/v1/keys/{issued['id']}", headers=owner)
    store = Store.at(changing.collective.server.url)
    last = store.audit.entries(store.audit.head().seq - 2)
    who = changing.collective.tokens["quay-side", "owner"].partition(".")[0]
    assert [(each.who, each.what, each.about) for each in last] == [
        (who, "key.issue", issued["id"]),
        (who, "key.revoke", issued["id"]),
    ]
    assert store.audit.verify() is None
    store.close()
