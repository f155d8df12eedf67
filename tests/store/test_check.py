"""The audit's check: chain and store are compared both ways, whatever was done to either past the service.

Whoever tampers here has the store whole, password included, and knows how entries and hashes are made; what they lack
is the key that seals.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from accord_service.store import (
    Account,
    Altered,
    Cell,
    ChainHead,
    Conflict,
    CountedReading,
    EmbeddedServer,
    Event,
    NotThere,
    Seals,
    Store,
    StoreBroken,
)
from accord_service.store.connection import Connection, connect
from accord_service.store.kinds import KINDS
from accord_service.store.seals import new_key

PREFIX = "{accord}:"
AUDIT, HEAD = f"{PREFIX}audit", f"{PREFIX}audit-head"
CELL = Cell("transfer", "substrate", "press")


def canonical(document: object) -> bytes:
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def resealed(entry: Mapping[str, Any]) -> bytes:
    """With a right hash of its own, as a careful forger would make."""
    unsealed = {name: value for name, value in entry.items() if name != "hash"}
    return canonical({**unsealed, "hash": hashlib.sha256(canonical(unsealed)).hexdigest()})


def entry(raw: Any, seq: int) -> dict[str, Any]:
    return dict(json.loads(raw.lindex(AUDIT, seq - 1)))


@dataclass(frozen=True)
class Told:
    """What a check told, without what differs from run to run."""

    faults: frozenset[tuple[str, str | int | None]]

    @classmethod
    def by(cls, account: Account) -> Told:
        return cls(frozenset((fault.code, fault.name or fault.seq) for fault in account.faults))


def told(*faults: tuple[str, str | int | None]) -> Told:
    return Told(frozenset(faults))


WHOLE = told()


@dataclass(frozen=True)
class History:
    """A store in which something of each kind was written. ``key_id``, ``token``: a key that was revoked."""

    store: Store
    key_id: str
    token: str
    record_id: str
    entries: int


@pytest.fixture
def history(store: Store) -> History:
    """Entries: 1 the book, 2 the shop, 3 house rules with readings, 4 a key, 5 another, 6 revoked, 7 a proposal, 8 a
    record, 9 a report, 10 an answer remembered with a second shop, 11 the proposal opened with its effect."""
    store.revisions.first({"limits": {"a": 1}}, author="t", reason="first")
    store.shops.create("quay", {"name": "Quay"}, who="t")
    counted = CountedReading("rd_1", "bench", (), 0.0, "t", 0.0, "t")
    settled = store.readings.counting(store.readings.waiting("quay"), counted, {counted.place})
    store.shops.replace_house("quay", 0, {"limits": {"a": 2}}, who="t", also=lambda house: settled)
    store.keys.issue("quay", "owner", holder="Ada Reyes", who="t")
    lost = store.keys.issue("quay", "counter", holder="Bo Lind", who="t")
    store.keys.revoke(lost.record.id, who="t")
    proposal = store.proposals.create({"changes": 1}, author="t", state="draft")
    record = store.records.draft("quay", question={}, answer={"id": "vd_1"}, revision=1, reference="QS-7")
    store.records.create(record, who="t")
    store.outcomes.add(record, {"decoration": 0}, decoration=0, quantity=9, cell=CELL, failure=None, who="t")
    remembered = store.idempotency.remembering("key_1", "word", "digest", {"status": 201})
    store.shops.create("loft", {}, who="t", also=lambda shop: remembered)
    effect = store.effects.keeping(proposal.id, {"flips": 0})
    store.proposals.replace(
        proposal.id, 1, {"changes": 2}, state="open", event=Event.PROPOSAL_OPENED, who="t", also=lambda _: effect
    )
    return History(store, lost.record.id, lost.token, record.record_id, 11)


def test_an_untouched_store_is_whole(history: History) -> None:
    account = history.store.check()
    assert account.faults == ()
    assert (account.head.seq, account.adopted_seq, account.checks_seals) == (history.entries, None, True)
    # head, revision, directory, 2 shops and house with a version each, readings, 2 keys, proposal and effect, record,
    # outcome and its two counts, answer
    assert account.documents == 19
    assert account.lines() == ("Whole: 11 entries, 19 documents.",)


def test_an_empty_store_is_whole(store: Store) -> None:
    account = store.check()
    assert (account.faults, account.documents, account.head) == ((), 0, ChainHead())


def test_every_kind_of_document_that_is_written_is_in_the_history(history: History, raw: Any) -> None:
    """So that none is left out of what is tampered with here."""
    kinds = {name.decode().removeprefix(PREFIX).partition(":")[0] for name in raw.keys(f"{PREFIX}*")}
    assert {kind for kind, known in KINDS.items() if known.is_document} <= kinds


# -- tampering ---------------------------------------------------------------------------------------------------------


def _plant_key(raw: Any, history: History) -> None:
    """As a service would have written it, index and directory included."""
    document = json.loads(raw.hget(f"{PREFIX}key:{history.key_id}", "d")) | {"revoked_at": None, "role": "admin"}
    raw.hset(f"{PREFIX}key:key_aaaaaaaaaaaaaaaa", mapping={"v": 1, "d": canonical(document)})
    raw.zadd(f"{PREFIX}keys", {"key_aaaaaaaaaaaaaaaa": 1.0})
    raw.hincrby(f"{PREFIX}directory", "v", 1)


def _raise_role(raw: Any, history: History) -> None:
    key = f"{PREFIX}key:{history.key_id}"
    raw.hset(key, "d", canonical(json.loads(raw.hget(key, "d")) | {"role": "admin"}))


def _take_seal_of_another(raw: Any, history: History) -> None:
    """A document with a seal that a service made, for another name."""
    raw.hset(f"{PREFIX}shop:loft", "d", raw.hget(f"{PREFIX}shop:quay", "d"))
    raw.hset(f"{PREFIX}shop:loft", "m", raw.hget(f"{PREFIX}shop:quay", "m"))


def _drop_seal(raw: Any, history: History) -> None:
    raw.hdel(f"{PREFIX}shop:loft", "m")


def _unlist_key(raw: Any, history: History) -> None:
    raw.zrem(f"{PREFIX}keys", history.key_id)


def _delete(name: str) -> Callable[[Any, History], None]:
    def delete(raw: Any, history: History) -> None:
        raw.delete(PREFIX + name.format(record=history.record_id))

    return delete


def _alter_house(raw: Any, history: History) -> None:
    raw.hset(f"{PREFIX}house:quay", "d", canonical({"changed_at": 0, "document": {}}))


def _alter_revision(raw: Any, history: History) -> None:
    key = f"{PREFIX}revision:1"
    raw.hset(key, "d", canonical(json.loads(raw.hget(key, "d")) | {"documents": {"limits": {"a": 9}}}))


def _move_version(raw: Any, history: History) -> None:
    raw.hincrby(f"{PREFIX}head", "v", 1)


def _cut(count: int) -> Callable[[Any, History], None]:
    def cut(raw: Any, history: History) -> None:
        raw.ltrim(AUDIT, 0, -1 - count)

    return cut


def _cut_with_the_head(raw: Any, history: History) -> None:
    """The last entry goes, and the head says what it would have said before; the seal on it is the last one's."""
    raw.rpop(AUDIT)
    last = entry(raw, history.entries - 1)
    head = ChainHead.read(raw.get(HEAD))
    raw.set(HEAD, ChainHead(last["seq"], last["hash"], last["written_at"], head.seal_key_id, head.signature).text())


