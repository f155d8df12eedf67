"""The store killed with kill -9 around the moment of publication, again and again.

``ACCORD_SOAK_KILLS`` says how often (if unset, once, and three times in a longer run); the figures are printed, for
``pytest -s``.
"""

from __future__ import annotations

import os
import random
import signal
import threading
import time
from dataclasses import dataclass, field
from typing import Any

import pytest
from tests.tiers import of_this_run

from accord_rules.documents.canonical import digest
from accord_rules.governance import proposal as rules
from accord_rules.governance.changes import EntryChange, check
from accord_rules.governance.proposal import Approval, Base, ShownEffect
from accord_rules.load.loader import from_documents
from accord_rules.revision.book import Book
from accord_service.steps.proposals import KeptEffect, Overtaken, Steps, StoredProposal, stored_document
from accord_service.store import EmbeddedServer, RevisionHead, Store, StoreAway, Transaction
from accord_service.worker.trials import trier

KILLS = int(os.environ.get("ACCORD_SOAK_KILLS") or of_this_run(1, 3, 3))
LIMIT = "dye.polyester_share_full"
SCOPE, STEWARD, SHOP = "soak", "steward-two", "quay-side"
LATEST_KILL_S = 0.08  # from its last callback on, a commit of a whole book takes about half so long


@dataclass
class Tally:
    """What the publisher was told, and what the reader saw."""

    published: list[tuple[str, RevisionHead]] = field(default_factory=list)
    left_open: int = 0
    done_though_unacknowledged: int = 0
    not_done: int = 0
    away_s: list[float] = field(default_factory=list)
    read: int = 0
    broken: list[str] = field(default_factory=list)


class Killer:
    """Kills the server a moment after a commit has set out: before, while or after the server does it."""

    def __init__(self, server: EmbeddedServer) -> None:
        self._server = server
        self._shot: threading.Timer | None = None

    def shoot(self) -> None:
        pid = self._server.pid
        assert pid is not None
        self._shot = threading.Timer(random.uniform(0, LATEST_KILL_S), os.kill, (pid, signal.SIGKILL))
        self._shot.start()

    def wait(self) -> None:
        """Until the server was killed, and its end was noticed."""
        assert self._shot is not None, "the commit did not set out"
        self._shot.join()
        time.sleep(LATEST_KILL_S)


@pytest.mark.long
def test_a_publication_is_done_whole_or_not_at_all(fresh: Any, book: Book) -> None:
    server: EmbeddedServer = fresh.server
    store, tally, stopping = Store.at(server.url), Tally(), threading.Event()
    approver = store.keys.issue(SHOP, rules.STEWARD, holder="A steward", who="test").record.id
    reader = threading.Thread(target=_read, args=(server.url, tally, stopping))
    reader.start()
    book_now = book
    try:
        for number in range(KILLS):
            book_now = _one_round(store, Killer(server), tally, book_now, f"soak-{number}", approver)
    finally:
        stopping.set()
        reader.join()
    _check(store, tally)
    print(
        f"\n{KILLS} kills around a publication: {len(tally.published)} acknowledged, {tally.left_open} left open, of"
        f" which {tally.done_though_unacknowledged} were done whole and {tally.not_done} not at all; {tally.read} reads"
        f" meanwhile, none of half a revision; back after {1000 * sum(tally.away_s) / len(tally.away_s):.0f} ms on"
        f" average, {1000 * max(tally.away_s):.0f} ms at most"
    )
    store.close()


