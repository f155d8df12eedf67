"""The audit as stewards and admins read it, and as anybody with it can check it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from accord_service.cli.main import main
from accord_service.store import ChainHead, Event, SealedEntry, UnsealedEntry, broken_at
from accord_service.store.audit import seal
from accord_service.store.connection import connect

AUDIT = "{accord}:audit"
RFC_3339_UTC = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z"


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    one: FlaskClient = changing.one
    return one


@pytest.fixture
def admin(changing: Any) -> dict[str, str]:
    return dict(changing.headers("collective", "admin"))


@pytest.fixture
def raw(changing: Any) -> Iterator[Any]:
    opened = connect(changing.collective.server.url, timeout_s=5.0)
    yield opened
    opened.close()


def entries(client: FlaskClient, headers: dict[str, str], limit: int) -> list[dict[str, Any]]:
    found, address = [], f"/v1/audit?limit={limit}"
    while address:
        page = client.get(address, headers=headers)
        assert page.status_code == 200, page.text
        found += page.json["entries"]
        address = page.json["next"]
    return found


def test_it_is_read_page_by_page_and_seals_hold(client: FlaskClient, admin: dict[str, str]) -> None:
    found = entries(client, admin, 3)
    assert [each["seq"] for each in found] == list(range(1, len(found) + 1))
    assert found == entries(client, admin, 200)
    assert {each["event"] for each in found} >= {"revision.published", "shop.created", "key.issued"}
    assert all(re.fullmatch(RFC_3339_UTC, each["written_at"]) for each in found)
    assert [each["written_at"] for each in found] == sorted(each["written_at"] for each in found)
    assert not any("{accord}" in name for each in found for name in each["written"])
    assert broken_at(map(_sealed, found)) is None


def _sealed(document: dict[str, Any]) -> SealedEntry:
    return SealedEntry(**document)


def test_who_made_a_proposal_stands_in_it(client: FlaskClient, changing: Any, admin: dict[str, str]) -> None:
    owner = changing.headers("quay-side", "owner")
    key = client.get("/v1/shop/status", headers=owner).json["key_id"]
    base = client.get("/v1/revisions/1", headers=owner).json
    source = {"title": "A new source", "kind": "from-memory", "text": "What the stewards remember."}
    body = {
        "base": {"revision": 1, "digest": base["digest"]},
        "changes": [{"kind": "sources", "id": "remembered", "value": source}],
        "reason": "It was missing.",
        "evidence": "None needed.",
    }
    made = client.post("/v1/proposals", json=body, headers=owner)
    assert made.status_code == 201, made.text
    last = entries(client, admin, 200)[-1]
    assert (last["actor_id"], last["event"], last["subject_id"]) == (key, "proposal.drafted", made.json["proposal_id"])


def test_what_is_done_to_a_proposal_is_told_as_the_api_calls_it(client: FlaskClient, changing: Any) -> None:
    """Each step an event of its own, the second of two approvals and a mere edit included."""
    owner, steward = changing.headers("quay-side", "owner"), changing.headers("quay-side", "steward")
    base = client.get("/v1/revisions/1", headers=owner).json
    source = {"title": "A new source", "kind": "from-memory", "text": "What the stewards remember."}
    body = {"changes": [{"kind": "sources", "id": "recalled", "value": source}], "reason": "Missing.", "evidence": "-"}
    made = client.post("/v1/proposals", json=body | {"base": {"revision": 1, "digest": base["digest"]}}, headers=owner)
    own = f"/v1/proposals/{made.json['proposal_id']}"
    read = client.get(own, headers=owner)
    body = read.json | {"reason": "Still missing."}
    edited = client.put(own, json=body, headers=owner | {"If-Match": read.headers["ETag"]})
    steps = [edited, client.post(f"{own}/open", headers=owner)]
    steps.append(client.post(f"{own}/decline", json={"reason": "Not needed."}, headers=steward))
    assert [step.status_code for step in steps] == [200, 200, 200]
    told = entries(client, steward, 200)
    events = [each["event"] for each in told if each["subject_id"] == made.json["proposal_id"]]
    assert events == ["proposal.drafted", "proposal.edited", "proposal.opened", "proposal.declined"]
    assert {each["event"] for each in told} <= set(Event)


def test_it_is_for_stewards_and_admins(client: FlaskClient, changing: Any) -> None:
    for role in ("counter", "operator", "owner"):
        assert client.get("/v1/audit", headers=changing.headers("quay-side", role)).status_code == 403
    for role in ("steward", "admin"):
        assert client.get("/v1/audit", headers=changing.headers("quay-side", role)).status_code == 200


# -- accord audit verify -----------------------------------------------------------------------------------------------


def verify(url: str) -> Any:
    return CliRunner().invoke(main, ["audit", "verify", "--store", url])


def test_the_command_finds_a_whole_chain_whole(changing: Any, client: FlaskClient, admin: dict[str, str]) -> None:
    told = verify(changing.collective.server.url)
    assert told.exit_code == 0, told.output
    assert f"{len(entries(client, admin, 200))} entries" in told.output


def test_the_command_names_the_first_entry_that_was_tampered_with(changing: Any, raw: Any) -> None:
    text = raw.lindex(AUDIT, 2)
    entry = json.loads(text)
    raw.lset(AUDIT, 2, json.dumps(entry | {"actor_id": "somebody else"}))
    try:
        told = verify(changing.collective.server.url)
        assert told.exit_code == 1
        assert "entry 3" in told.output
    finally:
        raw.lset(AUDIT, 2, text)


def test_the_command_names_a_document_that_was_changed_behind_the_audits_back(changing: Any, raw: Any) -> None:
    key = "{accord}:shop:quay-side"
    text = raw.hget(key, "d")
    raw.hset(key, "d", text.replace(b"Quay Side", b"Quay Hide"))
    try:
        told = verify(changing.collective.server.url)
        assert told.exit_code == 1
        assert key in told.output
    finally:
        raw.hset(key, "d", text)


@pytest.mark.parametrize("drop", [0, 4, -1])
def test_entries_read_from_a_service_are_checked_here(client: FlaskClient, admin: dict[str, str], drop: int) -> None:
    found = [_sealed(each) for each in entries(client, admin, 200)]
    missing = found.pop(drop)
    assert broken_at(found, ChainHead(missing.seq, missing.hash) if drop == -1 else None) == missing.seq


def test_a_chain_that_was_forged_whole_does_not_end_as_its_head_says(
    client: FlaskClient, admin: dict[str, str]
) -> None:
    told = [_sealed(each) for each in entries(client, admin, 200)]
    last, before = told[-1], ChainHead(told[-2].seq, told[-2].hash)
    forged = seal(UnsealedEntry("somebody else", Event(last.event), last.subject_id), {}, before, 0.0)
    head = ChainHead(last.seq, last.hash)
    assert broken_at([*told[:-1], forged]) is None
    assert broken_at([*told[:-1], forged], head) == last.seq
    assert broken_at(told, head) is None
    assert broken_at(told, before) is None, "one was added since the head was read"


def test_no_store_is_said_so() -> None:
    told = CliRunner().invoke(main, ["audit", "verify", "--store", "unix:///nowhere/at/all"])
    assert told.exit_code == 2
    assert "does not answer" in told.output
