"""Every list speaks one language: limit and cursor are asked, entries and the address of the next page answered."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient
from tests.service.conftest import ORDER

from accord_service.api import examples
from accord_service.api.endpoint import Endpoint
from accord_service.api.v1 import ENDPOINTS
from accord_service.http.paging import PageQuery

LISTS = tuple(endpoint for endpoint in ENDPOINTS if issubclass(endpoint.query, PageQuery))


@pytest.fixture(scope="module")
def steward(changing: Any) -> dict[str, str]:
    """Whoever may read all lists but those of shops and keys."""
    return dict(changing.headers("quay-side", "steward"))


@pytest.fixture(scope="module")
def filled(changing: Any, names: dict[str, str]) -> FlaskClient:
    """A service in which each list has more than one entry; revisions have the one that there is from the start."""
    client: FlaskClient = changing.first
    owner = changing.headers("quay-side", "owner")
    head = client.get("/v1/revisions", headers=owner).json["entries"][0]
    source = {
        "title": "A new source",
        "kind": "from-memory",
        "text": "What the stewards remember.",
        "speaks_of": ["press"],
    }
    for number in (2, 3):
        limits = {"press.parts_most": number}
        for place, changed in (("/v1/shop", {"name": f"No. {number}"}), ("/v1/shop/house-rules", {"limits": limits})):
            seen = client.get(place, headers=owner)
            written = client.put(place, json=seen.json | changed, headers=owner | {"If-Match": seen.headers["ETag"]})
            assert written.status_code == 200, written.text
    for display, surface in (("150 °C", "147 °C"), ("180 °C", "176 °C")):
        place = f"/v1/shop/presses/{names['press_id']}/readings"
        reading = {**examples.READING_TAKEN, "display": display, "surface": [surface]}
        assert client.post(place, json=reading, headers=owner).status_code == 201
    for name in ("first", "second", "third"):
        proposal = {
            "base": {"revision": head["revision"], "digest": head["digest"]},
            "changes": [{"kind": "sources", "id": name, "value": source}],
            "reason": "It is missing.",
            "evidence": "None.",
        }
        assert client.post("/v1/proposals", json=proposal, headers=owner).status_code == 201
    # Records are seen by their own shop alone, of which the steward and the admin are here.
    recorded = [client.post("/v1/records", json=ORDER, headers=owner) for _ in range(3)]
    assert [answer.status_code for answer in recorded] == [201, 201, 201], recorded[0].text
    names["record_id"] = recorded[0].json["record_id"]
    reports = [
        client.post(f"{recorded[0].headers['Location']}/outcomes", json={"result": "good"}, headers=owner)
        for _ in range(3)
    ]
    assert [answer.status_code for answer in reports] == [201, 201, 201], reports[0].text
    return client


@pytest.fixture(scope="module")
def names() -> dict[str, str]:
    """What stands in the addresses of lists."""
    return {"kind": "blanks", "name": "tee-heavy-white", "press_id": "bench-38"}


def headers(changing: Any, endpoint: Endpoint) -> dict[str, str]:
    role = next(role for role in ("steward", "admin", "owner") if role in endpoint.roles)
    return dict(changing.headers("quay-side", role))


def pages(client: FlaskClient, address: str | None, headers: dict[str, str]) -> Iterator[Any]:
    while address is not None:
        answer = client.get(address, headers=headers)
        assert answer.status_code == 200, answer.text
        yield answer.json
        address = answer.json["next"]
        assert address is None or address.startswith("/v1/"), "relative to the service"


def test_what_answers_entries_is_a_list_and_every_list_is_one(filled: FlaskClient) -> None:
    described = filled.get("/v1/openapi.json").json
    lists = set()
    for path, operations in described["paths"].items():
        content = operations.get("get", {}).get("responses", {}).get("200", {}).get("content", {})
        reference = content.get("application/json", {}).get("schema", {}).get("$ref", "")
        fields = described["components"]["schemas"].get(reference.rpartition("/")[2], {}).get("properties", {})
        # What a search finds is ranked and cut, and has no next page.
        if "entries" in fields and path != "/v1/search":
            assert fields["next"]["type"] == ["string", "null"], path
            lists.add(path)
    assert lists == {endpoint.path for endpoint in LISTS}
    assert len(lists) >= 12


@pytest.mark.parametrize("endpoint", LISTS, ids=lambda endpoint: endpoint.name)
def test_small_pages_give_what_large_ones_give(
    changing: Any, filled: FlaskClient, names: dict[str, str], endpoint: Endpoint
) -> None:
    address, who = endpoint.path.format(**names), headers(changing, endpoint)
    few, many = (
        [entry for page in pages(filled, f"{address}?limit={limit}", who) for entry in page["entries"]]
        for limit in (7, 200)
    )
    assert few == many
    entries = filled.get(f"{address}?limit=1", headers=who).json["entries"]
    assert entries == many[:1]
    # One revision there is, which changed no entry; and reports of one cell of outcomes.
    assert len(many) > 1 or endpoint.name in ("get_revisions", "get_entry_history", "get_outcomes")


@pytest.mark.parametrize("endpoint", LISTS, ids=lambda endpoint: endpoint.name)
@pytest.mark.parametrize(
    ("query", "name", "code"),
    [
        ("limit=0", "limit", "out-of-range"),
        ("limit=201", "limit", "out-of-range"),
        ("limit=some", "limit", "wrong-type"),
        ("cursor=", "cursor", "out-of-range"),
        ("cursor=%20nonsense", "cursor", "bad-format"),
        ("cursor=zzzz", "cursor", "bad-format"),
        ("cursor=item", "cursor", "bad-format"),
        ("cursor=item~00000000", "cursor", "bad-format"),
        ("after=x", "after", "unknown-field"),
        ("limit=1&limit=2", "limit", "given-twice"),
    ],
)
def test_faults_of_the_query_are_told_by_name(
    changing: Any, filled: FlaskClient, names: dict[str, str], endpoint: Endpoint, query: str, name: str, code: str
) -> None:
    answer = filled.get(f"{endpoint.path.format(**names)}?{query}", headers=headers(changing, endpoint))
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-query")
    (error,) = answer.json["errors"]
    assert (error["in"], error["name"], error["pointer"], error["code"]) == ("query", name, None, code)


def test_the_cursor_of_another_list_is_refused(filled: FlaskClient, steward: dict[str, str]) -> None:
    following = filled.get("/v1/catalogue/substrates?limit=1", headers=steward).json["next"]
    taken = filled.get(following, headers=steward)
    refused = filled.get(following.replace("substrates", "transfers"), headers=steward)
    assert (taken.status_code, refused.status_code) == (200, 400)
    assert refused.json["errors"][0]["name"] == "cursor"


def test_unsaid_a_page_has_fifty(filled: FlaskClient, steward: dict[str, str]) -> None:
    page = filled.get("/v1/catalogue/blanks", headers=steward).json
    assert len(page["entries"]) == 50
    assert page["next"].endswith("&limit=50")


@pytest.mark.parametrize(
    ("address", "name", "nearest"),
    [
        ("/v1/catalogue/blank", "kind", "blanks"),
        ("/v1/catalogue/blanks/cushion-polyester-whit", "entry", "cushion-polyester-white"),
        ("/v1/rules/dye-on-nylom", "rule", "dye-on-nylon"),
        ("/v1/limits/press.parts_mots", "limit", "press.parts_most"),
        ("/v1/sources/common-practise", "source", "common-practice"),
    ],
)
def test_a_name_in_the_address_is_told_with_the_nearest_there_is(
    filled: FlaskClient, steward: dict[str, str], address: str, name: str, nearest: str
) -> None:
    answer = filled.get(address, headers=steward)
    assert answer.status_code == 404
    (error,) = answer.json["errors"]
    assert (error["in"], error["name"], error["code"]) == ("path", name, "not-in-book")
    assert error["allowed"][0] == nearest
