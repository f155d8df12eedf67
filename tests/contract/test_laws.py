"""What holds of every endpoint, found from what is declared: a new one is held to it without being named here.

That lists page whole is in ``tests/service/http/test_paging.py``, that no change is lost in
``tests/service/api/test_replacing.py``; both find their endpoints in the same way.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pytest
from flask.testing import FlaskClient
from tests.contract.conftest import SHOP
from tests.contract.test_openapi import faults
from tests.service.effect_workers import work_out

from accord_rules.revision.book import Book
from accord_service.api import examples
from accord_service.api.endpoint import Endpoint
from accord_service.api.governance_examples import OUTCOME_ASKED, RECORDED_ORDER
from accord_service.api.v1 import ENDPOINTS
from accord_service.app import create_app
from accord_service.http.roles import ROLES

READS = tuple(endpoint for endpoint in ENDPOINTS if endpoint.method == "GET")
REPLACING = tuple(endpoint for endpoint in ENDPOINTS if endpoint.replaces is not None)
MAKING = tuple(endpoint for endpoint in ENDPOINTS if endpoint.success == 201)
# What is wrong with one of many lines is told in its place: tests/service/api/test_lines.py.
WITH_BODY = tuple(endpoint for endpoint in ENDPOINTS if endpoint.takes is not None and not endpoint.lines)
PATHS = tuple(dict.fromkeys(endpoint.path for endpoint in ENDPOINTS))
SHOP_ID: str = examples.SHOP["id"]
PATIENCE_S = 60.0
KeyFor = Callable[[Endpoint], dict[str, str]]


def called(endpoint: Endpoint) -> str:
    return endpoint.operation_id


def test_the_laws_are_about_something() -> None:
    for endpoints, least in ((READS, 25), (REPLACING, 5), (MAKING, 6), (WITH_BODY, 15), (PATHS, 40)):
        assert len(endpoints) >= least


@pytest.fixture(scope="module")
def shops(open_collective: Any) -> Any:
    """The shop of the description's examples, whose writes are done here as they stand, and a steward of the others."""
    keys = [(SHOP_ID, role) for role in ROLES]
    return open_collective([SHOP.replace("ferry-yard", SHOP_ID)], [*keys, ("collective", "steward")])


@pytest.fixture(scope="module")
def client(shops: Any) -> Iterator[FlaskClient]:
    app = create_app(shops.config)
    yield app.test_client()
    app.extensions["accord"].close()


@pytest.fixture(scope="module")
def key_for(shops: Any) -> KeyFor:
    """The headers of somebody who may ask an endpoint; the same for all that such a key may."""
    return lambda endpoint: dict(shops.headers(SHOP_ID, endpoint.roles[-1]))


@pytest.fixture(scope="module")
def names(client: FlaskClient, shops: Any) -> Mapping[str, str]:
    """What stands in addresses: things of the one shop, an opened proposal, a record and a report on it among them.

    The first proposal is published, so that there is a revision to go back from.
    """
    admin, steward = shops.headers(SHOP_ID, "admin"), shops.headers("collective", "steward")

    def done(address: str, headers: Any, body: Any = None) -> Any:
        answer = client.post(address, json=body, headers=headers)
        assert answer.status_code in (200, 201, 202), answer.text
        return answer.json

    def proposed(id_: str) -> Any:
        head = client.get("/v1/revisions", headers=admin).json["entries"][0]
        source = {
            "title": "A new source",
            "kind": "from-memory",
            "text": "What the stewards remember.",
            "speaks_of": ["press"],
        }
        proposal = {
            "base": {"revision": head["revision"], "digest": head["digest"]},
            "changes": [{"kind": "sources", "id": id_, "value": source}],
            "reason": "It is missing.",
            "evidence": "None.",
        }
        drafted = done("/v1/proposals", admin, proposal)
        done(f"/v1/proposals/{drafted['proposal_id']}/open", admin)
        work_out(shops.server.url)
        return client.get(f"/v1/proposals/{drafted['proposal_id']}/status", headers=admin).json

    first = proposed("remembered")
    done(f"/v1/proposals/{first['proposal_id']}/approve", steward, first["digests"])
    published = done(f"/v1/proposals/{first['proposal_id']}/publish", steward)
    until = time.monotonic() + PATIENCE_S
    while client.get("/v1/catalogue", headers=admin).json["revision"] != published["revision"]:
        assert time.monotonic() < until, "the worker does not move on to the new head"
        time.sleep(0.02)
    record = done("/v1/records", admin, {**RECORDED_ORDER, "quantity": 12})
    outcome = done(f"/v1/records/{record['record_id']}/outcomes", admin, OUTCOME_ASKED)
    owner = shops.headers(SHOP_ID, "owner")
    done("/v1/shop/house-rules/rules", owner, examples.HOUSE_RULE)
    operator = shops.headers(SHOP_ID, "operator")
    taken = {**examples.READING_TAKEN, "display": "150 °C", "surface": ["147 °C"]}
    reading = done("/v1/shop/presses/bench/readings", operator, taken)
    return {
        "reading_id": reading["reading_id"],
        "rule_id": examples.HOUSE_RULE["id"],
        "version": "1",
        "proposal_id": proposed("remembered-too")["proposal_id"],
        "record_id": record["record_id"],
        "outcome_id": outcome["outcome_id"],
        "revision": "1",
        "shop_id": SHOP_ID,
        "press_id": "bench",
        "key_id": client.get("/v1/shop/status", headers=admin).json["key_id"],
    }


