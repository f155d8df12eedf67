"""The store away or frozen: answers at once, recovery by itself, and errors of our own kind only."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from tests.tokens import checked

from accord_service.store import EmbeddedServer, NotThere, Store, StoreAway, StoreBroken, StoreError, WriteRefused

pytestmark = [pytest.mark.alone, pytest.mark.one_core]

PATIENCE_S = 0.3
Until = Callable[[Callable[[], bool]], float]


@pytest.fixture
def service_store(server: EmbeddedServer) -> Iterator[Store]:
    """With the timeouts the service uses."""
    opened = Store.at(server.url)
    opened.revisions.first({}, author="t", reason="")
    yield opened
    opened.close()


@pytest.fixture
def frozen(server: EmbeddedServer, service_store: Store) -> Iterator[Callable[[], None]]:
    """The server stops answering but keeps its connections; the fixture's value thaws it."""
    service_store.watch.current()
    pid = server.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    yield lambda: os.kill(pid, signal.SIGCONT)
    os.kill(pid, signal.SIGCONT)


def _seconds(ask: Callable[[], object], expected: type[StoreError] | None = StoreAway) -> float:
    began_s = time.monotonic()
    if expected is None:
        ask()
    else:
        with pytest.raises(expected):
            ask()
    return time.monotonic() - began_s


def _answers(store: Store) -> bool:
    try:
        store.ping()
    except StoreAway:
        return False
    return True


ASKS: list[Callable[[Store], object]] = [
    lambda store: store.ping(),
    lambda store: store.revisions.head(),
    lambda store: store.shops.create("s", {}, who="t"),
    lambda store: store.records.page("s"),
    lambda store: store.idempotency.recall("s", "k", "d"),
    lambda store: store.idempotency.claimed("s", "k", "d").__enter__(),
]


def test_a_frozen_store_costs_one_timeout_and_then_nothing(
    server: EmbeddedServer, request: pytest.FixtureRequest, until: Until
) -> None:
    stores = [Store.at(server.url) for _ in ASKS]
    for store in stores:
        store.ping()
    thaw: Callable[[], None] = request.getfixturevalue("frozen")
    for store, ask in zip(stores, ASKS, strict=True):
        assert 0.15 < _seconds(partial(ask, store)) < PATIENCE_S
        assert all(_seconds(partial(ask, store)) < 0.02 for _ in range(20)), "the breaker must answer without waiting"
    thaw()
    for store in stores:
        assert until(partial(_answers, store)) < 2.0
        store.close()


def test_a_new_connection_to_a_frozen_store_gives_up_in_time(
    server: EmbeddedServer, frozen: Callable[[], None]
) -> None:
    fresh = Store.at(server.url)
    assert _seconds(fresh.ping) < PATIENCE_S
    with pytest.raises(StoreAway):
        fresh.watch.current()
    fresh.close()


def test_many_threads_asking_a_frozen_store_all_answer_in_time(
    service_store: Store, frozen: Callable[[], None]
) -> None:
    took: list[float] = []

    def ask(number: int) -> None:
        for round_ in range(4):
            took.append(_seconds(partial(service_store.shops.create, f"s{number}-{round_}", {}, who="t")))

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(took) == 32
    assert max(took) < PATIENCE_S


def test_the_watch_holds_the_last_head_with_its_age(service_store: Store, frozen: Callable[[], None]) -> None:
    time.sleep(1.1)  # the cached answer is too old now, so this call asks
    assert _seconds(service_store.watch.current, None) < PATIENCE_S
    state = service_store.watch.current()
    assert not state.live
    assert state.why
    assert state.head.number == 1
    assert 1.1 < state.age_s < 3
    assert all(_seconds(service_store.watch.current, None) < 0.02 for _ in range(10))
    frozen()
    time.sleep(1.1)
    assert service_store.watch.current().live
    assert service_store.watch.current().age_s < 1


def test_a_write_that_timed_out_may_be_done_but_only_once(
    service_store: Store, frozen: Callable[[], None], until: Until
) -> None:
    """The frozen server finds the command in its socket when it wakes; asking again then meets the version."""
    with pytest.raises(StoreAway):
        service_store.shops.create("s", {"n": 1}, who="t")
    frozen()
    until(lambda: _answers(service_store))
    shop = service_store.shops.get("s")
    if shop is None:
        service_store.shops.create("s", {"n": 1}, who="t")
    assert [shop.version for shop in service_store.shops.list()] == [1]
    assert service_store.audit.verify() is None


def test_a_store_that_is_not_there_is_away_at_once(tmp_path: Path) -> None:
    for url in (f"unix://{tmp_path}/nothing.sock", "redis://127.0.0.1:1/0"):
        store = Store.at(url)
        assert _seconds(store.ping) < PATIENCE_S
        assert _seconds(partial(store.keys.by_token, checked("a" * 16, "b" * 43))) < 0.02
        store.close()


def test_what_is_said_of_a_store_that_is_away_tells_not_where_it_is(tmp_path: Path) -> None:
    """The sentence reaches whoever asks."""
    for url in (f"unix://{tmp_path}/nothing.sock", "redis://127.0.0.1:1/0"):
        store = Store.at(url)
        with pytest.raises(StoreAway, match=r"^the store does not answer \(no connection\)$"):
            store.ping()
        store.close()


def test_an_empty_store_is_not_taken_for_one_that_is_away(server: EmbeddedServer) -> None:
    store = Store.at(server.url)
    with pytest.raises(NotThere):
        store.watch.current()
    with pytest.raises(NotThere):
        store.revisions.head()
    store.revisions.first({}, author="t", reason="")
    assert store.watch.current().live
    store.close()


@pytest.fixture
def socket_of(run_redis: Callable[..., subprocess.Popen[bytes]], tmp_path: Path, until: Until) -> Callable[..., str]:
    """A server with more words on its command line; its address."""

    def start(*words: str) -> str:
        path = tmp_path / "other.sock"
        run_redis("--port", "0", "--unixsocket", str(path), "--save", "", *words)
        until(path.exists)
        return f"unix://{path}"

    return start


def test_a_wrong_password_is_for_somebody_to_act(socket_of: Callable[..., str]) -> None:
    url = socket_of("--requirepass", "right")
    for address in (url, url.replace("unix://", "unix://:wrong@")):
        store = Store.at(address)
        with pytest.raises(StoreBroken):
            store.ping()
        store.close()
    store = Store.at(url.replace("unix://", "unix://:right@"))
    store.ping()
    store.close()


@pytest.mark.parametrize(
    "words",
    [
        ("--replicaof", "127.0.0.1", "1"),  # a replica: read-only
        ("--min-replicas-to-write", "1"),  # a master that lost its replicas
        ("--maxmemory", "1kb"),  # full
    ],
)
def test_a_store_that_can_read_but_not_write_refuses_writes_whole(
    socket_of: Callable[..., str], words: tuple[str, ...]
) -> None:
    store = Store.at(socket_of(*words))
    store.ping()
    with pytest.raises(WriteRefused):
        store.shops.create("s", {}, who="t")
    assert store.shops.list() == (), "reading goes on at once"
    assert store.audit.head().seq == 0
    store.close()
