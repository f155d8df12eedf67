"""Keys that stand in a page: what they may ask, from which pages, and what a browser is told (Fetch standard, CORS
protocol: https://fetch.spec.whatwg.org/#http-cors-protocol; a preflight carries no Authorization, section 3.2.2)."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import pytest
from flask.testing import FlaskClient
from tests.conftest import PAGE
from tests.service.conftest import MILL_LOFT, ORDER
from tests.service.servers import QUAY_SIDE

from accord_service.app import create_app
from accord_service.http.origins import ORIGINS
from accord_service.run.config import RATE_LIMITS
from accord_service.store import KeyRecord, Store
from accord_service.store.keys import KeyRing
from accord_service.worker.rates import SHARES_A_SHOP

THEIRS, NOBODYS = "https://mill.example", "https://elsewhere.example"
PREFLIGHT = {"Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "authorization,content-type"}


@dataclass(frozen=True)
class Street:
    """Two shops with a storefront's key each: of quay-side for PAGE, of mill-loft for THEIRS."""

    client: FlaskClient
    own: dict[str, str]
    theirs: dict[str, str]
    counter: dict[str, str]
    owner: dict[str, str]

    def validate(self, key: dict[str, str], origin: str | None, query: str = "") -> Any:
        headers = {name: value for name, value in key.items() if name != "Origin"}
        return self.client.post(
            f"/v1/validate{query}", json=ORDER, headers=headers | ({} if origin is None else {"Origin": origin})
        )

    def preflight(self, origin: str, path: str = "/v1/validate") -> Any:
        return self.client.options(path, headers=PREFLIGHT | {"Origin": origin})


@pytest.fixture(scope="module")
def street(open_collective: Any) -> Iterator[Street]:
    roles = ("storefront", "counter", "owner")
    town = open_collective([QUAY_SIDE, MILL_LOFT], [("quay-side", role) for role in roles])
    store = Store.at(town.server.url, timeout_s=5.0)
    theirs = store.keys.issue("mill-loft", "storefront", holder="Ada Reyes", who="test", origins=[THEIRS]).token
    store.close()
    app = create_app(town.config)
    yield Street(
        app.test_client(),
        town.headers("quay-side", "storefront"),
        {"Authorization": f"Bearer {theirs}"},
        town.headers("quay-side", "counter"),
        town.headers("quay-side", "owner"),
    )
    app.extensions["accord"].close()


def admitted(answer: Any) -> str | None:
    """The origin whose pages may read the answer."""
    return answer.headers.get("Access-Control-Allow-Origin")


def test_its_page_is_told_what_the_shop_is_told(street: Street) -> None:
    answer = street.validate(street.own, PAGE)
    assert (answer.status_code, admitted(answer)) == (200, PAGE)
    assert answer.data == street.validate(street.counter, None).data
    assert "Origin" in answer.vary
    assert "Access-Control-Allow-Credentials" not in answer.headers


@pytest.mark.parametrize(
    "origin", [THEIRS, NOBODYS, None, "null", PAGE + ":8443", PAGE.upper(), PAGE + ".evil.example"]
)
def test_from_elsewhere_it_opens_nothing(street: Street, origin: str | None) -> None:
    answer = street.validate(street.own, origin)
    assert (answer.status_code, answer.json["type"]) == (403, "/problems/origin-not-listed")
    assert PAGE in answer.json["detail"]
    assert "verdict" not in answer.json


def test_a_preflight_from_any_storefronts_page_is_answered_and_from_no_other(street: Street) -> None:
    for origin in (PAGE, THEIRS):
        answer = street.preflight(origin)
        assert (answer.status_code, admitted(answer)) == (200, origin)
        assert "POST" in answer.headers["Access-Control-Allow-Methods"].split(", ")
        assert {"authorization", "content-type"} <= set(
            answer.headers["Access-Control-Allow-Headers"].lower().split(", ")
        )
    assert admitted(street.preflight(NOBODYS)) is None


@pytest.mark.parametrize("path", ["/v1/recommend", "/v1/validate/batch", "/v1/shop", "/v1/records", "/v1", "/v1/keys"])
def test_no_other_address_is_open_to_its_page(street: Street, path: str) -> None:
    assert admitted(street.preflight(PAGE, path)) is None
    assert admitted(street.client.get(path, headers=street.own)) is None


def test_a_page_may_read_why_it_was_refused(street: Street) -> None:
    """Else the browser says no more than that it failed."""
    unknown = street.validate({"Authorization": "Bearer nobody"}, PAGE)
    assert (unknown.status_code, admitted(unknown)) == (401, PAGE)
    other_key = street.validate(street.theirs, PAGE)
    assert (other_key.status_code, admitted(other_key)) == (403, PAGE)
    unreadable = street.client.post("/v1/validate", json={"item": 1}, headers=street.own)
    assert (unreadable.status_code, admitted(unreadable)) == (422, PAGE)


