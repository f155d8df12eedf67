"""Every route against every role and without a key, and one shop against another's things: what is not yours does not
exist."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.conftest import PAGE
from tests.service.conftest import MILL_LOFT
from tests.service.servers import QUAY_SIDE
from tests.tokens import key_id_of

from accord_rules.revision.book import Book
from accord_service.api.governance_examples import OUTCOME_ASKED, RECORDED_ORDER
from accord_service.api.v1 import ENDPOINTS
from accord_service.app import create_app
from accord_service.http import roles

# What the collective agreed on, kept apart from roles.MAY: who may (+) and who may not (-). A change here is a change
# of the agreement. "nobody" is whoever comes without a key.
AGREED = """
                                            nobody   storefront counter  operator owner    steward  admin
GET    /                                    +        +          +        +        +        +        +
GET    /docs                                +        +          +        +        +        +        +
GET    /problems                            +        +          +        +        +        +        +
GET    /problems/{slug}                     +        +          +        +        +        +        +
GET    /static/{filename}                   +        +          +        +        +        +        +
GET    /healthz                             +        +          +        +        +        +        +
GET    /readyz                              +        +          +        +        +        +        +
GET    /metrics                             +        +          +        +        +        +        +
GET    /v1                                  +        +          +        +        +        +        +
GET    /v1/openapi.json                     +        +          +        +        +        +        +
POST   /v1/validate                         -        +          +        +        +        +        +
POST   /v1/validate/batch                   -        -          +        +        +        +        +
POST   /v1/recommend                        -        -          +        +        +        +        +
POST   /v1/envelope                         -        -          +        +        +        +        +
GET    /v1/catalogue                        -        -          +        +        +        +        +
GET    /v1/catalogue/{kind}                 -        -          +        +        +        +        +
GET    /v1/catalogue/{kind}/{name}          -        -          +        +        +        +        +
GET    /v1/limits                           -        -          +        +        +        +        +
GET    /v1/limits/{name}                    -        -          +        +        +        +        +
GET    /v1/sources                          -        -          +        +        +        +        +
GET    /v1/sources/{name}                   -        -          +        +        +        +        +
GET    /v1/sourcing                         -        -          +        +        +        +        +
GET    /v1/rules                            -        -          +        +        +        +        +
GET    /v1/rules/{name}                     -        -          +        +        +        +        +
GET    /v1/steps                            -        -          +        +        +        +        +
GET    /v1/steps/{name}                     -        -          +        +        +        +        +
GET    /v1/facts                            -        -          +        +        +        +        +
GET    /v1/facts/{name}                     -        -          +        +        +        +        +
GET    /v1/search                           -        -          +        +        +        +        +
GET    /v1/outcomes                         -        -          +        +        +        +        +
GET    /v1/revisions                        -        -          +        +        +        +        +
GET    /v1/revisions/{revision}             -        -          +        +        +        +        +
GET    /v1/revisions/{revision}/changes     -        -          +        +        +        +        +
GET    /v1/history/{kind}/{name}            -        -          +        +        +        +        +
POST   /v1/revisions/{revision}/revert      -        -          -        +        +        +        +
GET    /v1/proposals                        -        -          +        +        +        +        +
POST   /v1/proposals                        -        -          -        +        +        +        +
GET    /v1/proposals/{proposal_id}          -        -          +        +        +        +        +
PUT    /v1/proposals/{proposal_id}          -        -          -        +        +        +        +
GET    /v1/proposals/{proposal_id}/status   -        -          +        +        +        +        +
GET    /v1/proposals/{proposal_id}/changes  -        -          +        +        +        +        +
POST   /v1/proposals/{proposal_id}/open     -        -          -        +        +        +        +
GET    /v1/proposals/{proposal_id}/effect   -        -          -        +        +        +        +
POST   /v1/proposals/{proposal_id}/effect/cancel -        -          -        +        +        +        +
POST   /v1/proposals/{proposal_id}/approve  -        -          -        -        -        +        -
POST   /v1/proposals/{proposal_id}/decline  -        -          -        -        -        +        -
POST   /v1/proposals/{proposal_id}/withdraw -        -          -        +        +        +        +
POST   /v1/proposals/{proposal_id}/publish  -        -          -        -        -        +        -
GET    /v1/news                             -        -          +        +        +        +        +
GET    /v1/records                          -        -          +        +        +        +        +
POST   /v1/records                          -        -          +        +        +        +        +
GET    /v1/records/{record_id}              -        -          +        +        +        +        +
GET    /v1/records/{record_id}/replay       -        -          +        +        +        +        +
GET    /v1/records/{record_id}/ticket       -        -          +        +        +        +        +
DELETE /v1/records/{record_id}/reference    -        -          -        +        +        -        -
GET    /v1/records/{record_id}/outcomes     -        -          +        +        +        +        +
POST   /v1/records/{record_id}/outcomes     -        -          +        +        +        +        +
GET    /v1/records/{record_id}/outcomes/{outcome_id} -        -          +        +        +        +        +
POST   /v1/records/{record_id}/outcomes/{outcome_id}/withdraw -        -          +        +        +        +        +
GET    /v1/shop                             -        -          +        +        +        +        +
PUT    /v1/shop                             -        -          -        -        +        -        -
GET    /v1/bundle                           -        -          +        +        +        +        +
GET    /v1/shop/status                      -        -          +        +        +        +        +
GET    /v1/shop/presses/{press_id}          -        -          +        +        +        +        +
PUT    /v1/shop/presses/{press_id}          -        -          -        -        +        -        -
GET    /v1/shop/presses/{press_id}/readings -        -          +        +        +        +        +
POST   /v1/shop/presses/{press_id}/readings -        -          -        +        +        -        -
GET    /v1/shop/presses/{press_id}/readings/{reading_id} -        -          +        +        +        +        +
DELETE /v1/shop/presses/{press_id}/readings/{reading_id} -        -          -        +        +        -        -
POST   /v1/shop/presses/{press_id}/readings/{reading_id}/confirm -      -      -      -      +      -      -
GET    /v1/shop/house-rules                 -        -          +        +        +        -        -
PUT    /v1/shop/house-rules                 -        -          -        -        +        -        -
POST   /v1/shop/house-rules/rules           -        -          -        -        +        -        -
GET    /v1/shop/house-rules/versions        -        -          +        +        +        -        -
GET    /v1/shop/house-rules/versions/{version} -        -          +        +        +        -        -
GET    /v1/shop/house-rules/limits/{limit_id} -        -          +        +        +        -        -
PUT    /v1/shop/house-rules/limits/{limit_id} -        -          -        -        +        -        -
GET    /v1/shop/house-rules/rules/{rule_id}  -        -          +        +        +        -        -
PUT    /v1/shop/house-rules/rules/{rule_id}  -        -          -        -        +        -        -
DELETE /v1/shop/house-rules/rules/{rule_id}  -        -          -        -        +        -        -
GET    /v1/shop/versions                    -        -          +        +        +        +        +
GET    /v1/shop/versions/{version}          -        -          +        +        +        +        +
GET    /v1/shops                            -        -          -        -        -        +        +
POST   /v1/shops                            -        -          -        -        -        -        +
GET    /v1/shops/{shop_id}                  -        -          -        -        -        -        +
PUT    /v1/shops/{shop_id}                  -        -          -        -        -        -        +
GET    /v1/keys                             -        -          -        -        +        -        +
POST   /v1/keys                             -        -          -        -        +        -        +
GET    /v1/keys/{key_id}                    -        -          -        -        +        -        +
DELETE /v1/keys/{key_id}                    -        -          -        -        +        -        +
POST   /v1/keys/{key_id}/confirm            -        -          -        -        -        -        +
GET    /v1/audit                            -        -          -        -        -        +        +
GET    /v1/audit/head                       -        -          +        +        +        +        +
GET    /v1/audit/check                      -        -          -        -        -        +        +
"""


def _agreed() -> dict[tuple[str, str], dict[str, bool]]:
    """(method, path) to role to whether it may."""
    header, *rows = AGREED.strip("\n").splitlines()
    holders = header.split()
    assert holders == ["nobody", *roles.ROLES]
    agreed: dict[tuple[str, str], dict[str, bool]] = {}
    for method, path, *marks in map(str.split, rows):
        assert len(marks) == len(holders), path
        assert set(marks) <= {"+", "-"}, path
        assert (method, path) not in agreed, path
        agreed[method, path] = dict(zip(holders, (mark == "+" for mark in marks), strict=True))
    return agreed


MAY = _agreed()
# Of an order, a document or a name with nothing in it that could be done: what whoever may is told. JSON is no lines.
LACKING = (200, 400, 404, 415, 422, 428)


def routes(app: Flask) -> set[tuple[str, str]]:
    """Every route of the application, as it would be documented. Of people's pages ``test_page_roles`` has a table."""
    return {
        (method, re.sub("<(?:.*?:)?(.*?)>", r"{\1}", rule.rule))
        for rule in app.url_map.iter_rules()
        if not rule.endpoint.startswith("page_")
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }


