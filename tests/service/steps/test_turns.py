"""Whose effect a worker goes on with. Fair turns are what a shop may expect: common practice, no source."""

from __future__ import annotations

import random
from collections import Counter

from accord_service.steps.turns import Turns
from accord_service.store import Run


def run(shop: str, number: int) -> Run:
    return Run(f"{shop}-{number}", "run_1")


def shop_of(run: Run) -> str:
    return run.proposal_id.partition("-")[0]


def test_shops_take_turns_however_many_effects_each_has() -> None:
    turns = Turns(shop_of)
    runs = [*(run("many", number) for number in range(8)), run("few", 0), run("one", 0)]
    had = []
    for _ in range(30):
        first = turns.order(runs)[0]
        turns.took(first)
        had.append(first)
    assert Counter(map(shop_of, had)) == {"many": 10, "few": 10, "one": 10}
    assert had[:6] == [run("many", 0), run("few", 0), run("one", 0), run("many", 1), run("few", 0), run("one", 0)]


def test_an_effect_that_is_done_does_not_give_its_shop_the_next_turn_too() -> None:
    turns = Turns(shop_of)
    runs = [run("many", 0), run("many", 1), run("few", 0)]
    turns.took(turns.order(runs)[0])
    assert turns.order(runs[1:])[0] == run("few", 0)


def test_no_shop_waits_longer_than_all_others_have_had_a_turn() -> None:
    rng = random.Random(20261130)
    turns, runs, waits = Turns(shop_of), [run("a", 0)], Counter[str]()
    for number in range(500):
        if rng.random() < 0.4 and len(runs) > 1:
            runs.remove(rng.choice(runs))
        if rng.random() < 0.6:
            runs.append(run(rng.choice("abcd"), number))
        first = turns.order(runs)[0]
        turns.took(first)
        waiting = {shop_of(one) for one in runs}
        waits = Counter({shop: waits[shop] + 1 for shop in waiting})
        waits[shop_of(first)] = 0
        # A shop that had none meanwhile comes back to the front of the turns: no more than each of three others twice.
        assert max(waits.values()) <= 6


def test_what_is_gone_is_forgotten_and_each_is_asked_once_whose_it_is() -> None:
    asked: list[Run] = []

    def ask(run: Run) -> str:
        asked.append(run)
        return shop_of(run)

    turns = Turns(ask)
    for number in range(50):
        runs = [run("a", number), run("b", number)]
        for _ in range(3):
            turns.took(turns.order(runs)[0])
    assert (len(asked), len(turns._shops), len(turns._of_run), len(turns._of_shop)) == (100, 2, 2, 2)
