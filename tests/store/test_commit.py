"""The one write path: all or nothing, compared with what was read, by threads and by processes."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from accord_service.store import Conflict, EmbeddedServer, Store, StoreBroken, Transaction, names
from accord_service.store.audit import UnsealedEntry
from accord_service.store.commit import (
    ABSENT,
    TURN_MS,
    AddToIndex,
    Committer,
    Delete,
    DropFromIndex,
    Put,
    Versioned,
    Write,
)
from accord_service.store.connection import Connection, connect

AUDIT = UnsealedEntry("who", "test", "it")
A, B, INDEX = "{accord}:test:a", "{accord}:test:b", "{accord}:test:index"

Opener = Callable[[], Store]


@pytest.fixture
def committer(server: EmbeddedServer) -> Committer:
    return Committer(Connection(connect(server.url)), lambda: 1.0)


def test_each_write_adds_one_to_the_version(committer: Committer) -> None:
    for version in range(3):
        committer.commit({A: version}, [Put(A, {"n": version})], AUDIT)
    entry = committer.get(A)
    assert entry is not None
    assert (entry.version, entry.document) == (3, {"n": 2})


def test_a_conflict_names_the_key_and_writes_nothing(committer: Committer, raw: Any) -> None:
    committer.commit({A: ABSENT}, [Put(A, 1)], AUDIT)
    with pytest.raises(Conflict) as caught:
        committer.commit({B: ABSENT, A: 7}, [Put(B, 2), AddToIndex(INDEX, "m", 1)], AUDIT)
    assert (caught.value.key, caught.value.expected, caught.value.actual) == (A, 7, 1)
    assert committer.get(B) is None
    assert not raw.exists(INDEX)
    assert raw.llen("{accord}:audit") == 1


def test_a_write_that_cannot_be_done_leaves_the_others_undone(committer: Committer, raw: Any) -> None:
    raw.set(INDEX, "not a sorted set")
    with pytest.raises(StoreBroken, match="not a zset"):
        committer.commit({}, [Put(A, 1), AddToIndex(INDEX, "m", 1)], AUDIT)
    assert committer.get(A) is None
    assert raw.llen("{accord}:audit") == 0


def test_a_damaged_audit_stops_writing(committer: Committer, raw: Any) -> None:
    raw.set("{accord}:audit", "not a list")
    with pytest.raises(StoreBroken, match="not a list"):
        committer.commit({}, [Put(A, 1)], AUDIT)
    assert committer.get(A) is None


def test_every_kind_of_write(committer: Committer, raw: Any) -> None:
    writes: list[Write] = [
        Put(A, {"ü": [1.5, None]}, 60),
        Put(B, 1),
        AddToIndex(INDEX, "m", 2.5),
        AddToIndex(INDEX, "n", float("inf")),
    ]
    committer.commit({}, writes, AUDIT)
    assert 0 < raw.ttl(A) <= 60
    assert raw.ttl(B) == -1
    assert raw.zrange(INDEX, 0, -1, withscores=True) == [(b"m", 2.5), (b"n", float("inf"))]
    committer.commit({}, [Put(A, 2), Delete(B), DropFromIndex(INDEX, "m")], AUDIT)
    assert 0 < raw.ttl(A) <= 60, "a plain put leaves the time to live as it was"
    assert committer.get(B) is None
    assert raw.zrange(INDEX, 0, -1) == [b"n"]


@pytest.mark.parametrize("document", [float("nan"), {"x": float("inf")}, {"x": object()}])
def test_what_is_not_json_is_refused_before_anything_is_sent(committer: Committer, document: object) -> None:
    with pytest.raises((ValueError, TypeError)):
        committer.commit({}, [Put(A, document)], AUDIT)
    assert committer.get(A) is None


def test_values_that_would_fail_inside_the_script_are_refused_before() -> None:
    with pytest.raises(ValueError, match="expires_s"):
        Put(A, 1, 0)
    with pytest.raises(ValueError, match="score"):
        AddToIndex(INDEX, "m", float("nan"))


def test_changes_join_unless_they_expect_two_versions() -> None:
    joined = Transaction({A: 1}, (Put(A, 1),)) + Transaction({A: 1, B: 2}, (Put(B, 1),))
    assert joined == Transaction({A: 1, B: 2}, (Put(A, 1), Put(B, 1)))
    with pytest.raises(ValueError, match="two versions"):
        _ = Transaction({A: 1}) + Transaction({A: 2})


def test_the_server_forgetting_its_scripts_is_not_noticed(committer: Committer, raw: Any) -> None:
    committer.commit({A: 0}, [Put(A, 1)], AUDIT)
    raw.script_flush()
    committer.commit({A: 1}, [Put(A, 2)], AUDIT)
    assert committer.get(A) == Versioned(2, 2)


def test_threads_of_several_workers_never_lose_an_update(open_store: Opener) -> None:
    stores = [open_store() for _ in range(3)]
    stores[0].shops.create("s", {"n": 0}, who="t")

    def add(store: Store) -> None:
        for _ in range(20):
            _add_one(store)

    threads = [threading.Thread(target=add, args=(store,)) for store in stores for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    shop = stores[0].shops.get("s")
    assert shop is not None
    assert (shop.version, shop.document) == (121, {"n": 120})
    assert stores[0].audit.head().seq == 121
    assert stores[0].audit.verify() is None


def _add_one(store: Store) -> None:
    while True:
        shop = store.shops.get("s")
        assert shop is not None
        try:
            store.shops.replace("s", shop.version, {"n": shop.document["n"] + 1}, who="t")
        except Conflict:
            continue
        return


def test_a_worker_gets_through_while_another_never_pauses(open_store: Opener) -> None:
    busy, polite = open_store(), open_store()
    stopping = threading.Event()

    def hog(name: int) -> None:
        number = 0
        while not stopping.is_set():
            busy.shops.create(f"{name}-{number}", {}, who="busy")
            number += 1

    threads = [threading.Thread(target=hog, args=(name,)) for name in range(4)]
    for thread in threads:
        thread.start()
    try:
        for number in range(60):
            polite.shops.create(f"polite-{number}", {}, who="polite")
    finally:
        stopping.set()
        for thread in threads:
            thread.join()
    assert polite.audit.verify() is None


def test_a_turn_goes_before_everyone_else_and_ends_by_itself(store: Store, raw: Any) -> None:
    """While another has a turn nobody else writes; one that is never taken stands in the way for no longer than it
    lasts."""
    raw.set(names.TURN, "somebody-who-died", px=TURN_MS)
    begun = time.monotonic()
    store.shops.create("patient", {}, who="t")
    assert time.monotonic() - begun > TURN_MS / 2000
    assert not raw.exists(names.TURN)
    assert store.audit.verify() is None


PROCESS = """
import sys
from accord_service.store import Conflict, Store
store = Store.at(sys.argv[1], timeout_s=5.0)
won = 0
while won < 15:
    head = store.revisions.head()
    try:
        documents = {"by": {"who": sys.argv[2]}}
        store.revisions.publish(head, documents, author=sys.argv[2], approvers=(), reason="", proposal=None)
        won += 1
    except Conflict:
        continue
