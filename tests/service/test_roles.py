"""Every endpoint against every role, and one shop against another's things: what is not yours does not exist."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_service import roles
from accord_service.api.v1 import ENDPOINTS
from accord_service.endpoint import Endpoint

# What the collective agreed on, written down apart from roles.MAY: who is refused what. The rest is for everybody.
SHOP_ONLY = {"get_house_rules"}
OWNER = {"put_shop", "put_house_rules"}
ADMIN = {"get_shops", "post_shops", "get_shop_entry", "put_shop_entry"}
OWNER_OR_ADMIN = {"get_keys", "post_keys", "delete_key"}
HERE = SHOP_ONLY | OWNER | ADMIN | OWNER_OR_ADMIN


def wanted(name: str) -> tuple[str, ...]:
    if name in SHOP_ONLY:
        return ("counter", "operator", "owner")
    if name in OWNER:
        return ("owner",)
    if name in ADMIN:
        return ("admin",)
    if name in OWNER_OR_ADMIN:
        return ("owner", "admin")
    return roles.ROLES


ASKING = {
    "post_validate", "post_recommend", "get_catalogue", "get_catalogue_kind", "get_catalogue_entry", "get_limits",
    "get_limit", "get_sources", "get_source", "get_rules", "get_rule", "get_shop",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(ASKING | HERE))
def test_the_table_says_what_was_agreed(name: str) -> None:
    assert roles.MAY[name] == wanted(name)


def test_the_table_names_endpoints_and_all_of_them() -> None:
    assert set(roles.MAY) == {endpoint.name for endpoint in ENDPOINTS}
    assert all(set(may) <= set(roles.ROLES) and may for may in roles.MAY.values())


def ask(client: FlaskClient, endpoint: Endpoint, headers: Mapping[str, str]) -> Any:
    """A request with nothing in it that could be done: whoever passes the role is refused for what it lacks."""
    path = endpoint.path
    for name in endpoint.parameters:
        path = path.replace(f"{{{name}}}", "nothing-of-this-name")
    body = {"json": {"surprise": 1}} if endpoint.takes else {}
    return client.open(path, method=endpoint.method, headers=dict(headers), **body)


@pytest.mark.parametrize("role", roles.ROLES)
@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_every_endpoint_against_every_role(client: FlaskClient, collective: Any, endpoint: Endpoint, role: str) -> None:
    answer = ask(client, endpoint, collective.headers("quay-side", role))
    if role in roles.MAY[endpoint.name]:
        assert answer.status_code in (200, 400, 404, 422, 428), answer.text
    else:
        assert (answer.status_code, answer.json["type"]) == (403, "/problems/role-not-allowed")


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_no_endpoint_answers_without_a_key(client: FlaskClient, endpoint: Endpoint) -> None:
    assert ask(client, endpoint, {}).status_code == 401


def test_another_shops_things_do_not_exist(changing: Any) -> None:
    """404 and the very words of what never was, not 403, which would say that it is there."""
    client, owner = changing.one, changing.headers("mill-loft", "owner")
    theirs = changing.collective.tokens["quay-side", "counter"].partition(".")[0]
    tries = [
        ("DELETE", "/v1/keys/{}", theirs, "aaaaaaaaaaaaaaaa", None),
        ("GET", "/v1/keys?shop={}", "quay-side", "no-such-shop", None),
        ("POST", "/v1/keys", "quay-side", "no-such-shop", "counter"),
    ]
    for method, path, real, made_up, role in tries:
        answers = [
            client.open(path.format(name), method=method, headers=owner, json=role and {"shop": name, "role": role})
            for name in (real, made_up)
        ]
        assert [answer.status_code for answer in answers] == [404, 404]
        told = [answer.json["detail"].replace(name, "X") for answer, name in zip(answers, (real, made_up), strict=True)]
        assert told[0] == told[1]
    assert client.get("/v1/shop", headers=changing.headers("quay-side", "counter")).status_code == 200


def test_an_owner_sees_and_makes_only_keys_of_the_own_shop(changing: Any) -> None:
    client, owner = changing.one, changing.headers("mill-loft", "owner")
    assert {each["shop"] for each in client.get("/v1/keys", headers=owner).json["entries"]} == {"mill-loft"}
    made = {
        role: client.post("/v1/keys", json={"shop": "mill-loft", "role": role}, headers=owner).status_code
        for role in roles.ROLES
    }
    assert made == {"counter": 201, "operator": 201, "owner": 201, "steward": 403, "admin": 403}


def test_a_shop_presses_on_its_own_presses_under_its_own_rules(changing: Any, order: dict[str, Any]) -> None:
    client = changing.one
    quay, mill = changing.headers("quay-side", "owner"), changing.headers("mill-loft", "owner")
    house = client.get("/v1/shop/house-rules", headers=quay)
    changed = client.put(
        "/v1/shop/house-rules",
        json={"limits": {"press.parts_most": 2}},
        headers=quay | {"If-Match": house.headers["ETag"]},
    )
    assert changed.status_code == 200, changed.text
    assert client.get("/v1/shop/house-rules", headers=mill).json["house_rules"]["limits"] == {}
    assert client.get("/v1/shop/house-rules", headers=quay).json["house_rules"]["limits"] == {"press.parts_most": 2}
    assert client.post("/v1/validate", json=order | {"press": "big-swing"}, headers=quay).status_code == 422
