"""The work on an effect, piece by piece: whoever dies, stops or is slow, each order is done exactly once."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, field

import pytest

from accord_service.steps.shards import EDGES, RECORDED, TRIAL, Progress, Shard

SEED = 20261130
LEASE_S = 30.0
WORKERS = ("one", "two", "three")


@dataclass
class Yard:
    """What a store and some workers would do, by the clock of the test alone."""

    records: int
    edges: int
    size: int
    progress: Progress
    now_s: float = 0.0
    # Worker to the number of the shard it believes to have, and what was counted as done.
    hands: dict[str, int] = field(default_factory=dict)
    shards: dict[tuple[str, int], Shard] = field(default_factory=dict)
    done: list[str] = field(default_factory=list)

    def take(self, by: str) -> None:
        progress = self.progress
        number = progress.free(by, self.now_s)
        if number is None and progress.is_tried:
            progress = self._cut(progress)
            number = progress.free(by, self.now_s)
        if number is None:
            self.progress = progress
            return
        self.progress = self._kept(progress.handed(number, by, self.now_s, LEASE_S))
        self.hands[by], self.shards[by, number] = number, self.progress.shards[number]

    def _cut(self, progress: Progress) -> Progress:
        if not progress.all_recorded:
            first = int(progress.cursor or 0)
            end = min(self.records, first + self.size)
            places = [f"r{number}" for number in range(first, end)]
            progress = progress.cut_recorded(places, None if end == self.records else str(end))
            if places:
                return progress
        return progress.cut_edges(self.size)

    def finish(self, by: str) -> None:
        number = self.hands.pop(by)
        if not self.progress.has(number, by):
            return
        shard = self.shards[by, number]
        if shard.kind == TRIAL:
            self.progress = self.progress.tried(number, "trier", self.records, self.edges, 0, self.now_s)
            return
        self.done += shard.places if shard.kind == RECORDED else [f"e{n}" for n in range(shard.first, shard.end)]
        self.progress = self._kept(self.progress.finished(number, 0, self.now_s))

    def give_back(self, by: str) -> None:
        number = self.hands.pop(by)
        if self.progress.has(number, by):
            self.progress = self._kept(self.progress.given_back(number, self.now_s))

    @staticmethod
    def _kept(progress: Progress) -> Progress:
        return Progress.read(json.loads(json.dumps(progress.document())))


@pytest.mark.parametrize("round_", range(40))
def test_each_order_is_done_exactly_once(round_: int) -> None:
    rng = random.Random(f"{SEED} {round_}")
    records, edges, size = rng.randrange(0, 60), rng.randrange(0, 30), rng.randrange(1, 12)
    yard = Yard(records, edges, size, Progress.begun("code", 0.0))
    steps = 0
    while not yard.progress.is_done:
        steps += 1
        assert steps < 20_000, "it comes to no end"
        by = rng.choice(WORKERS)
        if by not in yard.hands:
            yard.take(by)
        else:
            # Finishes, stops, dies, or is so slow that its time is up before it finishes.
            what = rng.choice(("finish", "finish", "finish", "stop", "die", "dawdle"))
            if what == "finish":
                yard.finish(by)
            elif what == "stop":
                yard.give_back(by)
            elif what == "die":
                del yard.hands[by]
            else:
                yard.now_s += LEASE_S + 1
        yard.now_s += rng.random()
    wanted = [f"r{number}" for number in range(records)] + [f"e{number}" for number in range(edges)]
    assert sorted(yard.done) == sorted(wanted)
    assert yard.progress.judged == yard.progress.orders == len(wanted)


def test_recorded_orders_come_before_those_at_edges() -> None:
    yard = Yard(3, 2, 2, Progress.begun("code", 0.0))
    kinds = []
    while not yard.progress.is_done:
        yard.take("one")
        kinds.append(yard.shards["one", yard.hands["one"]].kind)
        yard.finish("one")
    assert kinds == [TRIAL, RECORDED, RECORDED, EDGES]


def test_nothing_is_handed_out_before_the_book_was_tried() -> None:
    yard = Yard(3, 2, 2, Progress.begun("code", 0.0))
    yard.take("one")
    yard.take("two")
    assert set(yard.hands) == {"one"}


def test_who_lets_a_shard_slip_takes_it_again_and_has_not_failed_at_it() -> None:
    """The store was away when it would have written; whoever died instead would come back under another name."""
    yard = Yard(3, 0, 2, Progress.begun("code", 0.0))
    for _ in range(5):
        yard.take("one")
        assert yard.progress.shards[0].tries == 1
    yard.now_s += LEASE_S + 1
    yard.take("two")
    assert yard.progress.shards[0].tries == 2


def test_time_left_follows_from_the_rate_of_all_workers() -> None:
    begun = Progress.begun("code", 0.0)
    assert (begun.orders, begun.left_s(5.0)) == (None, None)
    tried = begun.handed(0, "one", 0.0, LEASE_S).tried(0, "trier", 900, 100, 0, 10.0)
    assert (tried.orders, tried.left_s(11.0)) == (1000, None)
    cut = tried.cut_recorded([f"r{number}" for number in range(200)], "200").handed(1, "one", 11.0, LEASE_S)
    done = cut.finished(1, 0, 14.0)
    # 200 of 1,000 in the 4 s since the book was tried: 800 more take 16 s.
    assert done.left_s(14.0) == pytest.approx(16.0)


def test_another_program_waits_until_the_first_is_gone() -> None:
    begun = Progress.begun("old", 100.0)
    assert not begun.may_begin_anew("old", 10_000.0, LEASE_S)
    assert not begun.may_begin_anew("new", 100.0 + LEASE_S, LEASE_S)
    assert begun.may_begin_anew("new", 101.0 + LEASE_S, LEASE_S)
