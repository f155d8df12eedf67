"""Engine and judge over random rules and random orders: the same answers, always.

``ACCORD_DIFFERENTIAL`` sets the number of cases (2000 unless it is set; more in continuous integration), and
``ACCORD_SEED`` the seed, which is printed so that a failure can be had again.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from itertools import islice
from typing import Any

import pytest
from tests.rules.infer.faults import WrongJudge
from tests.rules.infer.generate import Book, Case, random_atom, random_book, random_book_cases
from tests.tiers import of_this_run

from accord_rules.infer.engine import Engine
from accord_rules.infer.judge import Judge
from accord_rules.revision.condition import Condition, parse

CASES = int(os.environ.get("ACCORD_DIFFERENTIAL") or of_this_run(1000, 2000, 2000))
SEED = int(os.environ.get("ACCORD_SEED") or random.SystemRandom().randrange(10**9))


@dataclass
class Tally:
    cases: int = 0
    fired: int = 0
    silent: int = 0
    networks: int = 0
    apart: int = 0
    first: str = ""


def compare(cases: Iterable[Case], judging: Callable[[Mapping[str, Condition]], Judge] = Judge) -> Tally:
    """Answer every case by both; books change now and then and are loaded anew."""
    tally = Tally()
    book: Book | None = None
    with ExitStack() as stack:
        for case in cases:
            if case.book is not book:
                stack.close()
                book = case.book
                engine = stack.enter_context(Engine(book.rules, book.vocabulary.facts, 1))
                judge = judging(book.rules)
                tally.networks = max(tally.networks, engine.networks)
            inferred = engine.decide(case.facts, case.limits)
            judged = judge.judge(case.facts, case.limits).fired
            tally.cases += 1
            tally.fired += len(inferred)
            tally.silent += len(case.book.rules) - len(inferred)
            if inferred != judged:
                tally.apart += 1
                tally.first = tally.first or _described(case, set(inferred) ^ set(judged))
    return tally


def _described(case: Case, rules: set[str]) -> str:
    texts: list[Any] = [case.book.rules[rule].text for rule in sorted(rules)]
    return f"{texts} with {dict(case.facts)} and {dict(case.limits)}"


def test_engine_and_judge_agree(capsys: pytest.CaptureFixture[str]) -> None:
    tally = compare(islice(random_book_cases(random.Random(SEED)), CASES))
    with capsys.disabled():
        print(f"\n  seed {SEED}: {tally.cases} cases, {tally.fired} rules fired, {tally.silent} stayed silent")
    assert tally.apart == 0, f"seed {SEED}: {tally.apart} cases apart, first {tally.first}"
    assert tally.cases == CASES
    # Both answers are common, or agreeing would say little.
    assert 0.05 < tally.fired / (tally.fired + tally.silent) < 0.6


def test_engine_and_judge_agree_over_books_that_have_to_be_split() -> None:
    rng = random.Random(SEED + 1)
    networks = 0
    for _ in range(3):
        book = random_book(rng, 20)
        # Many rules with few tests each: what fills a network soonest.
        while len(book.rules) < 400:
            more = random_book_like(rng, book)
            book = Book({**book.rules, **more}, book.vocabulary, book.limits)
        tally = compare(islice(random_book_cases(rng, book), max(20, CASES // 40)))
        assert tally.apart == 0, f"seed {SEED}: {tally.first}"
        networks = max(networks, tally.networks)
    assert networks > 1


def random_book_like(rng: random.Random, book: Book) -> dict[str, Condition]:

    start = len(book.rules)
    return {
        f"rule-{place}": parse(random_atom(rng, book.vocabulary), book.vocabulary) for place in range(start, start + 20)
    }


CASES_OF_A_SEED = """
import random, sys
from itertools import islice
from tests.rules.infer.generate import random_book_cases
for case in islice(random_book_cases(random.Random(int(sys.argv[1])), facts_each=5), 40):
    facts = {name: sorted(value) if isinstance(value, frozenset) else value for name, value in case.facts.items()}
    print(sorted(one.text for one in case.book.rules.values()), facts, dict(case.limits))
"""


def test_a_failure_can_be_had_again_in_another_process() -> None:
    """Sets of words come in another order there, which no case may hang on."""

    def cases(seed: str, order_of_sets: str) -> str:
        env = os.environ | {"PYTHONHASHSEED": order_of_sets, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        command = [sys.executable, "-c", CASES_OF_A_SEED, seed]
        return subprocess.run(command, env=env, capture_output=True, text=True, timeout=120, check=True).stdout

    assert cases("17", "1") == cases("17", "2")
    assert cases("17", "1") != cases("18", "1")


def test_a_wrong_judge_is_caught() -> None:
    """The comparison itself is tried: a judge that takes an unknown for a yes must not pass."""
    tally = compare(islice(random_book_cases(random.Random(SEED + 2)), 200), WrongJudge)
    assert tally.apart > 20