def _unseal_the_head(raw: Any, history: History) -> None:
    """As a head was before there were seals."""
    head = ChainHead.read(raw.get(HEAD))
    raw.set(HEAD, f"{head.seq} {head.hash}")


def _seal_with_another_key(raw: Any, history: History) -> None:
    raw.set(HEAD, Seals.from_pem(new_key()).sealed(ChainHead.read(raw.get(HEAD))).text())


def _lose_the_head(raw: Any, history: History) -> None:
    raw.set(HEAD, "nothing of the sort")


def _reorder(raw: Any, history: History) -> None:
    third, fourth = raw.lindex(AUDIT, 2), raw.lindex(AUDIT, 3)
    raw.lset(AUDIT, 2, fourth)
    raw.lset(AUDIT, 3, third)


def _alter_entry(raw: Any, history: History) -> None:
    raw.lset(AUDIT, 3, canonical({**entry(raw, 4), "actor_id": "somebody else"}))


def _forge_all(raw: Any, history: History) -> None:
    """Every entry with a right hash over another past, and a head to match: only its seal can't be made."""
    previous = "0" * 64
    for seq in range(1, history.entries + 1):
        raw.lset(AUDIT, seq - 1, resealed({**entry(raw, seq), "actor_id": "nobody", "previous": previous}))
        previous = entry(raw, seq)["hash"]
    head = ChainHead.read(raw.get(HEAD))
    raw.set(HEAD, ChainHead(head.seq, previous, head.written_at, head.seal_key_id, head.signature).text())


