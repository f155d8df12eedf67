"""Keys: known or not, issued, revoked; the shop comes from the key alone."""

from __future__ import annotations

import hashlib
import re
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.tokens import checked, key_id_of, secret_of

from accord_service.api import room
from accord_service.app import create_app
from accord_service.run.times import instant
from accord_service.store import Store, StoreAway

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
    id_, secret, swapped = token.split("_")[1], secret_of(token), token.swapcase()
    return ["wrong", token[:-1], token + "2", swapped, "é", key_id_of(token), secret, f"accord_{id_}_", token[7:],
            f"accord_{id_}.{token.split('_')[2]}", checked(id_, "A" * 43), checked("a" * 16, secret),
            hashlib.sha256(token.encode()).hexdigest(),
            checked(id_, hashlib.sha256(secret.encode()).hexdigest()[:43])]  # fmt: skip


def test_a_token_is_one_word_with_a_prefix_and_a_checksum(tokens: dict[tuple[str, str], str]) -> None:
    """What a scanner for leaked secrets goes by: a fixed prefix, and a checksum that tells it from look-alikes."""
    assert len(tokens) == 9
    for token in tokens.values():
        assert re.fullmatch(r"accord_[a-z2-7]{16}_[0-9A-Za-z]{49}", token), token
        assert token == checked(token.split("_")[1], secret_of(token))


def test_unknown_keys_are_refused(client: FlaskClient, tokens: dict[tuple[str, str], str]) -> None:
    wrong_ones = wrong_tokens(tokens["quay-side", "counter"])
    assert len(set(wrong_ones)) == 14
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
        elif role == "storefront":
            assert (answer.status_code, answer.json["type"]) == (403, "/problems/role-not-allowed")
        else:
            shown = (answer.json["shop_id"], answer.json["role"], answer.json["key_id"])
            assert shown == (shop, role, key_id_of(token))
            assert client.get("/v1/shop", headers=bearer(token)).json["id"] == shop


def test_a_key_of_no_shop_can_read_the_book_but_ask_for_nobody(
    client: FlaskClient, collective: Any, order: dict[str, Any]
) -> None:
    key = collective.headers("collective", "admin")
    assert client.get("/v1/rules", headers=key).status_code == 200
    calls = [("GET", "/v1/shop"), ("GET", "/v1/shop/presses/left"), ("POST", "/v1/validate"), ("POST", "/v1/recommend"),
             ("POST", "/v1/envelope")]  # fmt: skip
    for method, address in calls:
        refused = client.open(address, method=method, json=order if method == "POST" else None, headers=key)
        assert (refused.status_code, refused.json["type"]) == (403, "/problems/no-shop")
        assert "This admin's key belongs to no shop" in refused.json["detail"]


def test_a_role_that_may_not_is_told_which_may(client: FlaskClient, key: dict[str, str]) -> None:
    refused = client.get("/v1/keys", headers=key)
    assert refused.status_code == 403
    assert refused.json["type"] == "/problems/role-not-allowed"
    told = "This needs a key of the role owner or admin; this key's role is counter."
    assert refused.json["detail"] == told


def test_a_new_key_works_at_once_on_every_worker(changing: Any) -> None:
    first, second = changing.first, changing.second
    owner = changing.headers("quay-side", "owner")
    issued = first.post(
        "/v1/keys", json={"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes"}, headers=owner
    )
    assert issued.status_code == 201
    assert issued.headers["Cache-Control"] == "no-store"
    assert first.get(issued.headers["Location"], headers=owner).json["key_id"] == issued.json["key_id"]
    for client in (first, second):
        answer = client.get("/v1/shop/status", headers=bearer(issued.json["token"]))
        assert (answer.status_code, answer.json["role"]) == (200, "counter")
        key = client.get(issued.headers["Location"], headers=owner)
        shown = {name: value for name, value in issued.json.items() if name != "token"}
        assert {**key.json, "last_used_at": None} == shown


