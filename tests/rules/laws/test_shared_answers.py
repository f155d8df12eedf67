"""What cases share is what a case of its own would find.

A read that is not declared, or a part of the question that a fact hangs on and its layer does not, would share a wrong
value without a sound: so one question is asked with many decorations, presses and settings, and each of its facts is
held to that of a question asked afresh.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from tests.rules.laws.questions import ORDERS, SEED, questions

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.derive.graph import GRAPH
from accord_rules.documents.reading import DocumentError, read
from accord_rules.orders.order import Decoration, Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Kind
from accord_rules.revision.names import resolve
from accord_rules.weigh.choice import choose
from accord_rules.weigh.sequence import find_sequence

TURNS = 6
NAMES = [name for name, fact in GRAPH.facts.items() if fact.type.kind is not Kind.DATA]


def random_pairs(book: Book, count: int, salt: str) -> Iterator[tuple[Order, Shop]]:
    for document, shop in questions(book, count, salt, decorations=3, odd=0.2):
        try:
            yield resolve(read(Order, document), book, shop), shop
        except DocumentError:
            continue


def varied(order: Order, decorations: list[Decoration], rng: random.Random) -> Order:
    """The same piece with other prints, of which some lie on others; each has something of two that were met."""
    prints = []
    for index in range(rng.randint(1, 3)):
        first, second = rng.choice(decorations), rng.choice(decorations)
        over = rng.randrange(index) if index and rng.random() < 0.3 else None
        mixed = (
            replace(first, transfer=second.transfer) if rng.random() < 0.5 else replace(second, settings=first.settings)
        )
        prints.append(replace(mixed, over=over))
    return replace(order, decorations=tuple(prints))


def pressings(whole: Case, press: Press) -> tuple[list[Case], tuple[Chosen | None, ...], Sequenced]:
    cases = [whole.decoration_case(index) for index in range(len(whole.order.decorations))]
    sequence, settings = find_sequence([case.pressing_case(press, choose(case.pressing_case(press))) for case in cases])
    return cases, settings, sequence


def facts_of(case: Case, rng: random.Random) -> Mapping[str, Any]:
    """All facts of the case, asked for in any order."""
    names = [name for name in NAMES if GRAPH.facts[name].rank <= case.scope.rank]
    rng.shuffle(names)
    return case.facts(names)


def test_what_cases_share_is_what_each_finds_by_itself(book: Book) -> None:
    rng = random.Random(f"{SEED} shared")
    questions = list(random_pairs(book, max(ORDERS // 6, 20), "shared"))
    decorations = [decoration for order, _ in questions for decoration in order.decorations]
    compared = several = 0
    for order, shop in questions:
        for assume in (True, False):
            whole = Case(book, shop, order, assume=assume)
            for _ in range(TURNS):
                mixed, press = varied(order, decorations, rng), rng.choice(shop.presses)
                where = f"ACCORD_SEED={SEED}: {mixed} on {press}"
                lone = Case(book, shop, mixed, assume=assume)
                sharing = whole.with_order(mixed)
                cases, settings, sequence = pressings(sharing, press)
                lone_cases, lone_settings, lone_sequence = pressings(lone, press)
                assert (settings, sequence) == (lone_settings, lone_sequence), where
                pairs = [(sharing, lone), *zip(cases, lone_cases, strict=True)]
                for case, fresh, chosen in zip(cases, lone_cases, settings, strict=True):
                    others = () if chosen is None else (chosen._replace(time_s=7.0), chosen._replace(peel="cold"))
                    for turned in (chosen, *others):
                        pairs.append(
                            (case.pressing_case(press, turned, sequence), fresh.pressing_case(press, turned, sequence))
                        )
                for case, fresh in pairs:
                    shared, own = facts_of(case, rng), facts_of(fresh, rng)
                    differing = {name: (shared[name], own[name]) for name in own if shared[name] != own[name]}
                    assert not differing, f"{where}: {differing}"
                    compared += 1
                several += len(cases) > 1
    assert compared > 1000
    assert several > 100
