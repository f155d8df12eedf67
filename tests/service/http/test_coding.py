"""Packed answers and what caches may keep of them: RFC 9110 (content coding, entity tags), RFC 9111, RFC 8246."""

from __future__ import annotations

import gzip
import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_service.api.endpoint import endpoint
from accord_service.api.v1 import ENDPOINTS
from accord_service.http.problems import ProblemDetails

LARGE, SMALL = "/v1/catalogue/fibres", "/v1/revisions/1"
GZIP = {"Accept-Encoding": "gzip"}


@pytest.mark.parametrize(
    "accepted",
    ["gzip", "deflate, gzip;q=0.1", "*", "gzip, identity", "br;q=1.0, gzip;q=0.8, *;q=0.1", "GZIP"],
)
def test_a_large_answer_is_packed_for_whoever_takes_that(
    client: FlaskClient, key: dict[str, str], accepted: str
) -> None:
    plain = client.get(LARGE, headers=key)
    packed = client.get(LARGE, headers=key | {"Accept-Encoding": accepted})
    assert len(plain.data) > 1024
    assert (packed.status_code, packed.headers["Content-Encoding"]) == (200, "gzip")
    assert gzip.decompress(packed.data) == plain.data
    assert len(packed.data) == int(packed.headers["Content-Length"]) < len(plain.data) / 2
    assert packed.data == client.get(LARGE, headers=key | GZIP).data, "the same answer has the same bytes"


@pytest.mark.parametrize(
    "accepted", [None, "", "identity", "br", "gzip;q=0", "gzip;q=0, *", "gzip;q=0.5, identity;q=1"]
)
def test_it_comes_as_it_is_for_whoever_does_not(client: FlaskClient, key: dict[str, str], accepted: str | None) -> None:
    """RFC 9110 section 12.5.3: q=0 is a no, and what is wanted more goes first."""
    headers = key if accepted is None else key | {"Accept-Encoding": accepted}
    answer = client.get(LARGE, headers=headers)
    assert "Content-Encoding" not in answer.headers
    assert answer.json["kind"] == "fibres"
    assert {"Accept-Encoding", "Authorization"} <= set(answer.vary), "a cache must ask for each coding apart"