def test_the_agreement_covers_every_route_and_no_other(app: Flask) -> None:
    """A new route fails until it was agreed who may use it; an agreement on a route that is gone fails too."""
    unagreed, gone = sorted(routes(app) - set(MAY)), sorted(set(MAY) - routes(app))
    assert not unagreed, "agree who may use it, and add a row to AGREED"
    assert not gone, "there is no such route any more: take its row out of AGREED"


def test_the_table_names_endpoints_and_all_of_them() -> None:
    assert set(roles.MAY) == {endpoint.name for endpoint in ENDPOINTS}


def ask(client: FlaskClient, method: str, path: str, headers: Mapping[str, str]) -> Any:
    """A request with nothing in it that could be done: whoever may is refused for what it lacks."""
    address = re.sub("{.*?}", "nothing-of-this-name", path)
    body = {"json": {"surprise": 1}} if method in ("POST", "PUT") else {}
    return client.open(address, method=method, headers=dict(headers), **body)


def told(answer: Any) -> tuple[int, str]:
    """The status and the type of problem that is told; "" where none is."""
    slug = answer.json.get("type", "").removeprefix("/problems/") if answer.status_code >= 400 else ""
    return answer.status_code, slug


@pytest.mark.parametrize(("method", "path"), MAY)
def test_every_route_against_every_role(client: FlaskClient, collective: Any, method: str, path: str) -> None:
    answers = {role: ask(client, method, path, collective.headers("quay-side", role)) for role in roles.ROLES}
    otherwise = {
        role: (MAY[method, path][role], answer.status_code, answer.text)
        for role, answer in answers.items()
        if not (answer.status_code in LACKING if MAY[method, path][role] else told(answer) == (403, "role-not-allowed"))
    }
    assert otherwise == {}