@pytest.fixture(scope="module")
def address_of(names: Mapping[str, str], book: Book) -> Callable[[Endpoint], str]:
    """Where something is that an endpoint is about; names of the book's own are those of the endpoint's example."""
    return lambda endpoint: endpoint.path.format(**{**endpoint.examples[0].path(book), **names})


def problem(answer: Any, description: Any, status: int, slug: str) -> Any:
    """The problem that was answered, which has to be of this type and of the one shape."""
    assert (answer.status_code, answer.mimetype) == (status, "application/problem+json"), answer.text
    assert (answer.json["type"], answer.json["status"]) == (f"/problems/{slug}", status)
    assert faults(description, {"$ref": "#/components/schemas/ProblemDetails"}, answer.json) == []
    for error in answer.json["errors"]:
        nowhere = "name" if error["in"] == "body" else "pointer"
        assert [part for part in ("name", "pointer") if error[part] is None] == [nowhere]
    return answer.json


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=called)
def test_without_a_key_nothing_is_said(
    client: FlaskClient, description: Any, address_of: Any, endpoint: Endpoint
) -> None:
    answer = client.open(address_of(endpoint), method=endpoint.method)
    problem(answer, description, 401, "not-authenticated")
    assert answer.headers["WWW-Authenticate"].startswith("Bearer ")


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=called)
def test_a_query_parameter_that_is_not_known_is_refused_by_name(
    client: FlaskClient, description: Any, key_for: KeyFor, address_of: Any, endpoint: Endpoint
) -> None:
    answer = client.open(f"{address_of(endpoint)}?surprise=1", method=endpoint.method, headers=key_for(endpoint))
    (error,) = problem(answer, description, 400, "bad-query")["errors"]
    assert (error["in"], error["name"], error["code"]) == ("query", "surprise", "unknown-field")


@pytest.mark.parametrize("endpoint", WITH_BODY, ids=called)
@pytest.mark.parametrize(
    ("body", "media", "status", "slug"),
    [
        (b"{}", "text/plain", 415, "wrong-media-type"),
        (b"{", "application/json", 400, "malformed-json"),
        (b'{"surprise": 1, "surprise": 2}', "application/json", 400, "malformed-json"),
        (b'{"surprise": 1}', "application/json", 422, "faulty-document"),
    ],
)
def test_a_body_that_is_none_is_told_why(
    client: FlaskClient,
    description: Any,
    key_for: KeyFor,
    address_of: Any,
    endpoint: Endpoint,
    body: bytes,
    media: str,
    status: int,
    slug: str,
) -> None:
    headers = key_for(endpoint) | ({"If-Match": "*"} if endpoint.replaces else {})
    answer = client.open(address_of(endpoint), method=endpoint.method, data=body, content_type=media, headers=headers)
    details = problem(answer, description, status, slug)
    if status == 422:
        assert "/surprise" in [error["pointer"] for error in details["errors"]]