def _write_as_an_older_service(raw: Any, history: History) -> None:
    """An entry and its document, chained as well as can be without the key."""
    last, document = entry(raw, history.entries), canonical({"document": {}, "changed_at": 0})
    raw.hset(f"{PREFIX}shop:new", mapping={"v": 1, "d": document})
    raw.zadd(f"{PREFIX}shops", {"new": 0})
    written = {"shop:new": hashlib.sha256(document).hexdigest()}
    fields = {"seq": last["seq"] + 1, "previous": last["hash"], "written": written, "versions": {"shop:new": 1}}
    raw.rpush(AUDIT, resealed({**last, **fields, "ends": {}}))
    raw.set(HEAD, f"{last['seq'] + 1} {entry(raw, history.entries + 1)['hash']}")


def _unknown_kind(raw: Any, history: History) -> None:
    raw.set(f"{PREFIX}notes:1", "left here\x1b[31m by somebody")
    raw.set(PREFIX.encode() + b"\xff\x1b[2J", "x")


def _of_another_type(raw: Any, history: History) -> None:
    raw.delete(f"{PREFIX}keys-used")
    raw.set(f"{PREFIX}keys-used", "x")
    raw.delete(f"{PREFIX}house:quay")
    raw.set(f"{PREFIX}house:quay", "x")


def _keep_beyond_its_end(raw: Any, history: History) -> None:
    (answer,) = raw.keys(f"{PREFIX}answer:*")
    raw.persist(answer)
    history.store._clock.now_s += 2 * 86_400  # type: ignore[attr-defined]


_PLANTED = "key:key_aaaaaaaaaaaaaaaa"
TAMPERINGS: Mapping[str, tuple[Callable[[Any, History], None], Told]] = {
    "a key planted": (_plant_key, told(("document-unknown", _PLANTED), ("document-altered", "directory"))),
    "a key's role raised": (_raise_role, told(("document-altered", "key:{key}"))),
    "another document's seal": (_take_seal_of_another, told(("document-altered", "shop:loft"))),
    "a document's seal gone": (_drop_seal, told(("document-unsealed", "shop:loft"))),
    "a key taken off the list": (_unlist_key, told(("document-unlisted", "key:{key}"))),
    "a proposal deleted": (_delete("proposal:p1"), told(("document-gone", "proposal:p1"))),
    "a record deleted": (_delete("record:quay:{record}"), told(("document-gone", "record:quay:{record}"))),
    "house rules altered": (_alter_house, told(("document-altered", "house:quay"))),
    "house rules deleted": (_delete("house:quay"), told(("document-gone", "house:quay"))),
    "a revision altered": (_alter_revision, told(("document-altered", "revision:1"))),
    "a version moved on": (_move_version, told(("document-altered", "head"))),
    "the last entry cut": (
        _cut(1),
        told(("entry-broken", 11), ("document-altered", "proposal:p1"), ("document-unknown", "effect:p1")),
    ),
    "the last two entries cut": (
        _cut(2),
        told(
            ("entry-broken", 10),
            ("document-altered", "proposal:p1"),
            ("document-altered", "directory"),
            ("document-unknown", "shop:loft"),
            ("document-unknown", "shop:loft:version:1"),
            ("document-unknown", "effect:p1"),
            ("document-unknown", "answer:{answer}"),
        ),
    ),
    "the last entry cut, the head set back": (
        _cut_with_the_head,
        told(("head-forged", None), ("document-altered", "proposal:p1"), ("document-unknown", "effect:p1")),
    ),
    "the head without a seal": (_unseal_the_head, told(("head-unsealed", None))),
    "the head sealed with another key": (_seal_with_another_key, told(("head-key-unknown", None))),
    "the head unreadable": (_lose_the_head, told(("head-unreadable", None), ("entry-surplus", 1))),
    "two entries swapped": (_reorder, told(("entry-broken", 3))),
    "an entry altered": (_alter_entry, told(("entry-broken", 4))),
    "the whole chain forged": (_forge_all, told(("head-forged", None))),
    "an entry and a document added": (
        _write_as_an_older_service,
        told(("head-unsealed", None), ("document-unsealed", "shop:new")),
    ),
    "names of no kind": (_unknown_kind, told(("kind-unknown", "notes:1"), ("kind-unknown", "\\xff?[2J"))),
    "names of another type": (_of_another_type, told(("type-wrong", "keys-used"), ("type-wrong", "house:quay"))),
    "an answer kept beyond its end": (_keep_beyond_its_end, told(("document-overdue", "answer:{answer}"))),
}