# -- whose things -----------------------------------------------------------------------------------------------------

# Of every route that takes a key, what was agreed on whose things it is about:
#   all       nobody's: the book, its changes and its keepers; a key of any shop, or of none, gets the same
#   own       the caller's own shop, which no address names; a key of no shop has none
#   thing     a thing of one shop; another shop's does not exist, and a key of no shop has none
#   kept      a thing of one shop that its owner keeps, and admins for all
#   none      nobody's, and not there yet: the proposal asked for is a draft
WHOSE = """
POST   /v1/validate own
POST   /v1/validate/batch own
POST   /v1/recommend own
POST   /v1/envelope own
GET    /v1/catalogue all
GET    /v1/catalogue/{kind} all
GET    /v1/catalogue/{kind}/{name} all
GET    /v1/limits all
GET    /v1/limits/{name} all
GET    /v1/sources all
GET    /v1/sources/{name} all
GET    /v1/sourcing all
GET    /v1/rules all
GET    /v1/rules/{name} all
GET    /v1/steps all
GET    /v1/steps/{name} all
GET    /v1/facts all
GET    /v1/facts/{name} all
GET    /v1/search all
GET    /v1/outcomes all
GET    /v1/revisions all
GET    /v1/revisions/{revision} all
GET    /v1/revisions/{revision}/changes all
GET    /v1/history/{kind}/{name} all
POST   /v1/revisions/{revision}/revert all
GET    /v1/proposals all
POST   /v1/proposals all
GET    /v1/proposals/{proposal_id} all
PUT    /v1/proposals/{proposal_id} all
GET    /v1/proposals/{proposal_id}/status all
GET    /v1/proposals/{proposal_id}/changes all
POST   /v1/proposals/{proposal_id}/open all
GET    /v1/proposals/{proposal_id}/effect none
POST   /v1/proposals/{proposal_id}/effect/cancel all
POST   /v1/proposals/{proposal_id}/approve all
POST   /v1/proposals/{proposal_id}/decline all
POST   /v1/proposals/{proposal_id}/withdraw all
POST   /v1/proposals/{proposal_id}/publish all
GET    /v1/news all
GET    /v1/records own
POST   /v1/records own
GET    /v1/records/{record_id} thing
GET    /v1/records/{record_id}/replay thing
GET    /v1/records/{record_id}/ticket thing
DELETE /v1/records/{record_id}/reference thing
GET    /v1/records/{record_id}/outcomes thing
POST   /v1/records/{record_id}/outcomes thing
GET    /v1/records/{record_id}/outcomes/{outcome_id} thing
POST   /v1/records/{record_id}/outcomes/{outcome_id}/withdraw thing
GET    /v1/shop own
PUT    /v1/shop own
GET    /v1/bundle own
GET    /v1/shop/status own
GET    /v1/shop/presses/{press_id} thing
PUT    /v1/shop/presses/{press_id} thing
GET    /v1/shop/house-rules own
PUT    /v1/shop/house-rules own
POST   /v1/shop/house-rules/rules own
GET    /v1/shop/house-rules/rules/{rule_id} thing
PUT    /v1/shop/house-rules/rules/{rule_id} thing
DELETE /v1/shop/house-rules/rules/{rule_id} thing
GET    /v1/shop/house-rules/limits/{limit_id} own
PUT    /v1/shop/house-rules/limits/{limit_id} own
GET    /v1/shop/house-rules/versions own
GET    /v1/shop/house-rules/versions/{version} thing
GET    /v1/shop/versions own
GET    /v1/shop/versions/{version} own
GET    /v1/shop/presses/{press_id}/readings thing
POST   /v1/shop/presses/{press_id}/readings thing
GET    /v1/shop/presses/{press_id}/readings/{reading_id} thing
DELETE /v1/shop/presses/{press_id}/readings/{reading_id} thing
POST   /v1/shop/presses/{press_id}/readings/{reading_id}/confirm thing
GET    /v1/shops all
POST   /v1/shops all
GET    /v1/shops/{shop_id} kept
PUT    /v1/shops/{shop_id} kept
GET    /v1/keys all
POST   /v1/keys kept
GET    /v1/keys/{key_id} kept
DELETE /v1/keys/{key_id} kept
POST   /v1/keys/{key_id}/confirm kept
GET    /v1/audit all
GET    /v1/audit/head all
GET    /v1/audit/check all
"""
WHOSE_OF = {(method, path): whose for method, path, whose in map(str.split, WHOSE.strip().splitlines())}
# Whose key asks for the things of quay-side: its own, another shop's, one of no shop.
ASKING = {"own": "quay-side", "other": "mill-loft", "none": roles.COLLECTIVE}
WHO = [
    (role, tenant)
    for role in roles.ROLES
    for tenant in ASKING
    if tenant != "none" or role not in roles.SHOP_ROLES  # the store makes no such key
]