def test_tokens_are_kept_nowhere(changing: Any) -> None:
    client, admin = changing.first, changing.headers("quay-side", "admin")
    body = {"shop_id": "mill-loft", "role": "owner", "holder": "Ada Reyes"}
    once = {"Idempotency-Key": "issue-1"}
    token = client.post("/v1/keys", json=body, headers=admin | once).json["token"]
    again = client.post("/v1/keys", json=body, headers=admin | once)
    assert again.json["token"] is None, "an answer that is remembered must not hold it"
    secret = secret_of(token).encode()
    log = b"".join(file.read_bytes() for file in changing.collective.data.rglob("*.aof"))
    assert key_id_of(token).encode() in log
    assert secret not in log
    assert "token" not in client.get("/v1/keys", headers=admin).json["entries"][0]


@pytest.mark.alone
@pytest.mark.one_core
def test_a_revoked_key_is_refused_by_every_worker_within_two_seconds(
    changing: Any, wait_for: Callable[..., None]
) -> None:
    first, second = changing.first, changing.second
    admin = changing.headers("quay-side", "admin")
    issued = first.post(
        "/v1/keys", json={"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes"}, headers=admin
    ).json
    counter, id_ = bearer(issued["token"]), issued["key_id"]
    assert second.get("/v1/shop", headers=counter).status_code == 200
    revoked = first.delete(f"/v1/keys/{id_}", headers=admin)
    assert revoked.json["revoked_at"] is not None
    for client in (first, second):
        wait_for(lambda client=client: client.get("/v1/shop", headers=counter).status_code == 401, seconds=2.0)
    again = first.delete(f"/v1/keys/{id_}", headers=admin)
    assert (again.status_code, again.json) == (200, revoked.json)


def test_the_last_admins_key_can_not_be_revoked(fresh: Any, serve: Callable[[Any], Flask]) -> None:
    client, admin = serve(fresh).test_client(), fresh.headers("collective", "admin")
    listed = client.get("/v1/keys?limit=200", headers=admin).json["entries"]
    own = key_id_of(fresh.tokens["collective", "admin"])
    for key in listed:
        if key["role"] == "admin" and key["key_id"] != own:
            assert client.delete(f"/v1/keys/{key['key_id']}", headers=admin).status_code == 200
    refused = client.delete(f"/v1/keys/{own}", headers=admin)
    assert (refused.status_code, refused.json["type"]) == (409, "/problems/already-there")
    assert client.get("/v1/keys", headers=admin).status_code == 200


def test_what_only_asks_issues_and_revokes_nothing(changing: Any) -> None:
    client, admin = changing.first, changing.headers("quay-side", "admin")
    before = client.get("/v1/keys?limit=200", headers=admin).json
    preview = client.post(
        "/v1/keys?validate_only=true",
        json={"shop_id": "quay-side", "role": "owner", "holder": "Ada Reyes"},
        headers=admin,
    )
    assert (preview.status_code, preview.json["token"]) == (200, None)
    wrong = client.post(
        "/v1/keys?validate_only=true",
        json={"shop_id": "nowhere", "role": "owner", "holder": "Ada Reyes"},
        headers=admin,
    )
    assert wrong.status_code == 404
    id_ = key_id_of(changing.collective.tokens["quay-side", "counter"])
    assert client.delete(f"/v1/keys/{id_}?validate_only=true", headers=admin).json["revoked_at"] is not None
    assert client.get("/v1/keys?limit=200", headers=admin).json == before


def test_keys_are_listed_by_shop_and_page(changing: Any) -> None:
    client, admin = changing.first, changing.headers("quay-side", "admin")
    address, ids = "/v1/keys?shop_id=quay-side&limit=2", []
    while address:
        page = client.get(address, headers=admin).json
        assert {key["shop_id"] for key in page["entries"]} == {"quay-side"}
        ids += [key["key_id"] for key in page["entries"]]
        address = page["next"]
    assert ids == sorted(ids)
    tokens = changing.collective.tokens
    assert {key_id_of(t) for (shop, _), t in tokens.items() if shop == "quay-side"} <= set(ids)


