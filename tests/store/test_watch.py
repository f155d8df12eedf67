"""Workers notice a new head, a new shop or a revoked key within two seconds, at one question each half second."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from accord_service.store import EmbeddedServer, HeadWatch, Store
from accord_service.store.connection import Connection, connect

Opener = Callable[[], Store]


@pytest.mark.alone
@pytest.mark.one_core
def test_another_worker_s_publication_is_seen_within_two_seconds(open_store: Opener) -> None:
    writer, reader = open_store(), open_store()
    head = writer.revisions.first({}, author="t", reason="")
    assert reader.watch.current().head == head
    published = writer.revisions.publish(head, {"a": {}}, author="t", approvers=(), reason="", proposal=None)
    began_s = time.monotonic()
    while reader.watch.current().head != published.head:
        assert time.monotonic() - began_s < 2.0
        time.sleep(0.01)


class Ticks:
    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def _commands(raw: Any) -> int:
    return int(raw.info("stats")["total_commands_processed"])


def test_the_store_is_asked_each_half_second_however_many_ask(store: Store, server: EmbeddedServer, raw: Any) -> None:
    store.revisions.first({}, author="t", reason="")
    ticks = Ticks()
    watch = HeadWatch(Connection(connect(server.url)), monotonic=ticks)
    watch.current()
    before = _commands(raw)
    for _ in range(1000):
        ticks.now_s += 0.01
        watch.current()
    # Two commands each time, and the question about the number itself.
    assert 38 <= _commands(raw) - before <= 43


def test_whoever_comes_after_a_quiet_time_waits_for_the_one_who_asks(store: Store, server: EmbeddedServer) -> None:
    """A worker that nobody asked for a minute answers from no head that was replaced meanwhile."""
    head, ticks = store.revisions.first({}, author="t", reason=""), Ticks()
    connection = Connection(connect(server.url))
    watch = HeadWatch(connection, monotonic=ticks)
    assert watch.current().head == head
    published = store.revisions.publish(head, {"a": {}}, author="t", approvers=(), reason="", proposal=None)
    ticks.now_s += 60
    is_asked, may_answer, ask_primary = threading.Event(), threading.Event(), connection.ask_primary

    def ask_slowly(commands: Any) -> Any:
        is_asked.set()
        assert may_answer.wait(20)
        return ask_primary(commands)

    connection.ask_primary = ask_slowly  # type: ignore[method-assign]
    with ThreadPoolExecutor(2) as threads:
        first = threads.submit(watch.current)
        assert is_asked.wait(20)
        second = threads.submit(watch.current)
        with pytest.raises(TimeoutError):
            second.result(timeout=0.2)  # what it must not do is come back with the old head
        may_answer.set()
        assert [answer.result(20).head for answer in (first, second)] == [published.head, published.head]


def test_after_a_write_has_settled_no_worker_answers_from_what_was_before(store: Store, server: EmbeddedServer) -> None:
    """The next order must be judged by the shop's new rules, on whichever worker it is asked."""
    store.revisions.first({}, author="t", reason="")
    ticks = Ticks()

    def sleep(seconds: float) -> None:
        ticks.now_s += seconds

    writer = HeadWatch(Connection(connect(server.url)), monotonic=ticks, sleep=sleep)
    reader = HeadWatch(Connection(connect(server.url)), monotonic=ticks)
    before = reader.current().directory
    store.shops.create("s", {}, who="t")
    store.shops.replace_house("s", 0, {}, who="t")
    assert reader.current().directory == before, "seen a moment ago, and not asked again yet"
    writer.settle()
    assert reader.current().directory == before + 2


def test_who_waited_for_a_slow_question_asks_again_where_it_began_too_long_ago(
    store: Store, server: EmbeddedServer
) -> None:
    """Its answer may be from before a write that has settled meanwhile."""
    store.revisions.first({}, author="t", reason="")
    ticks, connection = Ticks(), Connection(connect(server.url))
    watch = HeadWatch(connection, monotonic=ticks)
    before = watch.current().directory
    has_heard, may_answer, ask_primary = threading.Event(), threading.Event(), connection.ask_primary

    def answer_slowly(commands: Any) -> Any:
        heard = ask_primary(commands)
        if not has_heard.is_set():
            has_heard.set()
            assert may_answer.wait(20)
        return heard

    connection.ask_primary = answer_slowly  # type: ignore[method-assign]
    ticks.now_s += 0.6
    with ThreadPoolExecutor(2) as threads:
        slow = threads.submit(watch.current)
        assert has_heard.wait(20)
        store.shops.create("s", {}, who="t")
        ticks.now_s += 1.1
        later = threads.submit(watch.current)
        with pytest.raises(TimeoutError):
            later.result(timeout=0.2)
        may_answer.set()
        slow.result(20)
        assert later.result(20).directory == before + 1


def test_the_directory_moves_with_shops_house_rules_and_keys(store: Store, server: EmbeddedServer) -> None:
    store.revisions.first({}, author="t", reason="")
    watch = HeadWatch(Connection(connect(server.url)), cached_s=0)
    seen = [watch.current().directory]
    store.shops.create("s", {}, who="t")
    seen.append(watch.current().directory)
    store.shops.replace("s", 1, {}, who="t")
    seen.append(watch.current().directory)
    store.shops.replace_house("s", 0, {}, who="t")
    seen.append(watch.current().directory)
    issued = store.keys.issue("s", "owner", holder="H", who="t")
    seen.append(watch.current().directory)
    store.keys.revoke(issued.record.id, who="t")
    seen.append(watch.current().directory)
    store.proposals.create({}, author="t", state="draft")
    seen.append(watch.current().directory)
    assert seen == [0, 1, 2, 3, 4, 5, 5]