@pytest.fixture(scope="module")
def things(open_collective: Any) -> Iterator[Any]:
    """An application, the headers of each key, and the addresses of quay-side's things, all of them there."""
    keys = [(shop, role) for shop in ("quay-side", "mill-loft") for role in roles.ROLES]
    town = open_collective([QUAY_SIDE, MILL_LOFT], [*keys, (roles.COLLECTIVE, "steward"), (roles.COLLECTIVE, "admin")])
    app = create_app(town.config)
    client, counter = app.test_client(), town.headers("quay-side", "counter")

    def made(address: str, body: Any, role: str) -> Any:
        answer = client.post(address, json=body, headers=town.headers("quay-side", role))
        assert answer.status_code == 201, answer.text
        return answer.json

    described = client.get("/v1/openapi.json").json
    bodies = {
        (method.upper(), path): example["value"]
        for path, operations in described["paths"].items()
        for method, operation in operations.items()
        if isinstance(operation, dict) and "requestBody" in operation
        for content in [operation["requestBody"]["content"].get("application/json", {"examples": {}})]
        for example in [*content["examples"].values()][:1]
    }
    bodies["POST", "/v1/keys"] = {**bodies["POST", "/v1/keys"], "shop_id": "quay-side"}
    record = made("/v1/records", {**RECORDED_ORDER, "press": "bench-38", "quantity": 12}, "counter")["record_id"]
    readings = "/v1/shop/presses/{press_id}/readings"
    names = {
        "record_id": record,
        "outcome_id": made(f"/v1/records/{record}/outcomes", OUTCOME_ASKED, "counter")["outcome_id"],
        "proposal_id": made("/v1/proposals", bodies["POST", "/v1/proposals"], "operator")["proposal_id"],
        "key_id": client.get("/v1/shop/status", headers=counter).json["key_id"],
        "shop_id": "quay-side",
        "press_id": "bench-38",
        "rule_id": made("/v1/shop/house-rules/rules", bodies["POST", "/v1/shop/house-rules/rules"], "owner")["id"],
        "reading_id": made(readings.format(press_id="bench-38"), bodies["POST", readings], "operator")["reading_id"],
        "version": "1",
        "revision": "1",
    }
    yield client, town.headers, names, bodies
    app.extensions["accord"].close()


