"""The audit as stewards and admins read it, and as anybody with it can check it."""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from flask.testing import FlaskClient
from tests.service.conftest import ok
from tests.service.effect_workers import work_out
from werkzeug.serving import make_server

from accord_service.cli.auditing import _read_here
from accord_service.cli.main import main
from accord_service.store import ChainHead, EmbeddedServer, Event, SealedEntry, Seals, Store, UnsealedEntry, broken_at
from accord_service.store.audit import seal
from accord_service.store.connection import connect
from accord_service.store.seals import new_key

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


def test_it_is_read_from_its_end_and_by_kind_and_id(client: FlaskClient, admin: dict[str, str]) -> None:
    """Some are chosen from those looked through, so that a page may be short; none is left out or told twice."""
    chain = entries(client, admin, 200)

    def chosen(limit: int, query: str) -> list[int]:
        told, address = [], f"/v1/audit?limit={limit}&{query}"
        while address:
            page = client.get(address, headers=admin)
            assert page.status_code == 200, page.text
            told += [entry["seq"] for entry in page.json["entries"]]
            address = page.json["next"]
        return told

    backwards = [entry["seq"] for entry in reversed(chain)]
    assert chosen(2, "newest_first=true") == chosen(200, "newest_first=true") == backwards
    issued = [entry["seq"] for entry in chain if entry["event"] == "key.issued"]
    assert len(issued) > 3
    assert chosen(2, "event=key.issued") == issued
    assert chosen(2, "event=key.issued&newest_first=true") == issued[::-1]
    someone = next(entry["subject_id"] for entry in chain if entry["event"] == "key.issued")
    theirs = [entry["seq"] for entry in chain if someone in (entry["actor_id"], entry["subject_id"])]
    assert chosen(1, f"id={someone}") == theirs
    assert chosen(50, "id=nobody-of-this-name") == []


def _sealed(document: dict[str, Any]) -> SealedEntry:
    return SealedEntry(**{name: value for name, value in document.items() if name not in ("actor", "subject")})


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
    assert last["actor"] == {"shop_id": "quay-side", "holder": "The owner of quay-side", "role": "owner"}
    assert last["subject"] is None
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