def _named(expected: Told, history: History, answer: str) -> Told:
    names = {"key": history.key_id, "record": history.record_id, "answer": answer}
    filled = ((code, where.format(**names) if isinstance(where, str) else where) for code, where in expected.faults)
    return Told(frozenset(filled))


@pytest.mark.parametrize(("tamper", "expected"), TAMPERINGS.values(), ids=[*TAMPERINGS])
def test_tampering_is_told_exactly(
    history: History, raw: Any, tamper: Callable[[Any, History], None], expected: Told
) -> None:
    (answer,) = raw.keys(f"{PREFIX}answer:*")
    tamper(raw, history)
    account = history.store.check()
    assert Told.by(account) == _named(expected, history, answer.decode().removeprefix(f"{PREFIX}answer:"))
    assert account.lines()[0].startswith("Not whole: ")
    assert all(line.isprintable() for line in account.lines())


# -- what a service does with it ---------------------------------------------------------------------------------------


def test_a_planted_key_opens_nothing_and_keeps_no_other_out(history: History, raw: Any) -> None:
    before = [key.id for key in history.store.keys.list()]
    _plant_key(raw, history)
    assert [key.id for key in history.store.keys.list()] == before
    with pytest.raises(Altered):
        history.store.keys.get("key_aaaaaaaaaaaaaaaa")


def test_a_key_altered_in_place_opens_nothing(history: History, raw: Any) -> None:
    _raise_role(raw, history)
    with pytest.raises(Altered, match=f"key:{history.key_id} "):
        history.store.keys.by_token(history.token)


@pytest.mark.parametrize(
    ("tamper", "read"),
    [
        (_alter_revision, lambda store: store.revisions.revision(1)),
        (_alter_house, lambda store: store.shops.house("quay")),
        (_take_seal_of_another, lambda store: store.shops.get("loft")),
        (_drop_seal, lambda store: store.shops.list()),
        (_move_version, lambda store: store.revisions.head()),
        (_move_version, lambda store: store.watch.current()),
    ],
)
def test_what_was_altered_is_not_read(
    history: History, raw: Any, tamper: Callable[[Any, History], None], read: Callable[[Store], object]
) -> None:
    read(history.store)
    tamper(raw, history)
    with pytest.raises(Altered):
        read(Store(history.store._connection, history.store._clock))


@pytest.mark.parametrize(
    "case",
    [
        "the last entry cut",
        "the last two entries cut",
        "the last entry cut, the head set back",
        "the head without a seal",
        "the head sealed with another key",
        "the head unreadable",
        "the whole chain forged",
        "an entry and a document added",
    ],
)
@pytest.mark.parametrize("is_new", [True, False], ids=["a new worker", "one that wrote before"])
def test_nothing_is_written_on_top_of_a_chain_that_does_not_end_as_it_was_left(
    history: History, open_store: Callable[[], Store], raw: Any, case: str, is_new: bool
) -> None:
    """Its seal would say that all before it is as it was written."""
    tamper, _ = TAMPERINGS[case]
    tamper(raw, history)
    length, head = raw.llen(AUDIT), raw.get(HEAD)
    with pytest.raises(StoreBroken, match=r"accord audit check|can't be read"):
        (open_store() if is_new else history.store).shops.create("more", {}, who="t")
    assert (raw.llen(AUDIT), raw.get(HEAD), raw.exists(f"{PREFIX}shop:more")) == (length, head, 0)


