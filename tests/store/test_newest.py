"""A store set back to what it was a moment ago is whole, and whoever knows better neither believes nor seals it.

What a process may know: what it wrote, what it saw, what a file told it. The cases are a list of our own; there is no
source for what becomes of a store under such hands.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from redis.exceptions import RedisError

from accord_service.store import ChainHead, NotReplicated, SetBack, Store, StoreAway, StoreBroken
from accord_service.store.breaker import Breaker
from accord_service.store.connection import Connection, connect
from accord_service.store.embedded import EmbeddedServer

AUDIT, HEAD = "{accord}:audit", "{accord}:audit-head"


@pytest.fixture
def copy(raw: Any) -> Callable[[], Callable[[], None]]:
    """Copies the whole store; what it gives puts that back."""

    def copy_all() -> Callable[[], None]:
        copied = {name: raw.dump(name) for name in raw.keys("*")}

        def put_back() -> None:
            raw.flushall()
            for name, value in copied.items():
                raw.restore(name, 0, value)

        return put_back

    return copy_all


Copy = Callable[[], Callable[[], None]]


def write(store: Store, name: str) -> ChainHead:
    store.shops.create(name, {}, who="t")
    return store.audit.head()


def _forge(raw: Any) -> None:
    """Another first letter of the signature; of the last one some bits mean nothing."""
    head = raw.get(HEAD)
    raw.set(HEAD, head[:-86] + (b"B" if head[-86:-85] == b"A" else b"A") + head[-85:])


def adopt(store: Store, clock: Any) -> None:
    """By an operator, some time later."""
    clock.now_s += 60
    store.adoption.adopt(who="operator")


def knows_by_writing(store: Store) -> None:
    write(store, "last")


def knows_by_looking(store: Store) -> None:
    store.newest.look()


def knows_by_a_file(store: Store) -> None:
    store.newest.remember(ChainHead.from_line(store.audit.head().text()))


@pytest.mark.parametrize("know", [knows_by_writing, knows_by_looking, knows_by_a_file])
@pytest.mark.parametrize("others_write", [0, 1, 2, 3], ids=lambda count: f"{count} others write on")
def test_who_knows_of_a_later_head_writes_nothing_on_an_older_one(
    open_store: Callable[[], Store], raw: Any, clock: Any, copy: Copy, know: Callable[[Store], None], others_write: int
) -> None:
    """Nor on what others, who know nothing, have written there since: fewer entries, as many, or more."""
    first, knowing = open_store(), open_store()
    write(first, "one")
    put_back = copy()
    write(first, "two")
    know(knowing)
    known = knowing.newest.head
    assert known == first.audit.head()
    put_back()
    other = open_store()
    for number in range(others_write):
        write(other, f"other-{number}")
    length, head = raw.llen(AUDIT), raw.get(HEAD)
    for _ in range(2):
        with pytest.raises(SetBack, match="the store was set back: the audit"):
            knowing.shops.create("more", {}, who="t")
        with pytest.raises(SetBack):
            knowing.try_to_write()
        with pytest.raises(SetBack):
            knowing.newest.look()
    assert (raw.llen(AUDIT), raw.get(HEAD)) == (length, head)
    assert knowing.newest.loss is not None
    assert knowing.newest.loss.known == known
    assert [shop.id for shop in knowing.shops.list()][:1] == ["one"], "it is read all the same"
    adopt(open_store(), clock)
    knowing.try_to_write()
    write(knowing, "more")
    write(other, "more-still")
    assert (knowing.newest.loss, knowing.check().faults) == (None, ())


def test_who_wrote_an_entry_that_is_replaced_by_another_of_its_number_notices(
    open_store: Callable[[], Store], copy: Copy
) -> None:
    first, other = open_store(), open_store()
    write(first, "one")
    put_back = copy()
    write(first, "two")
    put_back()
    write(other, "three")
    with pytest.raises(SetBack, match="the audit had another entry 2 of "):
        first.shops.create("more", {}, who="t")


def test_an_emptied_store_is_not_begun_anew(open_store: Callable[[], Store], raw: Any) -> None:
    store = open_store()
    write(store, "one")
    raw.flushall()
    with pytest.raises(SetBack, match="the audit is gone, which had entry 1 of "):
        store.shops.create("more", {}, who="t")
    assert raw.keys("*") == []


def test_what_was_missing_and_is_back_is_written_on(open_store: Callable[[], Store], copy: Copy) -> None:
    store = open_store()
    write(store, "one")
    early = copy()
    write(store, "two")
    late = copy()
    early()
    with pytest.raises(SetBack):
        store.try_to_write()
    late()
    store.try_to_write()
    write(store, "three")
    assert store.newest.loss is None


def test_an_adoption_of_before_does_not_let_it_pass(open_store: Callable[[], Store], clock: Any, copy: Copy) -> None:
    """Whoever has the store could put back the time after it."""
    store = open_store()
    write(store, "one")
    before = copy()
    adopt(open_store(), clock)
    after = copy()
    clock.now_s += 60
    write(store, "two")
    for put_back in (before, after):
        put_back()
        with pytest.raises(SetBack):
            store.try_to_write()


def test_an_adoption_that_no_service_sealed_does_not_let_it_pass(
    open_store: Callable[[], Store], raw: Any, clock: Any, copy: Copy
) -> None:
    store = open_store()
    write(store, "one")
    put_back = copy()
    write(store, "two")
    put_back()
    clock.now_s += 60
    other = open_store()
    write(other, "three")
    write(other, "four")
    entry = json.loads(raw.lindex(AUDIT, 1))
    raw.lset(AUDIT, 1, json.dumps(entry | {"event": "store.adopted", "subject_id": "1"}))
    with pytest.raises(SetBack):
        store.try_to_write()


def test_what_no_replica_has_is_not_known(server: EmbeddedServer, open_store: Callable[[], Store], copy: Copy) -> None:
    """It was acknowledged to nobody, and a promotion may lose it: here of a store that has no replica at all."""
    wary = Store(Connection(connect(server.url, timeout_s=5.0), Breaker(retry_s=0.0), replicas=1))
    put_back = copy()
    with pytest.raises(NotReplicated):
        write(wary, "one")
    with pytest.raises(NotReplicated):
        wary.newest.look()
    assert wary.audit.head().seq == 1
    assert wary.newest.head.seq == 0
    wary.try_to_write()
    put_back()
    wary.try_to_write()
    with pytest.raises(NotReplicated):
        write(wary, "two")
    assert (wary.audit.head().seq, wary.newest.loss) == (1, None)
    wary.close()


@pytest.mark.parametrize("replicas", [0, 1])
def test_a_promotion_that_lost_what_was_acknowledged_is_told_and_one_that_lost_nothing_is_not(
    run_redis: Callable[..., Any],
    free_port: Callable[[], int],
    tmp_path: Path,
    until: Callable[[Callable[[], bool]], float],
    replicas: int,
) -> None:
    """The replica is cut off before the last write, which an address without ``replicas`` acknowledges all the same.
    Its port then becomes the primary's, as an address of Sentinels would lead there."""
    ports = {name: free_port() for name in ("primary", "replica")}
    for name in ports:
        (tmp_path / name).mkdir()
    words = [("--port", str(port), "--dir", str(tmp_path / name)) for name, port in ports.items()]
    primary = run_redis(*words[0], "--repl-diskless-sync-delay", "0")
    run_redis(*words[1], "--replicaof", "127.0.0.1", str(ports["primary"]))
    replica: Any = connect(f"redis://127.0.0.1:{ports['replica']}/0", timeout_s=5.0)
    url = f"redis://127.0.0.1:{ports['primary']}/0" + ("?replicas=1" if replicas else "")
    store, seeing = Store.at(url), Store.at(url)

    def holds(ask: Callable[[], object]) -> Callable[[], bool]:
        def does() -> bool:
            try:
                return bool(ask())
            except (RedisError, StoreAway):
                return False

        return does

    until(holds(lambda: replica.info("replication")["master_link_status"] == "up"))
    until(holds(lambda: store.confirm() or True))
    known = write(store, "one")
    until(holds(lambda: replica.get(HEAD) == known.text().encode()))
    replica.replicaof("NO", "ONE")
    if replicas:
        with pytest.raises(NotReplicated):
            write(store, "two")
        with pytest.raises(NotReplicated):
            seeing.newest.look()
    else:
        known = write(store, "two")
        seeing.newest.look()
    assert store.audit.head().seq == 2
    primary.kill()
    primary.wait()
    replica.config_set("port", str(ports["primary"]))
    until(holds(lambda: store.audit.head().seq == 1))
    for one in (store, seeing):
        until(holds(lambda one=one: one.ping() or True))  # type: ignore[misc]
        if replicas:
            one.newest.check()
            assert one.newest.loss is None
        else:
            with pytest.raises(SetBack, match="the audit ends with entry 1, and had entry 2 of "):
                one.shops.create("three", {}, who="t")
            assert one.newest.loss is not None
            assert one.newest.loss.known == known
    for client in (replica, store, seeing):
        client.close()


@pytest.mark.parametrize(
    ("harm", "told"),
    [
        (_forge, "not of the key that it names"),
        (lambda raw: raw.rpop(AUDIT), "does not end as its head says"),
        (lambda raw: raw.rpush(AUDIT, "{}"), "does not end as its head says"),
        (lambda raw: raw.lset(AUDIT, -1, "{}"), "does not end as its head says"),
    ],
    ids=["a forged head", "an entry cut", "an entry added", "another last entry"],
)
def test_a_chain_that_may_not_be_written_on_takes_no_writes(
    store: Store, open_store: Callable[[], Store], raw: Any, harm: Callable[[Any], object], told: str
) -> None:
    """Whoever asks whether writes are taken is told what a write would be told."""
    write(store, "one")
    write(store, "two")
    harm(raw)
    other = open_store()
    with pytest.raises(StoreBroken, match=told):
        other.try_to_write()
    with pytest.raises(StoreBroken, match=told):
        other.shops.create("more", {}, who="t")