def test_a_small_answer_is_never_packed(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.get(SMALL, headers=key | GZIP)
    assert 0 < len(answer.data) < 1024
    assert "Content-Encoding" not in answer.headers


def test_verdicts_and_problems_are_packed_too(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    for body, status in ((order, 200), (order | {f"x{n}": 1 for n in range(20)}, 422)):
        packed = client.post("/v1/validate", json=body, headers=key | GZIP)
        plain = client.post("/v1/validate", json=body, headers=key)
        assert (packed.status_code, packed.headers["Content-Encoding"]) == (status, "gzip")
        unpacked = json.loads(gzip.decompress(packed.data))
        assert {**unpacked, "request_id": 0} == {**plain.json, "request_id": 0}


def test_each_coding_has_a_strong_tag_of_its_own(client: FlaskClient, key: dict[str, str]) -> None:
    """RFC 9110 section 8.8.3.3, whose example is this: two codings of one answer, and a cache that holds either."""
    plain, packed = (client.get(LARGE, headers=key | more).headers["ETag"] for more in ({}, GZIP))
    assert plain != packed
    assert not any(tag.startswith("W/") for tag in (plain, packed))
    for coding, tag, status in (({}, plain, 304), (GZIP, packed, 304), ({}, packed, 200), (GZIP, plain, 200)):
        answer = client.get(LARGE, headers=key | coding | {"If-None-Match": tag})
        assert (answer.status_code, bool(answer.data)) == (status, status == 200), (coding, tag)
        assert answer.headers["ETag"] == (packed if coding else plain)
    several = client.get(LARGE, headers=key | GZIP | {"If-None-Match": f'"other", {packed}'})
    assert (several.status_code, several.headers["ETag"]) == (304, packed)
    assert {"Accept-Encoding", "Authorization"} <= set(several.vary)


def test_head_tells_what_get_would(client: FlaskClient, key: dict[str, str]) -> None:
    for more in ({}, GZIP):
        head, get = client.head(LARGE, headers=key | more), client.get(LARGE, headers=key | more)
        assert head.data == b""
        for name in ("Content-Length", "ETag", "Vary", "Cache-Control"):
            assert head.headers[name] == get.headers[name], name


def test_a_write_takes_the_tag_of_either_coding_as_one_version(changing: Any) -> None:
    """What was read packed can be replaced; a repetition under the same Idempotency-Key is the same request."""
    client, owner = changing.first, changing.headers("mill-loft", "owner")
    shop = client.get("/v1/shop", headers=owner).json | {"standing": [], "name": "The Mill Loft " + "x" * 60}
    shop["presses"] = [{"id": f"press-{n}", "type": "swing-away"} for n in range(30)]
    tag = client.get("/v1/shop", headers=owner).headers["ETag"]
    assert client.put("/v1/shop", json=shop, headers=owner | {"If-Match": tag}).status_code == 200
    read = client.get("/v1/shop", headers=owner | GZIP)
    assert (read.headers["Content-Encoding"], read.headers["ETag"][-6:]) == ("gzip", '-gzip"')
    once = owner | {"Idempotency-Key": "packed-1"}
    shop["name"] = "The Mill Loft"
    first = client.put("/v1/shop", json=shop, headers=once | {"If-Match": read.headers["ETag"]})
    assert first.status_code == 200, first.text
    plain = read.headers["ETag"].replace("-gzip", "")
    again = client.put("/v1/shop", json=shop, headers=once | {"If-Match": plain})
    assert (again.data, again.headers["Idempotency-Replayed"]) == (first.data, "true")
    stale = client.put("/v1/shop", json=shop, headers=owner | {"If-Match": read.headers["ETag"]})
    assert stale.status_code == 412


# -- what caches may keep ---------------------------------------------------------------------------------------------

PINNED = "private, max-age=31536000, immutable"
BOOK = ["/v1/catalogue", "/v1/catalogue/fibres", "/v1/catalogue/fibres/CO", "/v1/limits", "/v1/sources", "/v1/rules"]


@pytest.mark.parametrize("address", BOOK)
def test_a_read_of_one_revision_is_for_good(client: FlaskClient, key: dict[str, str], address: str) -> None:
    """Private, since the book is for whoever has a key: a shared cache would tell it to others as well."""
    pinned = client.get(f"{address}?revision=1", headers=key)
    assert (pinned.status_code, pinned.headers["Cache-Control"]) == (200, PINNED)
    newest = client.get(address, headers=key)
    assert newest.headers["Cache-Control"] == "private, no-cache"
    assert {**newest.json, "next": None} == {**pinned.json, "next": None}
    assert client.get(f"{address}?revision=99", headers=key).headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("kind", ["transfers", "products"])
def test_an_entry_with_reports_is_not(client: FlaskClient, key: dict[str, str], kind: str) -> None:
    name = client.get(f"/v1/catalogue/{kind}?limit=1", headers=key).json["entries"][0]["id"]
    answer = client.get(f"/v1/catalogue/{kind}/{name}?revision=1", headers=key)
    assert "outcomes" in answer.json
    assert answer.headers["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize("address", ["/v1/validate", "/v1/recommend", "/v1/envelope", "/v1/validate?revision=1"])
def test_no_cache_keeps_what_is_said_of_an_order(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], address: str
) -> None:
    answer = client.post(address, json=order, headers=key)
    assert (answer.status_code, answer.headers["Cache-Control"]) == (200, "no-store")


def test_nor_a_record_of_one(changing: Any, order: dict[str, Any]) -> None:
    """No read that is declared to speak of orders is kept, whichever there are."""
    client, key = changing.first, changing.headers("quay-side", "counter")
    record = client.post("/v1/records", json=order, headers=key)
    assert (record.status_code, record.headers["Cache-Control"]) == (201, "no-store")
    names = {"record_id": record.json["record_id"]}
    outcome = client.post(f"/v1/records/{names['record_id']}/outcomes", json={"result": "good"}, headers=key)
    assert (outcome.status_code, outcome.headers["Cache-Control"]) == (201, "no-store")
    names["outcome_id"] = outcome.json["outcome_id"]
    reads = [declared for declared in ENDPOINTS if declared.tag in ("Orders", "Records") and declared.method == "GET"]
    assert "get_record" in {declared.name for declared in reads}
    for declared in reads:
        revision = "?revision=1" if "revision" in declared.query.__dataclass_fields__ else ""
        answer = client.get(declared.path.format_map(names) + revision, headers=key)
        assert (answer.status_code, answer.headers["Cache-Control"]) == (200, "no-store"), declared.path


def test_what_lies_under_records_and_judges_orders_is_declared_so() -> None:
    """Only declared endpoints are held to that above; a tag of another chapter would let caches keep these."""
    of_orders = {
        declared.name for declared in ENDPOINTS if declared.path.startswith("/v1/records") or declared.tag == "Orders"
    }
    assert {"get_records", "post_validate"} <= of_orders
    assert of_orders == {endpoint.name for endpoint in ENDPOINTS if endpoint.tag in ("Orders", "Records")}


def test_a_tag_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match=r"no tag 'Record' \(did you mean Records.*: api/tags\.py has Service"):
        endpoint("GET", "/v1/readings", operation_id="listReadings", tag="Record", answers=ProblemDetails)


def test_other_reads_are_asked_for_again(client: FlaskClient, key: dict[str, str]) -> None:
    for address in ("/v1/shop", "/v1/revisions", "/v1/proposals"):
        assert client.get(address, headers=key).headers["Cache-Control"] == "private, no-cache"