@pytest.mark.parametrize("endpoint", READS, ids=called)
@pytest.mark.parametrize("coding", ["identity", "gzip"])
def test_a_read_says_when_the_caller_has_it_already(
    client: FlaskClient, key_for: KeyFor, address_of: Any, endpoint: Endpoint, coding: str
) -> None:
    """RFC 9110 sections 13.1.2 and 15.4.5: 304 for the ETag of this coding, with the headers that a cache needs."""
    headers = key_for(endpoint) | {"Accept-Encoding": coding}
    answer = client.get(address_of(endpoint), headers=headers)
    assert answer.status_code == 200, answer.text
    tag = answer.headers["ETag"]
    assert tag.endswith('-gzip"') == ("Content-Encoding" in answer.headers)
    again = client.get(address_of(endpoint), headers=headers | {"If-None-Match": tag})
    assert (again.status_code, again.data, again.headers["ETag"]) == (304, b"", tag)
    for name in ("Cache-Control", "Vary"):
        assert again.headers[name] == answer.headers[name]
    assert client.get(address_of(endpoint), headers=headers | {"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize("endpoint", READS, ids=called)
def test_a_read_of_another_version_is_no_read(
    client: FlaskClient, description: Any, key_for: KeyFor, address_of: Any, endpoint: Endpoint
) -> None:
    """RFC 9110 section 13.1.1: 412 where If-Match does not match, as * always does; and never with the answer."""
    headers, address = key_for(endpoint), address_of(endpoint)
    tag = client.get(address, headers=headers).headers["ETag"]
    for wanted in (tag, "*", f'"other", {tag}'):
        assert client.get(address, headers=headers | {"If-Match": wanted}).status_code == 200
    for wanted in ('"other"', f"W/{tag}", "no tag"):
        answer = client.get(address, headers=headers | {"If-Match": wanted})
        problem(answer, description, 412, "changed-meanwhile")


@pytest.mark.parametrize("path", PATHS)
def test_another_method_is_told_which_there_are(
    client: FlaskClient, description: Any, key_for: KeyFor, address_of: Any, path: str
) -> None:
    endpoints = [endpoint for endpoint in ENDPOINTS if endpoint.path == path]
    there = {endpoint.method for endpoint in endpoints}
    others = {"GET", "POST", "PUT", "PATCH", "DELETE"} - there
    assert others
    for method in others:
        answer = client.open(address_of(endpoints[0]), method=method, headers=key_for(endpoints[0]))
        problem(answer, description, 405, "wrong-method")
        assert there <= set(answer.headers["Allow"].split(", ")) <= there | {"HEAD", "OPTIONS"}


@pytest.mark.parametrize("endpoint", MAKING, ids=called)
def test_what_was_made_is_where_it_says(
    client: FlaskClient, key_for: KeyFor, address_of: Any, endpoint: Endpoint
) -> None:
    """RFC 9110 section 15.3.2. Tried first (validate_only), nothing is made, so there is no place."""
    address = address_of(endpoint)
    described = client.get("/v1/openapi.json").json["paths"][endpoint.path]["post"]
    example, *_ = described["requestBody"]["content"]["application/json"]["examples"].values()
    sent = {"json": example["value"], "headers": key_for(endpoint)}
    trial = client.post(f"{address}?validate_only=true", **sent)
    assert (trial.status_code, trial.headers.get("Location")) == (200, None), trial.text
    created = client.post(address, **sent)
    assert created.status_code == 201, created.text
    read = client.get(created.headers["Location"], headers=key_for(endpoint))
    assert read.status_code == 200, read.text
    assert read.json
    assert {name: created.json[name] for name in read.json} == read.json


@pytest.mark.parametrize("endpoint", REPLACING, ids=called)
def test_what_is_read_can_be_sent_back(
    client: FlaskClient, description: Any, key_for: KeyFor, address_of: Any, endpoint: Endpoint
) -> None:
    address, headers = address_of(endpoint), key_for(endpoint)
    read = client.get(address, headers=headers)
    tag = read.headers["ETag"]
    back = client.put(address, json=read.json, headers=headers | {"If-Match": tag})
    assert (back.status_code, back.data, back.headers["ETag"]) == (200, read.data, tag)
    trial = client.put(f"{address}?validate_only=true", json=read.json, headers=headers | {"If-Match": tag})
    assert (trial.status_code, trial.json, trial.headers.get("ETag")) == (200, read.json, None)
    problem(client.put(address, json=read.json, headers=headers), description, 428, "if-match-needed")
    stale = client.put(address, json=read.json, headers=headers | {"If-Match": '"9-of-somebody-else"'})
    problem(stale, description, 412, "changed-meanwhile")