# -- accord audit check ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def served(changing: Any) -> Iterator[str]:
    """The address of one of the two applications."""
    server = make_server("127.0.0.1", 0, changing.first.application, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()


@pytest.fixture
def check(changing: Any, served: str, seal_key_of_the_run: Path) -> Callable[..., tuple[Result, Result]]:
    """The command's result from the store, and from the service."""
    store = ["--store", changing.collective.server.url]
    service = ["--url", served, "--token", changing.collective.tokens["collective", "admin"]]

    def run(*options: str) -> tuple[Result, Result]:
        from_store, from_service = (
            CliRunner().invoke(main, ["audit", "check", *whom, "--seal-key", str(seal_key_of_the_run), *options])
            for whom in (store, service)
        )
        return from_store, from_service

    return run


def accounts(results: tuple[Result, Result]) -> tuple[list[str], list[str]]:
    """What both say, without what only the command can say that reads a service's entries itself."""
    from_store, from_service = (result.output.splitlines() for result in results)
    assert from_service[-1].startswith("Read here: ")
    return from_store, from_service[:-1]


def test_both_sides_find_a_whole_store_whole(
    check: Callable[..., tuple[Result, Result]], client: FlaskClient, admin: dict[str, str]
) -> None:
    results = check()
    from_store, from_service = accounts(results)
    count = len(entries(client, admin, 200))
    assert from_store == from_service
    assert from_store[0].startswith(f"Whole: {count} entries, ")
    assert [result.exit_code for result in results] == [0, 0]
    assert results[1].output.splitlines()[-1] == f"Read here: all {count} entries follow each other up to the head."


AUDIT_HEAD = "{accord}:audit-head"


def _alter_shop(raw: Any) -> None:
    text = raw.hget("{accord}:shop:quay-side", "d")
    raw.hset("{accord}:shop:quay-side", "d", text.replace(b"Quay Side", b"Quay Hide"))


def _plant_key(raw: Any) -> None:
    (known, *_) = raw.keys("{accord}:key:*")
    raw.hset("{accord}:key:key_aaaaaaaaaaaaaaaa", mapping=raw.hgetall(known))


def _alter_role(raw: Any) -> None:
    known = min(raw.keys("{accord}:key:*"))
    raw.hset(known, "d", json.dumps(json.loads(raw.hget(known, "d")) | {"role": "admin", "shop": "collective"}))


def _swap(raw: Any) -> None:
    third, fourth = raw.lindex(AUDIT, 2), raw.lindex(AUDIT, 3)
    raw.lset(AUDIT, 2, fourth)
    raw.lset(AUDIT, 3, third)


def _alter_entry(raw: Any) -> None:
    raw.lset(AUDIT, 2, json.dumps(json.loads(raw.lindex(AUDIT, 2)) | {"actor_id": "somebody else"}))


def _set_the_head_back(raw: Any) -> None:
    last = json.loads(raw.lindex(AUDIT, -2))
    raw.set(AUDIT_HEAD, f"{last['seq']} {last['hash']}")


# What was done to the store, and the code of each fault that both sides have to tell, and no other.
TAMPERINGS: dict[str, tuple[Callable[[Any], object], set[str]]] = {
    "a key planted": (_plant_key, {"document-unknown"}),
    "a key's role altered": (_alter_role, {"document-altered"}),
    "a proposal deleted": (lambda raw: raw.delete(min(raw.keys("{accord}:proposal:*"))), {"document-gone"}),
    "a record deleted": (lambda raw: raw.delete(min(raw.keys("{accord}:record:*"))), {"document-gone"}),
    "a shop altered": (_alter_shop, {"document-altered"}),
    "house rules altered": (
        lambda raw: raw.hset("{accord}:house:quay-side", "d", '{"changed_at":0,"document":{"rules":{}}}'),
        {"document-altered"},
    ),
    "the last entry cut": (lambda raw: raw.rpop(AUDIT), {"entry-broken", "document-unknown"}),
    "the last two cut": (lambda raw: raw.rpop(AUDIT, 2), {"entry-broken", "document-unknown"}),
    "two entries swapped": (_swap, {"entry-broken"}),
    "an entry altered": (_alter_entry, {"entry-broken"}),
    # The third wrote a shop and moved the directory on: both are in no entry that can be read then.
    "an entry garbled": (
        lambda raw: raw.lset(AUDIT, 2, b"\xff{"),
        {"entry-broken", "document-unknown", "document-altered"},
    ),
    "the head unreadable": (lambda raw: raw.set(AUDIT_HEAD, "x"), {"head-unreadable", "entry-surplus"}),
    "the head moved back": (_set_the_head_back, {"head-unsealed", "entry-surplus"}),
    "a name of no kind": (lambda raw: raw.set("{accord}:notes", "x"), {"kind-unknown"}),
}


@pytest.fixture
def restored(raw: Any, changing: Any) -> Iterator[None]:
    """What the test does to the store is undone, and the workers know nothing of it."""
    kept = {name: raw.dump(name) for name in raw.keys("{accord}*")}
    yield
    for name in raw.keys("{accord}*"):
        raw.delete(name)
    for name, value in kept.items():
        raw.restore(name, 0, value)
    for client in (changing.first, changing.second):
        client.application.extensions["accord"].store.newest.start_from(ChainHead())


@pytest.fixture
def proposed(client: FlaskClient, changing: Any, store: Store) -> None:
    """A record, house rules, and two proposals, written last."""
    draft = store.records.draft("quay-side", question={}, answer={}, revision=1)
    store.records.create(draft, who="test")
    house = store.shops.house("quay-side")
    store.shops.replace_house("quay-side", house.version, {}, who="test")
    owner = changing.headers("quay-side", "owner")
    base = client.get("/v1/revisions/1", headers=owner).json
    source = {"title": "Another", "kind": "from-memory", "text": "What is remembered.", "speaks_of": ["press"]}
    body = {"changes": [{"kind": "sources", "id": "one-more", "value": source}], "reason": "Missing.", "evidence": "-"}
    for _ in range(2):
        ok(client.post("/v1/proposals", json=body | {"base": {"revision": 1, "digest": base["digest"]}}, headers=owner))


@pytest.mark.usefixtures("proposed", "restored")
@pytest.mark.parametrize(("tamper", "codes"), TAMPERINGS.values(), ids=[*TAMPERINGS])
def test_both_sides_tell_the_same_of_what_was_tampered_with(
    check: Callable[..., tuple[Result, Result]],
    client: FlaskClient,
    admin: dict[str, str],
    raw: Any,
    tamper: Callable[[Any], object],
    codes: set[str],
) -> None:
    tamper(raw)
    results = check()
    from_store, from_service = accounts(results)
    assert from_store == from_service
    assert [result.exit_code for result in results] == [1, 1]
    told = ok(client.get("/v1/audit/check", headers=admin))
    assert (told["whole"], {fault["code"] for fault in told["faults"]}) == (False, codes)
    assert told["lines"] == from_store
    assert [f"  {fault['sentence']}" for fault in told["faults"]] == from_store[1:]


@pytest.mark.usefixtures("restored")
@pytest.mark.parametrize("bumped", [True, False], ids=["and all workers told", "quietly"])
def test_a_key_written_past_the_service_opens_nothing(
    client: FlaskClient, raw: Any, tmp_path: Path, bumped: bool
) -> None:
    """Made by a service of the intruder's own, with a key of its own, and copied as it is; or one of ours whose role
    was raised."""
    server = EmbeddedServer.start(tmp_path / "own")
    with closing(Store.at(server.url, timeout_s=5.0, seals=Seals.from_pem(new_key()))) as own:
        issued = own.keys.issue("collective", "admin", holder="Nobody", who="first start")
    theirs = connect(server.url, timeout_s=5.0)
    name = f"{{accord}}:key:{issued.record.id}"
    raw.hset(name, mapping=theirs.hgetall(name))
    theirs.close()
    server.stop()
    raw.zadd("{accord}:keys", {issued.record.id: 1})
    if bumped:
        raw.hincrby("{accord}:directory", "v", 1)
    for _ in range(3):
        answer = client.get("/v1/keys", headers={"Authorization": f"Bearer {issued.token}"})
        assert answer.status_code == 401, answer.text
        time.sleep(0.6)


@pytest.mark.usefixtures("restored")
def test_a_key_whose_role_was_raised_in_the_store_opens_nothing_any_more(
    client: FlaskClient, changing: Any, raw: Any, wait_for: Callable[..., None]
) -> None:
    headers = changing.headers("mill-loft", "counter")
    key_id = ok(client.get("/v1/shop/status", headers=headers))["key_id"]
    name = f"{{accord}}:key:{key_id}"
    raw.hset(name, "d", json.dumps(json.loads(raw.hget(name, "d")) | {"role": "admin"}))
    raw.hincrby("{accord}:directory", "v", 1)
    wait_for(lambda: client.get("/v1/keys", headers=headers).status_code == 401, seconds=5.0)


@pytest.mark.usefixtures("restored")
def test_both_sides_find_by_an_anchor_that_a_store_was_set_back(
    check: Callable[..., tuple[Result, Result]],
    client: FlaskClient,
    admin: dict[str, str],
    changing: Any,
    raw: Any,
    request: pytest.FixtureRequest,
) -> None:
    kept = {name: raw.dump(name) for name in raw.keys("{accord}*")}
    before = ok(client.get("/v1/audit/head", headers=admin))["anchor"]
    request.getfixturevalue("proposed")
    line = ok(client.get("/v1/audit/head", headers=changing.headers("mill-loft", "counter")))["anchor"]
    assert accounts(check("--anchor", line, "--anchor", before))[0][0].startswith("Whole: ")
    raw.flushall()
    for name, value in kept.items():
        raw.restore(name, 0, value)
    assert [result.exit_code for result in check()] == [0, 0], "nothing else shows it"
    results = check("--anchor", line)
    from_store, from_service = accounts(results)
    assert (from_store, [result.exit_code for result in results]) == (from_service, [1, 1])
    assert "the store was set back" in from_store[1]
    assert [result.exit_code for result in check("--anchor", before)] == [0, 0]


def test_what_is_no_anchor_is_refused_by_name(client: FlaskClient, admin: dict[str, str]) -> None:
    answer = client.get("/v1/audit/check?anchor=812", headers=admin)
    assert (answer.status_code, answer.json["errors"][0]["name"]) == (400, "anchor")
    result = CliRunner().invoke(main, ["audit", "check", "--store", "unix:///nowhere", "--anchor", "812"])
    assert (result.exit_code, "six words" in result.output) == (2, True)


def test_one_check_at_a_time(client: FlaskClient, admin: dict[str, str], changing: Any) -> None:
    room = client.application.extensions["accord"]
    with room.checking:
        answer = client.get("/v1/audit/check", headers=admin)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    assert ok(client.get("/v1/audit/check", headers=admin))["whole"]


def test_a_service_that_lies_of_its_entries_is_found_out_here(
    client: FlaskClient, admin: dict[str, str], seal_key_of_the_run: Path
) -> None:
    """By the head's seal, with the key in a file of one's own."""
    head = ok(client.get("/v1/audit/head", headers=admin))
    chain = [_sealed(entry) for entry in entries(client, admin, 200)]
    assert _read_here(chain, head, seal_key_of_the_run)[1]
    last = chain[-1]
    forged = seal(UnsealedEntry("x", Event(last.event), None), {}, ChainHead(last.seq - 1, last.previous), 0.0, "")
    fields = head["anchor"].split(" ")
    fields[2] = forged.hash
    lie = head | {"hash": forged.hash, "anchor": " ".join(fields)}
    assert _read_here([*chain[:-1], forged], lie, None)[1], "without the key it hangs together"
    assert _read_here([*chain[:-1], forged], lie, seal_key_of_the_run) == (
        "Read here: the head is not sealed with a key of the file.",
        False,
    )


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
    forged = seal(UnsealedEntry("somebody else", Event(last.event), last.subject_id), {}, before, 0.0, "")
    head = ChainHead(last.seq, last.hash)
    assert broken_at([*chain[:-1], forged]) is None
    assert broken_at([*chain[:-1], forged], head) == last.seq
    assert broken_at(chain, head) is None
    assert broken_at(chain, before) is None, "one was added since the head was read"


def test_no_store_is_said_so() -> None:
    result = CliRunner().invoke(main, ["audit", "check", "--store", "unix:///nowhere/at/all"])
    assert result.exit_code == 2
    assert "does not answer" in result.output