"""


def test_processes_publish_without_gaps_or_doubles(store: Store, server: EmbeddedServer) -> None:
    store.revisions.first({}, author="t", reason="")
    running = [subprocess.Popen([sys.executable, "-c", PROCESS, server.url, f"p{n}"]) for n in range(3)]
    assert [process.wait(60) for process in running] == [0, 0, 0]
    assert store.revisions.head().number == 46
    records = [store.revisions.revision(number) for number in range(1, 47)]
    authors = [record.author for record in records if record is not None]
    assert sorted(authors) == ["p0"] * 15 + ["p1"] * 15 + ["p2"] * 15 + ["t"]
    assert store.audit.verify() is None


def test_of_two_stewards_publishing_at_once_one_wins(open_store: Opener) -> None:
    stores = [open_store(), open_store()]
    head = stores[0].revisions.first({}, author="t", reason="")
    barrier = threading.Barrier(2)
    outcomes: list[str] = []

    def publish(store: Store, who: str) -> None:
        barrier.wait()
        try:
            store.revisions.publish(head, {who: {}}, author=who, approvers=(), reason="", proposal=None)
            outcomes.append(who)
        except Conflict:
            outcomes.append("conflict")

    threads = [threading.Thread(target=publish, args=pair) for pair in zip(stores, ("a", "b"), strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    (winner,) = [outcome for outcome in outcomes if outcome != "conflict"]
    record = stores[0].revisions.revision(2)
    assert record is not None
    assert record.author == winner
    assert stores[0].revisions.revision(3) is None