def _one_round(store: Store, killer: Killer, tally: Tally, book: Book, key: str, approver: str) -> Book:
    """Approve a change, publish it while the server is killed, and see what came of it."""
    id_ = _approved(store, book, approver)
    steps = Steps(store=store, held=book, who=STEWARD, role=rules.STEWARD, now_s=time.time())
    publication = steps.publish(id_)

    def also(stored: StoredProposal) -> Transaction:
        change = store.idempotency.remembering(SCOPE, key, key, stored.proposal.id)
        killer.shoot()
        return change

    began_s = time.monotonic()
    try:
        publication.commit(also)
        acknowledged = True
    except (StoreAway, Overtaken):
        acknowledged = False
        tally.left_open += 1
    killer.wait()
    _answers(store)
    tally.away_s.append(time.monotonic() - began_s)
    head, stored, remembered = _state(store, id_, key)
    done = head == publication.head
    assert (stored.state == "published") is done, "the proposal and the head do not tell the same"
    assert (remembered is not None) is done, "the remembered answer and the head do not tell the same"
    assert done or not acknowledged, "an acknowledged publication is lost"
    if not acknowledged:
        tally.done_though_unacknowledged += done
        tally.not_done += not done
    if acknowledged:
        tally.published.append((id_, publication.head))
    record = store.revisions.revision(head.number)
    assert record is not None
    return from_documents(record.documents, record.number, tried=record.documents)


def _state(store: Store, id_: str, key: str) -> tuple[RevisionHead, Any, Any]:
    stored = store.proposals.get(id_)
    assert stored is not None
    return store.revisions.head(), stored, store.idempotency.recall(SCOPE, key, key)


def _approved(store: Store, book: Book, approver: str) -> str:
    """A proposal as it is when its effect was shown and another steward approved it."""
    entry = dict(book.documents["limits"][LIMIT])
    entry["value"] = 171 - entry["value"]  # 85 and 86 by turns
    base = Base(book.revision, book.digest)
    draft = rules.draft("new", base, [EntryChange("limits", LIMIT, entry)], "To and fro.", "A soak.", "author")
    shown = rules.show(draft, ShownEffect("sha256:r"))
    opened = rules.open_(shown)
    assert opened.digests is not None
    changes, base_digest, replay = opened.digests
    approval = Approval(
        who=approver,
        role=rules.STEWARD,
        change_digest=changes,
        base_digest=base_digest,
        replay_digest=replay,
        shop=SHOP,
        holder="A steward",
    )
    approved = rules.approve(opened, approval)
    made = check(book.documents, approved.changes, book.revision + 1)
    kept = KeptEffect({"new": made.digest}, replay, trier())
    while True:
        try:
            created = store.proposals.create(
                stored_document(approved),
                author="author",
                state=approved.state,
                also=lambda record: store.effects.keeping(record.id, kept.document()),
            )
            return created.id
        except StoreAway:
            time.sleep(0.02)


def _answers(store: Store) -> None:
    until = time.monotonic() + 20
    while True:
        try:
            return store.ping()
        except StoreAway:
            assert time.monotonic() < until, "the store did not come back"
            time.sleep(0.01)


def _read(url: str, tally: Tally, stopping: threading.Event) -> None:
    """As a worker would: the head, then its revision, which must be whole."""
    store = Store.at(url)
    while not stopping.is_set():
        try:
            head = store.revisions.head()
            record = store.revisions.revision(head.number)
        except StoreAway:
            time.sleep(0.01)
            continue
        tally.read += 1
        if record is None or record.head != head or digest(record.documents) != head.digest:
            tally.broken.append(f"revision {head.number}")
    store.close()


def _check(store: Store, tally: Tally) -> None:
    assert tally.broken == []
    assert tally.read > 0
    head = store.revisions.head()
    for id_, published in tally.published:
        record = store.revisions.revision(published.number)
        assert record is not None
        assert (record.head, record.proposal) == (published, id_)
    for number in range(1, head.number + 1):
        record = store.revisions.revision(number)
        assert record is not None
        assert digest(record.documents) == record.digest, "half a revision"
    assert store.revisions.revision(head.number + 1) is None
    assert head.number == 1 + len(tally.published) + tally.done_though_unacknowledged
    assert store.audit.verify() is None
    assert store.check().faults == ()
