"""The audit as stewards and admins read it, and as anybody with it can check it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient
from tests.service.effect_workers import work_out

from accord_service.cli.main import main
from accord_service.store import ChainHead, Event, SealedEntry, UnsealedEntry, broken_at
from accord_service.store.audit import seal
from accord_service.store.connection import connect

AUDIT = "{accord}:audit"
RFC_3339_UTC = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z"


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    first_client: FlaskClient = changing.first
    return first_client


@pytest.fixture
def admin(changing: Any) -> dict[str, str]:
    return dict(changing.headers("collective", "admin"))


@pytest.fixture
def raw(changing: Any) -> Iterator[Any]:
    opened = connect(changing.collective.server.url, timeout_s=5.0)
    yield opened
    opened.close()


def entries(client: FlaskClient, headers: dict[str, str], limit: int) -> list[dict[str, Any]]:
    collected, address = [], f"/v1/audit?limit={limit}"
    while address:
        page = client.get(address, headers=headers)
        assert page.status_code == 200, page.text
        collected += page.json["entries"]
        address = page.json["next"]
    return collected


def test_it_is_read_page_by_page_and_seals_hold(client: FlaskClient, admin: dict[str, str]) -> None:
    chain = entries(client, admin, 3)
    assert [entry["seq"] for entry in chain] == list(range(1, len(chain) + 1))
    assert chain == entries(client, admin, 200)
    assert {entry["event"] for entry in chain} >= {"revision.published", "shop.created", "key.issued"}
    assert all(re.fullmatch(RFC_3339_UTC, entry["written_at"]) for entry in chain)
    assert [entry["written_at"] for entry in chain] == sorted(entry["written_at"] for entry in chain)
    assert not any("{accord}" in name for entry in chain for name in entry["written"])
    assert broken_at(map(_sealed, chain)) is None


def _sealed(document: dict[str, Any]) -> SealedEntry:
    return SealedEntry(**document)


def test_who_made_a_proposal_stands_in_it(client: FlaskClient, changing: Any, admin: dict[str, str]) -> None:
    owner = changing.headers("quay-side", "owner")
    key = client.get("/v1/shop/status", headers=owner).json["key_id"]
    base = client.get("/v1/revisions/1", headers=owner).json
    source = {
        "title": "A new source",
        "kind": "from-memory",
        "text": "What the stewards remember.",
        "speaks_of": ["press"],
    }
    body = {
        "base": {"revision": 1, "digest": base["digest"]},
        "changes": [{"kind": "sources", "id": "remembered", "value": source}],
        "reason": "It was missing.",
        "evidence": "None needed.",
    }
    draft = client.post("/v1/proposals", json=body, headers=owner)
    assert draft.status_code == 201, draft.text
    last = entries(client, admin, 200)[-1]
    assert (last["actor_id"], last["event"], last["subject_id"]) == (key, "proposal.drafted", draft.json["proposal_id"])


def test_what_is_done_to_a_proposal_is_told_as_the_api_calls_it(client: FlaskClient, changing: Any) -> None:
    """Each step an event of its own, the second of two approvals and a mere edit included."""
    owner, steward = changing.headers("quay-side", "owner"), changing.headers("quay-side", "steward")
    base = client.get("/v1/revisions/1", headers=owner).json
    source = {
        "title": "A new source",
        "kind": "from-memory",
        "text": "What the stewards remember.",
        "speaks_of": ["press"],
    }
    body = {"changes": [{"kind": "sources", "id": "recalled", "value": source}], "reason": "Missing.", "evidence": "-"}
    draft = client.post("/v1/proposals", json=body | {"base": {"revision": 1, "digest": base["digest"]}}, headers=owner)
    own = f"/v1/proposals/{draft.json['proposal_id']}"
    read = client.get(own, headers=owner)
    body = read.json | {"reason": "Still missing."}
    edited = client.put(own, json=body, headers=owner | {"If-Match": read.headers["ETag"]})
    steps = [edited, *(client.post(f"{own}/{step}", headers=owner) for step in ("open", "effect/cancel", "open"))]
    work_out(changing.collective.server.url)
    steps.append(client.post(f"{own}/decline", json={"reason": "Not needed."}, headers=steward))
    assert [step.status_code for step in steps] == [200, 202, 200, 202, 200]
    chain = entries(client, steward, 200)
    events = [entry["event"] for entry in chain if entry["subject_id"] == draft.json["proposal_id"]]
    assert events == [
        "proposal.drafted",
        "proposal.edited",
        "proposal.effect-started",
        "proposal.effect-ended",
        "proposal.effect-started",
        "proposal.opened",
        "proposal.declined",
    ]
    assert {entry["event"] for entry in chain} <= set(Event)


def test_it_is_for_stewards_and_admins(client: FlaskClient, changing: Any) -> None:
    for role in ("counter", "operator", "owner"):
        assert client.get("/v1/audit", headers=changing.headers("quay-side", role)).status_code == 403
    for role in ("steward", "admin"):
        assert client.get("/v1/audit", headers=changing.headers("quay-side", role)).status_code == 200


# -- accord audit verify -----------------------------------------------------------------------------------------------


def verify(url: str) -> Any:
    return CliRunner().invoke(main, ["audit", "verify", "--store", url])


def test_the_command_finds_a_whole_chain_whole(changing: Any, client: FlaskClient, admin: dict[str, str]) -> None:
    result = verify(changing.collective.server.url)
    assert result.exit_code == 0, result.output
    assert f"{len(entries(client, admin, 200))} entries" in result.output


def test_the_command_names_the_first_entry_that_was_tampered_with(changing: Any, raw: Any) -> None:
    text = raw.lindex(AUDIT, 2)
    entry = json.loads(text)
    raw.lset(AUDIT, 2, json.dumps(entry | {"actor_id": "somebody else"}))
    try:
        result = verify(changing.collective.server.url)
        assert result.exit_code == 1
        assert "entry 3" in result.output
    finally:
        raw.lset(AUDIT, 2, text)


def test_the_command_names_a_document_that_was_changed_behind_the_audits_back(changing: Any, raw: Any) -> None:
    key = "{accord}:shop:quay-side"
    text = raw.hget(key, "d")
    raw.hset(key, "d", text.replace(b"Quay Side", b"Quay Hide"))
    try:
        result = verify(changing.collective.server.url)
        assert result.exit_code == 1
        assert key in result.output
    finally:
        raw.hset(key, "d", text)


@pytest.mark.parametrize("drop", [0, 4, -1])
def test_entries_read_from_a_service_are_checked_here(client: FlaskClient, admin: dict[str, str], drop: int) -> None:
    chain = [_sealed(entry) for entry in entries(client, admin, 200)]
    missing = chain.pop(drop)
    assert broken_at(chain, ChainHead(missing.seq, missing.hash) if drop == -1 else None) == missing.seq


def test_a_chain_that_was_forged_whole_does_not_end_as_its_head_says(
    client: FlaskClient, admin: dict[str, str]
) -> None:
    chain = [_sealed(entry) for entry in entries(client, admin, 200)]
    last, before = chain[-1], ChainHead(chain[-2].seq, chain[-2].hash)
    forged = seal(UnsealedEntry("somebody else", Event(last.event), last.subject_id), {}, before, 0.0)
    head = ChainHead(last.seq, last.hash)
    assert broken_at([*chain[:-1], forged]) is None
    assert broken_at([*chain[:-1], forged], head) == last.seq
    assert broken_at(chain, head) is None
    assert broken_at(chain, before) is None, "one was added since the head was read"


def test_no_store_is_said_so() -> None:
    result = CliRunner().invoke(main, ["audit", "verify", "--store", "unix:///nowhere/at/all"])
    assert result.exit_code == 2
    assert "does not answer" in result.output