def test_of_every_route_that_takes_a_key_it_is_agreed_whose_things_it_is_about() -> None:
    assert set(WHOSE_OF) == {route for route, may in MAY.items() if not may["nobody"]}
    assert len(WHO) == 14


@pytest.mark.parametrize(("method", "path"), WHOSE_OF)
def test_every_route_against_every_role_and_shop(things: Any, book: Book, method: str, path: str) -> None:
    """With requests that would be done, and are only tried: what is refused is refused for who asks."""
    client, headers_of, names, bodies = things
    (endpoint,) = (e for e in ENDPOINTS if (e.method, e.path) == (method, path))
    address = path.format(**{**endpoint.examples[0].path(book), **names})
    address += "?validate_only=true" if endpoint.writes else ""
    more = {"If-Match": "*"} if endpoint.replaces else {}
    otherwise = {}
    for role, tenant in WHO:
        headers = dict(headers_of(ASKING[tenant], role)) | more
        answer = client.open(address, method=method, json=bodies.get((method, path)), headers=headers)
        refusal = told(answer) if told(answer)[1] in REFUSALS else ()
        if refusal != expected(method, path, role, tenant):
            otherwise[role, tenant] = (answer.status_code, answer.text)
    assert otherwise == {}


REFUSALS = {"role-not-allowed": 403, "no-shop": 403, "not-found": 404, "not-authenticated": 401}