def test_a_chain_that_is_gone_is_no_chain_to_begin_anew(
    history: History, open_store: Callable[[], Store], raw: Any
) -> None:
    """By whoever saw it; who comes later begins one in which nothing of what is there is written."""
    count = history.store.check().documents
    raw.delete(AUDIT, HEAD)
    with pytest.raises(StoreBroken, match="the audit is gone"):
        history.store.shops.create("more", {}, who="t")
    later = open_store()
    later.shops.create("more", {}, who="t")
    codes = [fault.code for fault in later.check().faults]
    assert (codes.count("document-unknown"), codes.count("document-altered")) == (count - 1, 1), "all but the directory"


def test_without_the_key_everything_is_read_and_nothing_written(
    history: History, server: EmbeddedServer, clock: Any
) -> None:
    keyless = Store(Connection(connect(server.url)), clock, Seals.none())
    assert keyless.revisions.head().number == 1
    with pytest.raises(StoreBroken, match="ACCORD_SEAL_KEY_FILE"):
        keyless.shops.create("more", {}, who="t")
    assert Told.by(keyless.check()) == told(("head-key-unknown", None))
    keyless.close()


# -- anchors -----------------------------------------------------------------------------------------------------------


def _copy(raw: Any) -> dict[bytes, bytes]:
    return {name: raw.dump(name) for name in raw.keys(f"{PREFIX}*")}


def _restore(raw: Any, copied: dict[bytes, bytes]) -> None:
    raw.flushall()
    for name, value in copied.items():
        raw.restore(name, 0, value)


def test_a_store_set_back_whole_is_found_by_an_anchor_alone(
    history: History, open_store: Callable[[], Store], raw: Any
) -> None:
    copied, early = _copy(raw), history.store.audit.head()
    history.store.shops.create("more", {}, who="t")
    late = history.store.audit.head()
    _restore(raw, copied)
    other = open_store()
    assert Told.by(other.check()) == WHOLE
    assert Told.by(other.check([early])) == WHOLE
    assert Told.by(other.check([early, late])) == told(("anchor-missing", late.seq))
    other.shops.create("instead", {}, who="t")
    assert Told.by(other.check([late])) == told(("anchor-missing", late.seq))
    assert Told.by(other.check([other.audit.head(), early])) == WHOLE


def test_an_anchor_is_one_line_that_can_be_kept_and_given_back(history: History) -> None:
    head = history.store.audit.head()
    line = head.text()
    assert line.split(" ")[:3] == ["accord-audit-1", "11", head.hash]
    assert ChainHead.from_line(f"  {line}\n") == head
    forged = ChainHead.from_line(line.replace(" 11 ", " 10 "))
    assert Told.by(history.store.check([forged])) == told(("anchor-forged", 10))


@pytest.mark.parametrize("line", ["", "accord-audit-1", "11 " + "0" * 64, "accord-audit-2 " + "x " * 5])
def test_what_is_no_anchor_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="six words"):
        ChainHead.from_line(line)


# -- keys that change, stores of before --------------------------------------------------------------------------------


def _strip_seals(raw: Any, history: History) -> None:
    """The store as it was written before there were seals: entries, head and documents."""
    previous = "0" * 64
    for seq in range(1, history.entries + 1):
        fields = {k: v for k, v in entry(raw, seq).items() if k not in ("versions", "ends", "seal_key_id")}
        raw.lset(AUDIT, seq - 1, resealed({**fields, "previous": previous}))
        previous = entry(raw, seq)["hash"]
    raw.set(HEAD, f"{history.entries} {previous}")
    for name in raw.keys(f"{PREFIX}*"):
        if raw.type(name) == b"hash":
            raw.hdel(name, "m")


def test_a_store_of_before_seals_is_adopted_and_then_whole(
    history: History, open_store: Callable[[], Store], raw: Any
) -> None:
    _strip_seals(raw, history)
    store = open_store()
    with pytest.raises(Altered):
        store.revisions.head()
    assert store.adoption.adopt(who="upgrade") == 19
    account = store.check()
    assert (Told.by(account), account.documents, account.adopted_seq) == (WHOLE, 19, history.entries + 1)
    assert "adopted what was there" in account.lines()[1]
    assert store.audit.verify() is None, "the entries of before are part of the chain"
    assert 0 < raw.ttl(raw.keys(f"{PREFIX}answer:*")[0]) <= 86_400
    store.shops.replace("quay", 1, {"name": "Quay Side"}, who="t")
    assert Told.by(store.check()) == WHOLE
    _raise_role(raw, history)
    assert Told.by(store.check()) == told(("document-altered", f"key:{history.key_id}"))


