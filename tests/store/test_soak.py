"""The server, and the process that owns it, killed with kill -9 in the middle of commits, again and again.

``ACCORD_SOAK_KILLS`` says how often (if unset, twice, and five times in a longer run); the figures are printed, for
``pytest -s``.
"""

from __future__ import annotations

import dataclasses
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from tests.tiers import of_this_run

from accord_rules.documents.canonical import digest
from accord_service.store import Cell, Conflict, EmbeddedServer, OrderRecord, Store, StoreAway
from accord_service.store.revisions import RevisionHead

KILLS = int(os.environ.get("ACCORD_SOAK_KILLS") or of_this_run(2, 5, 5))
CELL = Cell("transfer", "substrate", "press")
BOOK_PAGE = "x" * 20_000  # a revision is long, so that a kill may well come while it is written
Until = Callable[[Callable[[], bool]], float]


def _record(store: Store) -> OrderRecord:
    """The one that all pieces here are reported on, by whatever process."""
    return dataclasses.replace(store.records.draft("s", question={}, answer={}, revision=1), record_id="rec_1")


@dataclass
class Tally:
    """What the store acknowledged, and how many writes it left open."""

    outcomes: set[str] = field(default_factory=set)
    heads: list[RevisionHead] = field(default_factory=list)
    attempts: int = 0
    open: int = 0


def _report(store: Store, tally: Tally, stopping: threading.Event) -> None:
    record = _record(store)
    while not stopping.is_set():
        tally.attempts += 1
        try:
            failure = random.choice((None, "peeled"))
            outcome = store.outcomes.add(
                record, {}, decoration=0, quantity=100_000, cell=CELL, failure=failure, who="t"
            )
            tally.outcomes.add(str(outcome.outcome_id))
        except StoreAway:
            tally.open += 1
            time.sleep(0.01)


def _publish(store: Store, tally: Tally, stopping: threading.Event) -> None:
    while not stopping.is_set():
        tally.attempts += 1
        try:
            head = store.revisions.head()
            documents = {"page": {str(head.number): BOOK_PAGE}}
            record = store.revisions.publish(head, documents, author="t", approvers=(), reason="", proposal=None)
            tally.heads.append(record.head)
        except StoreAway:
            tally.open += 1
            time.sleep(0.01)
        except Conflict:
            continue


def test_nothing_acknowledged_is_lost_and_nothing_is_half_done(
    server: EmbeddedServer, open_store: Callable[[], Store], raw: Any, until: Until
) -> None:
    reader = open_store()
    reader.revisions.first({}, author="t", reason="")
    stopping = threading.Event()
    jobs = (_report, _report, _publish)
    tallies = [Tally() for _ in jobs]
    threads = [
        threading.Thread(target=job, args=(open_store(), tally, stopping))
        for job, tally in zip(jobs, tallies, strict=True)
    ]
    for thread in threads:
        thread.start()
    away_s = [_kill_and_wait(server, reader, until) for _ in range(KILLS)]
    stopping.set()
    for thread in threads:
        thread.join()
    until(lambda: _answers(reader))
    _check(reader, raw, tallies)
    print(
        f"\n{KILLS} kills: {sum(len(tally.outcomes) + len(tally.heads) for tally in tallies)} writes acknowledged, "
        f"{sum(tally.open for tally in tallies)} refused or left open, {reader.audit.head().seq} audit entries, "
        f"away {sum(away_s) / len(away_s) * 1000:.0f} ms on average, {max(away_s) * 1000:.0f} ms at most"
    )


def _kill_and_wait(server: EmbeddedServer, reader: Store, until: Until) -> float:
    """Kill it after a moment of undisturbed writing; the seconds from there until it answered again."""
    before = reader.audit.head().seq
    until(lambda: _answers(reader) and reader.audit.head().seq > before + 3)
    time.sleep(random.uniform(0, 0.05))
    pid = server.pid
    assert pid is not None
    began_s = time.monotonic()
    os.kill(pid, signal.SIGKILL)
    until(lambda: server.pid not in (None, pid))
    until(lambda: _answers(reader))
    return time.monotonic() - began_s


def _answers(store: Store) -> bool:
    try:
        store.ping()
    except StoreAway:
        return False
    return True


def _check(store: Store, raw: Any, tallies: list[Tally]) -> None:
    acknowledged = set().union(*(tally.outcomes for tally in tallies))
    stored = {outcome.outcome_id for outcome in store.outcomes.page(_record(store), limit=100_000).items}
    assert acknowledged <= stored, "an acknowledged report is lost"
    (count,) = store.outcomes.counts()
    assert count.good + count.failed == len(stored), "a report was kept without being counted, or the other way round"
    heads = [head for tally in tallies for head in tally.heads]
    current = store.revisions.head()
    for head in heads:
        record = store.revisions.revision(head.number)
        assert record is not None
        assert record.head == head, "an acknowledged revision is lost or another"
    for number in range(1, current.number + 1):
        record = store.revisions.revision(number)
        assert record is not None
        assert record.digest == digest(record.documents), "half a revision"
    assert store.revisions.revision(current.number + 1) is None, "a revision without a head"
    assert store.audit.verify() is None
    assert store.check().faults == (), "a document without its entry, or the other way round"
    assert store.audit.head().seq == current.number + len(stored), "an audit entry for each write and no other"
    assert raw.llen("{accord}:audit") == store.audit.head().seq
    assert sum(tally.open for tally in tallies) > 0, "no kill came in the middle of anything"


OWNER = """
import dataclasses, sys
from pathlib import Path
from accord_service.store import Cell, EmbeddedServer, Store
server = EmbeddedServer.start(sys.argv[1], binary=Path(sys.argv[2]))
store = Store.at(server.url)
print(server.pid, flush=True)
record = dataclasses.replace(store.records.draft("s", question={}, answer={}, revision=1), record_id="rec_1")
of_one = {"decoration": 0, "quantity": 100_000, "cell": Cell("t", "s", "p"), "failure": None}
while True:
    print(store.outcomes.add(record, {}, **of_one, who="t").outcome_id, flush=True)
"""


@pytest.mark.long
def test_the_owner_killed_in_the_middle_leaves_no_server_and_loses_nothing(
    tmp_path: Path, binary: Path, until: Until
) -> None:
    acknowledged: set[str] = set()
    for _ in range(KILLS):
        words = [sys.executable, "-c", OWNER, str(tmp_path / "data"), str(binary)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as owner:
            assert owner.stdout is not None
            server_pid = int(owner.stdout.readline())
            acknowledged.add(owner.stdout.readline().strip())
            time.sleep(random.uniform(0, 0.05))
            owner.kill()
            # A line that was cut off is one that nobody was told.
            acknowledged |= {line.strip() for line in owner.stdout if line.endswith("\n")}
        until(partial(_ended, server_pid))
    server = EmbeddedServer.start(tmp_path / "data", binary=binary)
    store = Store.at(server.url, timeout_s=5.0)
    stored = {outcome.outcome_id for outcome in store.outcomes.page(_record(store), limit=100_000).items}
    assert acknowledged <= stored
    assert [count.good for count in store.outcomes.counts()] == [len(stored)]
    assert store.audit.verify() is None
    assert store.check().faults == ()
    assert store.audit.head().seq == len(stored)
    store.close()
    server.stop()
    print(
        f"\n{KILLS} owners killed: {len(acknowledged)} writes acknowledged, {len(stored)} kept, no server left behind"
    )


def _ended(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except (FileNotFoundError, ProcessLookupError):
        return True