def expected(method: str, path: str, role: str, tenant: str) -> tuple[Any, ...]:
    """The refusal that both agreements want; () for who may, and is refused for something else at most."""
    whose = WHOSE_OF[method, path]
    if not MAY[method, path][role]:
        return (403, "role-not-allowed")
    if whose == "none":
        return (404, "not-found")
    if tenant == "none" and whose in ("own", "thing"):
        return (403, "no-shop")
    is_hidden = whose == "thing" or (whose == "kept" and role in roles.SHOP_ROLES)
    return (404, "not-found") if tenant == "other" and is_hidden else ()


@pytest.mark.parametrize(("method", "path"), MAY)
def test_every_route_without_a_key(client: FlaskClient, method: str, path: str) -> None:
    status = ask(client, method, path, {}).status_code
    assert status in LACKING if MAY[method, path]["nobody"] else status == 401


def test_a_revoked_or_made_up_key_opens_nothing(client: FlaskClient) -> None:
    closed = [place for place, may in MAY.items() if not may["nobody"]]
    made_up = {"Authorization": f"Bearer accord_{'a' * 16}_{'b' * 49}"}
    assert {ask(client, *place, made_up).status_code for place in closed} == {401}


def test_another_shops_things_do_not_exist(changing: Any) -> None:
    """404 and the very words of what never was, not 403, which would say that it is there."""
    client, owner = changing.first, changing.headers("mill-loft", "owner")
    theirs = key_id_of(changing.collective.tokens["quay-side", "counter"])
    tries = [
        ("GET", "/v1/keys/{}", theirs, "aaaaaaaaaaaaaaaa", None),
        ("DELETE", "/v1/keys/{}", theirs, "aaaaaaaaaaaaaaaa", None),
        ("GET", "/v1/keys?shop_id={}", "quay-side", "no-such-shop", None),
        ("POST", "/v1/keys", "quay-side", "no-such-shop", "counter"),
    ]
    for method, path, real, made_up, role in tries:
        answers = [
            client.open(
                path.format(name),
                method=method,
                headers=owner,
                json=role and {"shop_id": name, "role": role, "holder": "Ada Reyes"},
            )
            for name in (real, made_up)
        ]
        assert [answer.status_code for answer in answers] == [404, 404]
        details = [
            answer.json["detail"].replace(name, "X") for answer, name in zip(answers, (real, made_up), strict=True)
        ]
        assert details[0] == details[1]
    assert client.get("/v1/shop", headers=changing.headers("quay-side", "counter")).status_code == 200


def test_an_owner_sees_and_makes_only_keys_of_the_own_shop(changing: Any) -> None:
    client, owner = changing.first, changing.headers("mill-loft", "owner")
    assert {key_["shop_id"] for key_ in client.get("/v1/keys", headers=owner).json["entries"]} == {"mill-loft"}
    statuses = {
        role: client.post(
            "/v1/keys",
            json={"shop_id": "mill-loft", "role": role, "holder": "Ada Reyes"}
            | ({"origins": [PAGE]} if role == roles.STOREFRONT else {}),
            headers=owner,
        ).status_code
        for role in roles.ROLES
    }
    assert statuses == {"storefront": 201, "counter": 201, "operator": 201, "owner": 201, "steward": 403, "admin": 403}


def test_a_shop_presses_on_its_own_presses_under_its_own_rules(changing: Any, order: dict[str, Any]) -> None:
    client = changing.first
    quay, mill = changing.headers("quay-side", "owner"), changing.headers("mill-loft", "owner")
    house = client.get("/v1/shop/house-rules", headers=quay)
    changed = client.put(
        "/v1/shop/house-rules",
        json={"limits": {"press.parts_most": 2}},
        headers=quay | {"If-Match": house.headers["ETag"]},
    )
    assert changed.status_code == 200, changed.text
    assert client.get("/v1/shop/house-rules", headers=mill).json["limits"] == {}
    assert client.get("/v1/shop/house-rules", headers=quay).json["limits"] == {"press.parts_most": 2}
    assert client.post("/v1/validate", json=order | {"press": "big-swing"}, headers=quay).status_code == 422