def test_a_key_of_the_collective_is_a_stewards_or_an_admins(changing: Any) -> None:
    client, admin = changing.first, changing.headers("quay-side", "admin")
    for role, status in (("steward", 201), ("admin", 201), ("owner", 422), ("counter", 422)):
        answer = client.post(
            "/v1/keys", json={"shop_id": "collective", "role": role, "holder": "Ada Reyes"}, headers=admin
        )
        assert (role, answer.status_code) == (role, status)


def test_every_change_is_in_the_audit_under_the_key_that_made_it(changing: Any, store: Store) -> None:
    client, owner = changing.first, changing.headers("quay-side", "owner")
    issued = client.post(
        "/v1/keys", json={"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes"}, headers=owner
    ).json
    client.delete(f"/v1/keys/{issued['key_id']}", headers=owner)
    last = store.audit.entries(store.audit.head().seq - 2)
    who = key_id_of(changing.collective.tokens["quay-side", "owner"])
    assert [(entry.actor_id, entry.event, entry.subject_id) for entry in last] == [
        (who, "key.issued", issued["key_id"]),
        (who, "key.revoked", issued["key_id"]),
    ]
    assert store.audit.verify() is None


# -- one key: who has it, until when, when it was used ----------------------------------------------------------------


class Clock:
    """Seconds since 1970 (UTC), as the test moves them."""

    def __init__(self) -> None:
        self.now_s = float(int(time.time()))

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def timed(changing: Any, clock: Clock) -> Iterator[FlaskClient]:
    """A worker on the module's store whose clock the test moves."""
    app = create_app(changing.collective.config, clock)
    yield app.test_client()
    app.extensions["accord"].close()


def new_key(client: FlaskClient, admin: dict[str, str], **more: Any) -> Any:
    answer = client.post(
        "/v1/keys", json={"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes", **more}, headers=admin
    )
    assert answer.status_code == 201, answer.text
    return answer.json


def test_all_keys_and_shops_are_not_read_anew_for_a_key_that_waits(
    changing: Any, wait_for: Callable[..., None], monkeypatch: Any
) -> None:
    """It has no rate, since it opens nothing: a question must not cost more the more shops there are."""
    client = changing.first
    issued = new_key(client, changing.headers("quay-side", "admin"), role="steward")
    directories: list[Any] = []
    load = room.Directory.load
    monkeypatch.setattr(room.Directory, "load", lambda *of: directories.append(of) or load(*of))

    def told_that_it_waits() -> bool:
        refused = client.get("/v1/rules", headers=bearer(issued["token"]))
        assert refused.status_code == 401
        return "has to confirm it" in refused.json["detail"]

    def away(token: str) -> None:
        raise StoreAway("away")

    assert [told_that_it_waits() for _ in range(3)] == [True] * 3
    assert directories == []
    monkeypatch.setattr(client.application.extensions["accord"].store.keys, "by_token", away)
    wait_for(told_that_it_waits, seconds=2.0)  # as soon as the worker knows the key itself


def test_a_key_says_who_has_it_and_who_issued_it(changing: Any) -> None:
    client, admin = changing.first, changing.headers("quay-side", "admin")
    issued = new_key(client, admin, holder="The tablet at the counter")
    shown = client.get(f"/v1/keys/{issued['key_id']}", headers=admin)
    assert shown.json == {name: value for name, value in issued.items() if name != "token"}
    assert (issued["holder"], issued["expires_at"], issued["last_used_at"]) == ("The tablet at the counter", None, None)
    assert issued["issued_by"] == key_id_of(changing.collective.tokens["quay-side", "admin"])
    assert shown.json in client.get("/v1/keys?limit=200", headers=admin).json["entries"]