def test_what_is_of_no_kind_is_not_adopted(history: History, raw: Any) -> None:
    _unknown_kind(raw, history)
    history.store.adoption.adopt(who="t")
    assert {fault.code for fault in history.store.check().faults} == {"kind-unknown"}


def test_a_chain_that_was_cut_goes_on_after_an_adoption(history: History, raw: Any) -> None:
    raw.ltrim(AUDIT, 0, -3)
    history.store.adoption.adopt(who="t")
    account = history.store.check()
    assert (Told.by(account), account.adopted_seq) == (WHOLE, history.entries - 1)
    assert history.store.audit.verify() == history.entries - 1, "what is missing is missing for ever"
    history.store.shops.create("more", {}, who="t")
    assert Told.by(history.store.check()) == WHOLE


def test_a_new_key_before_the_old_one_goes_on_at_once(history: History, server: EmbeddedServer, clock: Any) -> None:
    """Old seals are read as long as the old private key is in the file; an adoption makes it dispensable."""
    old = Path(os.environ["ACCORD_SEAL_KEY_FILE"]).read_bytes()
    both = Seals.from_pem(new_key() + old)
    rotated = Store(Connection(connect(server.url)), clock, both)
    rotated.shops.replace("quay", 1, {"name": "Quay Side"}, who="t")
    assert rotated.audit.head().seal_key_id == both.key_id != history.store.seals.key_id
    assert Told.by(rotated.check()) == WHOLE
    with pytest.raises(StoreBroken, match="not in the seal key's file"):
        history.store.proposals.create({"changes": 3}, author="t", state="draft")
    rotated.close()


def test_an_old_key_can_go_once_everything_is_sealed_anew(history: History, server: EmbeddedServer, clock: Any) -> None:
    anchor = history.store.audit.head()
    fresh = new_key()
    public_only = Seals.from_pem(fresh + _public_half(history.store.seals))
    rotated = Store(Connection(connect(server.url)), clock, public_only)
    assert {fault.code for fault in rotated.check().faults} == {"document-unsealed"}
    rotated.adoption.adopt(who="t")
    assert Told.by(rotated.check([anchor])) == WHOLE, "an old anchor still counts, by the old public key"
    rotated.close()


def _public_half(seals: Seals) -> bytes:
    raw_key = base64.urlsafe_b64decode(seals.public_key(seals.key_id) + "=")
    key = Ed25519PublicKey.from_public_bytes(raw_key)
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


# -- while others write ------------------------------------------------------------------------------------------------


