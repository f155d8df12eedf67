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
from accord_rules.derive.shared import KeptFacts
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


def of_another_job(order: Order, decorations: list[Decoration], rng: random.Random) -> Order:
    """The same piece and transfers in another quantity, with prints of other sizes and artwork."""
    prints = (
        replace(decoration, size=other.size, rim_distance=other.rim_distance, artwork=other.artwork)
        for decoration, other in zip(order.decorations, rng.choices(decorations, k=12), strict=False)
    )
    fibres = order.item.fibres
    item = order.item if fibres is None else replace(order.item, fibres=dict(reversed(fibres.items())))
    due_in = rng.choice((None, 3600.0, 86400.0))
    return replace(order, item=item, decorations=tuple(prints), quantity=rng.randint(1, 500), due_in=due_in)


def with_its_prints(whole: Case, press: Press) -> list[Case]:
    cases, settings, sequence = pressings(whole, press)
    return [
        whole,
        *cases,
        *(
            case.pressing_case(press, chosen, sequence)
            for case, chosen in zip(cases, settings, strict=True)
            if chosen is not None
        ),
    ]


def test_what_is_kept_of_a_piece_is_what_each_order_finds(book: Book) -> None:
    """With and without assumptions, whatever orders came before."""
    rng = random.Random(f"{SEED} kept")
    pairs = list(random_pairs(book, max(ORDERS // 10, 20), "kept"))
    decorations = [decoration for order, _ in pairs for decoration in order.decorations]
    kept = KeptFacts(most=1000)
    compared = found_again = 0
    for order, shop in pairs:
        for _ in range(TURNS):
            mixed, press = of_another_job(order, decorations, rng), rng.choice(shop.presses)
            where = f"ACCORD_SEED={SEED}: {mixed} on {press}"
            root = kept.of(book.digest, shop, mixed)
            found_again += bool(root.facts)
            sharing = with_its_prints(Case(book, shop, mixed, kept=root), press)
            fresh = with_its_prints(Case(book, shop, mixed), press)
            bare: dict[Case | None, Case] = {}
            for case, lone in zip(sharing, fresh, strict=True):
                shared, own = facts_of(case, rng), facts_of(lone, rng)
                differing = {name: (shared[name], own[name]) for name in own if shared[name] != own[name]}
                assert not differing, f"{where}: {differing}"
                for one, parent in ((case, case.parent), (lone, lone.parent)):
                    bare[one] = one.unassumed(bare.get(parent))
                shared, own = facts_of(bare[case], rng), facts_of(bare[lone], rng)
                differing = {name: (shared[name], own[name]) for name in own if shared[name] != own[name]}
                assert not differing, f"{where}, nothing assumed: {differing}"
                blamed = {name: bare[lone].causes(name) for name in own if own[name] is None}
                assert {name: bare[case].causes(name) for name in blamed} == blamed, where
                compared += 1
    assert compared > 300
    assert found_again > 30