def test_another_shops_key_does_not_exist(changing: Any) -> None:
    client, owner = changing.first, changing.headers("mill-loft", "owner")
    theirs = key_id_of(changing.collective.tokens["quay-side", "counter"])
    answers = [client.get(f"/v1/keys/{id_}", headers=owner) for id_ in (theirs, "key_aaaaaaaaaaaaaaaa")]
    assert [answer.status_code for answer in answers] == [404, 404]
    own = key_id_of(changing.collective.tokens["mill-loft", "counter"])
    assert client.get(f"/v1/keys/{own}", headers=owner).json["shop_id"] == "mill-loft"


def test_an_expired_key_is_refused_with_its_own_sentence(changing: Any, clock: Clock, timed: FlaskClient) -> None:
    admin = changing.headers("quay-side", "admin")
    ends = instant(clock.now_s + 3600)
    issued = new_key(timed, admin, expires_at=ends)
    assert issued["expires_at"] == ends
    clock.now_s += 3599
    assert timed.get("/v1/shop", headers=bearer(issued["token"])).status_code == 200
    clock.now_s += 1
    refused = timed.get("/v1/shop", headers=bearer(issued["token"]))
    assert (refused.status_code, refused.json["type"]) == (401, "/problems/not-authenticated")
    assert refused.json["detail"] == f"This key expired at {ends}: a new one has to be issued."
    assert 'error="invalid_token"' in refused.headers["WWW-Authenticate"]  # RFC 6750 section 3.1: expired, revoked ...
    assert timed.get(f"/v1/keys/{issued['key_id']}", headers=admin).json["revoked_at"] is None


@pytest.mark.parametrize(
    ("expires_at", "sentence"),
    [("2020-01-01T00:00:00Z", "must be in the next ten years"), ("9999-12-31T23:59:59-23:59", "next ten years"),
     ("2027-03-31", "a point in time"), ("2027-03-31T18:00:00", "a point in time"), ("2027-02-31T18:00:00Z", "is no"),
     (1_800_000_000, "a point in time")],
)  # fmt: skip
def test_an_end_that_can_not_be_is_refused(changing: Any, expires_at: Any, sentence: str) -> None:
    body = {"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes", "expires_at": expires_at}
    refused = changing.first.post("/v1/keys", json=body, headers=changing.headers("quay-side", "admin"))
    assert (refused.status_code, [error["pointer"] for error in refused.json["errors"]]) == (422, ["/expires_at"])
    assert sentence in refused.json["errors"][0]["message"]


def test_a_holder_is_written_in_one_alphabet(changing: Any) -> None:
    """The Cyrillic е in Ruе looks like the Latin e of somebody else (Unicode Technical Standard 39)."""
    for holder, status in (("Ru\u0435 Castell", 422), ("Rue Castell", 201), ("Анна Ли", 201), ("Rue 王", 201)):
        body = {"shop_id": "quay-side", "role": "counter", "holder": holder}
        answer = changing.first.post("/v1/keys", json=body, headers=changing.headers("quay-side", "admin"))
        assert answer.status_code == status, answer.text
        if status == 422:
            assert "letters of Cyrillic and Latin look alike" in answer.json["errors"][0]["message"]


def test_an_owner_revokes_no_stewards_and_no_admins_key(changing: Any) -> None:
    """Their approvals, and the confirming of others' keys, bind the shop as well."""
    client, owner = changing.first, changing.headers("quay-side", "owner")
    for role in ("steward", "admin"):
        key_id = client.get("/v1/shop/status", headers=changing.headers("quay-side", role)).json["key_id"]
        refused = client.delete(f"/v1/keys/{key_id}", headers=owner)
        assert (refused.status_code, refused.json["type"]) == (403, "/problems/role-not-allowed")
        assert client.get("/v1/shop/status", headers=changing.headers("quay-side", role)).status_code == 200


@pytest.mark.parametrize("holder", [" ", "\u3000", "\u200b", "\u2060 \u00ad", ""])
def test_a_holder_that_nobody_can_see_is_no_holder(changing: Any, holder: str) -> None:
    """Unicode: U+3000 is a space (Zs), U+00AD, U+200B and U+2060 are format characters (Cf)."""
    body = {"shop_id": "quay-side", "role": "counter", "holder": holder}
    refused = changing.first.post("/v1/keys", json=body, headers=changing.headers("quay-side", "admin"))
    assert (refused.status_code, [error["pointer"] for error in refused.json["errors"]]) == (422, ["/holder"])