def test_what_is_written_meanwhile_is_not_suspected(
    history: History, server: EmbeddedServer, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("accord_service.store.check.ENTRIES_PAGE", 7)
    monkeypatch.setattr("accord_service.store.look.PAGE", 7)
    stopping = threading.Event()

    def write(store: Store, name: str) -> None:
        number = 0
        while not stopping.is_set():
            store.shops.create(f"{name}-{number}", {}, who=name)
            store.shops.replace(f"{name}-0", number + 1, {"n": number}, who=name)
            number += 1
            time.sleep(0.002)

    written: list[int] = []
    stores = [Store.at(server.url, timeout_s=5.0, clock=clock) for _ in range(3)]
    threads = [threading.Thread(target=write, args=(store, f"w{at}")) for at, store in enumerate(stores[1:])]
    for thread in threads:
        thread.start()
    try:
        for _ in range(6):
            assert Told.by(stores[0].check()) == WHOLE
            written.append(history.store.audit.head().seq)
    finally:
        stopping.set()
        for thread in threads:
            thread.join()
        for store in stores:
            store.close()
    assert written[0] < written[-1], "nobody wrote meanwhile"


def test_a_check_taken_up_again_reads_on_where_it_was_and_notices_a_store_set_back(
    history: History, open_store: Callable[[], Store], raw: Any
) -> None:
    check = history.store.checking(kinds=("key", "shop", "house", "head", "directory"))
    assert Told.by(check.again()) == WHOLE
    copied = _copy(raw)
    history.store.shops.create("more", {}, who="t")
    account = check.again()
    assert (Told.by(account), account.head.seq) == (WHOLE, history.entries + 1)
    _plant_key(raw, history)
    expected = told(("document-unknown", _PLANTED), ("document-altered", "directory"))
    assert Told.by(check.again()) == expected
    _restore(raw, copied)
    assert Told.by(check.again()) == told(("went-back", history.entries + 1))
    assert Told.by(check.again()) == WHOLE
    check.close()


def test_a_key_brought_back_from_before_it_was_revoked_is_noticed(history: History, raw: Any) -> None:
    """Its seal is right: a service made it, once. What gives it away is the chain."""
    store = history.store
    issued = store.keys.issue("quay", "owner", holder="Cy Amis", who="t")
    name = f"{PREFIX}key:{issued.record.id}"
    before = raw.hgetall(name)
    store.keys.revoke(issued.record.id, who="t")
    raw.hset(name, mapping=before)
    assert store.keys.by_token(issued.token) is not None
    check = store.checking(kinds=("key",))
    assert Told.by(check.again()) == told(("document-altered", f"key:{issued.record.id}"))
    check.close()


# -- long random histories ---------------------------------------------------------------------------------------------


def _step(store: Store, number: int, step: str, clock: Any) -> None:
    shop = f"s{number % 3}"
    if step == "shop":
        known = store.shops.get(shop)
        if known is None:
            store.shops.create(shop, {}, who="t")
        else:
            store.shops.replace(shop, known.version, {"n": number}, who="t")
    elif step == "house":
        try:
            store.shops.replace_house(shop, store.shops.house(shop).version, {"n": number}, who="t")
        except NotThere:
            return
    elif step == "key":
        key = store.keys.issue(shop, "steward", holder="Ada Reyes", who="key_aaaaaaaaaaaaaaaa")
        store.keys.confirm(key.record.id, who="key_bbbbbbbbbbbbbbbb")
    elif step == "revoke":
        for key_record in store.keys.list()[:1]:
            store.keys.revoke(key_record.id, who="t")
    elif step == "publish":
        head = store.revisions.first({"n": {}}, author="t", reason="")
        store.revisions.publish(head, {"n": {"n": number}}, author="t", approvers=(), reason="", proposal=None)
    elif step == "propose":
        proposal = store.proposals.create({"n": number}, author="t", state="draft")
        store.proposals.replace(proposal.id, 1, {}, state="open", event=Event.PROPOSAL_OPENED, who="t")
    elif step == "record":
        days = number % 3 or None
        record = store.records.draft(shop, question={}, answer={}, revision=1, reference="R", retain_days=days)
        store.records.create(record, who="t")
        for _ in range(2):
            outcome = store.outcomes.add(
                record, {"decoration": 0}, decoration=0, quantity=9, cell=CELL, failure="peeled", who="t"
            )
        store.outcomes.withdraw(record, str(outcome.outcome_id), who="t")
        store.records.delete_reference(shop, record.record_id, who="t")
    elif step == "remember":
        remembered = store.idempotency.remembering("k", f"w{number}", "d", {})
        store.proposals.create({}, author="t", state="draft", also=lambda record: remembered)
    elif step == "unmarked":
        store.rates.take("k", number, 1, 60)
        store.keys.used("k", clock())
    else:
        clock.now_s += 600.0  # of forty steps none comes to a record's end, which the server keeps by its own clock


STEPS = ("shop", "house", "key", "revoke", "publish", "propose", "record", "remember", "unmarked", "later")


@pytest.fixture
def fresh_store(server: EmbeddedServer, raw: Any, clock: Any) -> Iterator[Callable[[], Store]]:
    """Empties the server for each example."""
    opened: list[Store] = []

    def fresh() -> Store:
        raw.flushall()
        opened.append(Store(Connection(connect(server.url, timeout_s=5.0)), clock))
        return opened[-1]

    yield fresh
    for store in opened:
        store.close()


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(st.sampled_from(STEPS), max_size=40))
def test_any_history_is_whole(fresh_store: Callable[[], Store], clock: Any, steps: list[str]) -> None:
    store = fresh_store()
    for number, step in enumerate(steps):
        _step(store, number, step, clock)
    account = store.check()
    assert Told.by(account) == WHOLE
    assert store.audit.verify() is None


def test_a_conflict_leaves_no_trace(history: History) -> None:
    with pytest.raises(Conflict):
        history.store.shops.create("quay", {}, who="t")
    assert Told.by(history.store.check()) == WHOLE