def test_what_answers_another_role_is_not_for_pages(street: Street) -> None:
    """A counter's key has strayed into a page: nothing was agreed of that, so it is as without storefronts."""
    assert admitted(street.validate(street.counter, PAGE)) is None
    assert admitted(street.validate(street.counter, NOBODYS)) is None


def test_it_asks_of_no_older_revision(street: Street) -> None:
    """Another revision is loaded for whoever asks, which takes seconds: not for everybody who can read a page."""
    answer = street.validate(street.own, PAGE, "?revision=1")
    assert (answer.status_code, answer.json["type"]) == (403, "/problems/role-not-allowed")
    assert street.validate(street.counter, None, "?revision=1").status_code == 200


def test_it_may_ask_far_less_often_than_its_shop(street: Street) -> None:
    """So whoever takes the key from the page takes nothing from the counter."""
    policy = street.validate(street.own, PAGE).headers["RateLimit-Policy"]
    assert policy == f'"key";q={RATE_LIMITS["storefront"]};w=60'
    assert RATE_LIMITS["storefront"] * 20 <= RATE_LIMITS["counter"]
    assert RATE_LIMITS["storefront"] < SHARES_A_SHOP * RATE_LIMITS["counter"] - RATE_LIMITS["counter"]


@pytest.mark.parametrize(
    ("role", "origins", "pointer"),
    [
        ("storefront", None, "/origins"),
        ("storefront", [], "/origins"),
        ("storefront", ["*"], "/origins/0"),
        ("storefront", ["null"], "/origins/0"),
        ("storefront", ["https://prints.example/checkout"], "/origins/0"),
        ("storefront", ["https://Prints.example"], "/origins/0"),
        ("storefront", [PAGE, PAGE], "/origins"),
        ("storefront", [f"https://p{n}.example" for n in range((ORIGINS.most or 0) + 1)], "/origins"),
        ("counter", [PAGE], "/origins"),
        ("owner", [PAGE], "/origins"),
    ],
)
def test_origins_are_a_storefronts_and_it_has_one_at_least(
    street: Street, role: str, origins: list[str] | None, pointer: str
) -> None:
    body = {"shop_id": "quay-side", "role": role, "holder": "Ada Reyes"}
    body |= {} if origins is None else {"origins": origins}  # type: ignore[dict-item]
    answer = street.client.post("/v1/keys", json=body, headers=street.owner)
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json["errors"]] == [pointer]


def test_an_owner_issues_and_revokes_it(changing: Any) -> None:
    client, owner = changing.first, changing.headers("quay-side", "owner")
    mine = "https://new.example"
    body = {"shop_id": "quay-side", "role": "storefront", "holder": "Ada Reyes", "origins": [mine]}
    issued = client.post("/v1/keys", json=body, headers=owner)
    assert (issued.status_code, issued.json["origins"], issued.json["waits"]) == (201, [mine], False)
    key_id = issued.json["key_id"]
    assert client.get(f"/v1/keys/{key_id}", headers=owner).json["origins"] == [mine]
    said = {"Authorization": f"Bearer {issued.json['token']}", "Origin": mine}
    wait_for(lambda: admitted(client.options("/v1/validate", headers=PREFLIGHT | {"Origin": mine})) == mine)
    answer = client.post("/v1/validate", json=ORDER, headers=said)
    assert (answer.status_code, admitted(answer)) == (200, mine)
    assert client.delete(f"/v1/keys/{key_id}", headers=owner).status_code == 200
    wait_for(lambda: client.post("/v1/validate", json=ORDER, headers=said).status_code == 401)
    wait_for(lambda: admitted(client.options("/v1/validate", headers=PREFLIGHT | {"Origin": mine})) is None)


def wait_for(holds: Callable[[], bool]) -> None:
    """Workers look for changed keys every now and then: within two seconds, ten on a busy machine."""
    until = time.monotonic() + 10.0
    while not holds():
        assert time.monotonic() < until, "the worker did not notice"
        time.sleep(0.05)


def test_keys_of_before_have_no_origins(open_collective: Any) -> None:
    town = open_collective([QUAY_SIDE], [("quay-side", "counter")])
    store = Store.at(town.server.url, timeout_s=5.0)
    (key,) = store.keys.list("quay-side")
    fields = key.fields()
    del fields["origins"]
    store.close()
    assert replace(key, origins=()) == KeyRecord(id=key.id, version=key.version, **fields)
    revoked = replace(key, origins=(PAGE,), revoked_at=1.0)
    assert KeyRing([revoked]).origins() == frozenset()
    assert KeyRing([replace(revoked, revoked_at=None)]).origins() == {PAGE}