def test_an_expired_admin_is_no_admin_left(fresh: Any, clock: Clock) -> None:
    """The last key that holds stays: another admin's that has expired could open nothing any more."""
    app = create_app(fresh.config, clock)
    client, admin = app.test_client(), fresh.headers("collective", "admin")
    own = key_id_of(fresh.tokens["collective", "admin"])
    expiring = {
        "shop_id": "collective",
        "role": "admin",
        "holder": "Ada Reyes",
        "expires_at": instant(clock.now_s + 60),
    }
    issued = client.post("/v1/keys", json=expiring, headers=admin).json["key_id"]
    confirm = f"/v1/keys/{issued}/confirm"
    assert client.post(confirm, headers=fresh.headers("quay-side", "admin")).status_code == 200
    for key in client.get("/v1/keys?limit=200", headers=admin).json["entries"]:
        if key["role"] == "admin" and key["key_id"] != own and key["expires_at"] is None:
            assert client.delete(f"/v1/keys/{key['key_id']}", headers=admin).status_code == 200
    assert client.delete(f"/v1/keys/{own}?validate_only=true", headers=admin).status_code == 200
    clock.now_s += 60
    assert client.delete(f"/v1/keys/{own}?validate_only=true", headers=admin).status_code == 409
    app.extensions["accord"].close()


def test_a_use_is_noted_once_an_hour_and_is_no_entry_of_the_audit(
    changing: Any, clock: Clock, timed: FlaskClient, store: Store, wait_for: Callable[..., None]
) -> None:
    admin = changing.headers("quay-side", "admin")
    issued = new_key(timed, admin)
    written, began_s = store.audit.head().seq, clock.now_s

    def last_used() -> float | None:
        return store.keys.last_used([issued["key_id"]]).get(issued["key_id"])

    for later_s, noted_s in ((0, 0), (1800, 0), (3599, 0), (3600, 3600), (5000, 3600)):
        clock.now_s = began_s + later_s
        assert timed.get("/v1/shop", headers=bearer(issued["token"])).status_code == 200
        wait_for(lambda noted_s=noted_s: last_used() == began_s + noted_s, seconds=2.0)
    assert timed.get(f"/v1/keys/{issued['key_id']}", headers=admin).json["last_used_at"] == instant(began_s + 3600)
    assert store.audit.head().seq == written


def test_no_answer_waits_for_a_use_to_be_noted(changing: Any, timed: FlaskClient, monkeypatch: Any) -> None:
    issued = new_key(timed, changing.headers("quay-side", "admin"))
    began, go_on = threading.Event(), threading.Event()
    room = timed.application.extensions["accord"]
    monkeypatch.setattr(room.store.keys, "used", lambda *use: (began.set(), go_on.wait(60)))
    try:
        assert timed.get("/v1/shop", headers=bearer(issued["token"])).status_code == 200
        assert began.wait(60)
    finally:
        go_on.set()


def test_uses_go_unnoted_while_they_can_not_be_written(
    changing: Any, clock: Clock, timed: FlaskClient, monkeypatch: Any, wait_for: Callable[..., None]
) -> None:
    noted_s: list[float] = []

    def away(id_: str, at_s: float) -> None:
        noted_s.append(at_s)
        raise StoreAway("away")

    issued = new_key(timed, changing.headers("quay-side", "admin"))
    monkeypatch.setattr(timed.application.extensions["accord"].store.keys, "used", away)
    began_s = clock.now_s
    for later_s in (0, 59, 60):
        clock.now_s = began_s + later_s
        assert timed.get("/v1/shop", headers=bearer(issued["token"])).status_code == 200
        wait_for(lambda later_s=later_s: len(noted_s) == (2 if later_s == 60 else 1), seconds=2.0)
    assert noted_s == [began_s, began_s + 60]
