"""The lane for heavy questions: places a key and in all, and keys in turns. A gate instead of a clock."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Any

from accord_service.serving.fair_lane import FairLane


class Gated:
    """A lane of one thread, whose work waits at a gate; ``done`` says what was done, in order."""

    def __init__(self, most: int, most_a_key: int, most_a_shop: int | None = None, **more: Any) -> None:
        self.gate, self.begun, self.done = threading.Semaphore(0), queue.SimpleQueue[str](), queue.SimpleQueue[str]()
        self.lane: FairLane[str] = FairLane(
            "tried",
            1,
            self._work,
            most=most,
            most_a_key=most_a_key,
            most_a_shop=most_a_shop,
            shop_of=lambda key: key.partition("/")[0],
            **more,
        )

    def _work(self, task: str) -> None:
        self.begun.put(task)
        self.gate.acquire()
        self.done.put(task)
        if task.startswith("fails"):
            raise ValueError(task)

    def ask(self, key: str, task: str) -> bool:
        if not self.lane.reserve(key):
            return False
        self.lane.put(key, task)
        return True

    def finish(self, count: int) -> list[str]:
        self.gate.release(count)
        return [self.done.get(timeout=20) for _ in range(count)]


def test_keys_take_turns_whoever_asked_most() -> None:
    gated = Gated(most=10, most_a_key=10)
    assert gated.ask("a", "a1")
    gated.begun.get(timeout=20)
    for key, task in (("a", "a2"), ("a", "a3"), ("a", "a4"), ("b", "b1"), ("c", "c1"), ("b", "b2")):
        assert gated.ask(key, task)
    assert gated.finish(7) == ["a1", "a2", "b1", "c1", "a3", "b2", "a4"]


def test_a_key_that_may_have_fewer_places_has_no_more() -> None:
    gated = Gated(most=9, most_a_key=4, fewer_of={"a/public": 1}.get)
    assert [gated.ask(key, key) for key in ("a/public", "a/public", "a/own", "a/own")] == [True, False, True, True]
    gated.finish(3)


def test_a_key_has_so_many_places_and_the_lane_so_many(wait_for: Callable[..., None]) -> None:
    gated = Gated(most=3, most_a_key=2)
    assert [gated.ask("a", "1"), gated.ask("a", "2"), gated.ask("a", "3")] == [True, True, False]
    assert [gated.ask("b", "4"), gated.ask("b", "5"), gated.ask("c", "6")] == [True, False, False]
    gated.finish(3)
    wait_for(lambda: not gated.lane._places, seconds=20)
    assert gated.ask("a", "7"), "the places of what was done are free again"


def test_shops_take_turns_and_of_a_shop_its_keys() -> None:
    """A shop with three keys does not get three turns of four."""
    gated = Gated(most=10, most_a_key=10)
    assert gated.ask("a/1", "first")
    gated.begun.get(timeout=20)
    for key in ("a/1", "a/1", "a/2", "a/3", "b/1", "b/1"):
        assert gated.ask(key, f"{key}")
    assert gated.finish(7) == ["first", "a/1", "b/1", "a/2", "b/1", "a/3", "a/1"]


def test_all_keys_of_a_shop_together_have_so_many_places(wait_for: Callable[..., None]) -> None:
    gated = Gated(most=10, most_a_key=2, most_a_shop=3)
    asked = [gated.ask(f"a/{number}", "task") for number in (1, 1, 1, 2, 2, 3)]
    assert asked == [True, True, False, True, False, False]
    assert gated.ask("b/1", "task"), "another shop has its own"
    gated.finish(4)
    wait_for(lambda: not gated.lane._places and not gated.lane._shops, seconds=20)
    assert gated.ask("a/3", "task")


def test_a_reserved_place_counts_before_its_task_is_there() -> None:
    lane = Gated(most=8, most_a_key=1).lane
    assert [lane.reserve("a"), lane.reserve("a")] == [True, False]


def test_keys_that_were_refused_leave_nothing_behind() -> None:
    lane = Gated(most=1, most_a_key=1).lane
    assert lane.reserve("first")
    assert not any(lane.reserve(f"key {number}") for number in range(1000))
    assert (len(lane._places), len(lane._shops)) == (1, 1)


def test_work_that_fails_gives_its_place_back_and_leaves_a_thread_to_the_next(wait_for: Callable[..., None]) -> None:
    gated = Gated(most=1, most_a_key=1)
    assert gated.ask("a", "fails")
    gated.finish(1)
    wait_for(lambda: not gated.lane._places, seconds=20)
    assert gated.ask("a", "next")
    assert gated.finish(1) == ["next"]
