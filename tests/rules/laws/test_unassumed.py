"""The same question with nothing assumed is what it would be if nothing had ever been assumed.

Its facts are taken over from the question with assumptions as far as they hang on none (``Case.unassumed``). What was
assumed is told by the rules that are open then: a fact that keeps what was assumed leaves something untold, and so does
one that is sure of itself while it hangs on something unsaid.
"""

from __future__ import annotations

import copy
import dataclasses
import json
import random
from collections.abc import Iterable, Iterator
from contextlib import closing
from itertools import islice
from typing import Any

import numpy as np
import pytest
from cases import shop_of
from tests.rules import random_orders
from tests.rules.laws import questions
from tests.tiers import NIGHTLY, of_this_run

from accord_rules.authority import Authority
from accord_rules.derive import case as cases
from accord_rules.derive.case import Case
from accord_rules.derive.graph import GRAPH
from accord_rules.documents.reading import DocumentError, read
from accord_rules.orders.order import Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Scope
from accord_rules.revision.names import resolve

RANDOM = of_this_run(2, 2, 5) * questions.ORDERS
_OF_SCOPE = {scope: [name for name, fact in GRAPH.facts.items() if fact.scope is scope] for scope in Scope}
# Facts of deciding rules that are known without what is assumed, and otherwise with it.
SURE_OF_THEMSELVES = {
    # A child's cords stay until an age says that it is no child's: to ask for features would not help.
    "item.features",
    # A time to aim at is needed for settings, also where it is not known which face of how large a piece is meant: as a
    # timer is set, and the least that passes for it.
    "window.time_dial_s",
    "window.time_enough_s",
}
DECIDING = ("blocks", "requires")  # what is assumed is told where one of these is open without it
Every = tuple[Case, ...]


def orders(book: Book) -> Iterator[tuple[str, Order, Shop]]:
    """The demo's orders (every other one in README's command), the same with sizes, places and features left out on a
    press of their shop, one after the other by day and each by night, its plans at each shop that takes them, and
    random orders."""
    demo = list(questions.demo_questions())[:: of_this_run(2, 1, 1)]
    shops = {shop.id: shop for _, shop in demo}
    for number, (document, shop) in enumerate(demo):
        yield from _asked(book, document, shop, shop.presses if NIGHTLY else [shop.presses[number % len(shop.presses)]])
    for file in sorted((questions.DEMO / "plans").glob("*.json")):
        for shop in shops.values():
            yield from _resolved(book, file.stem, json.loads(file.read_text(encoding="utf-8")), shop)
    rng = random.Random(f"{questions.SEED} unassumed")
    for _ in range(RANDOM):
        odd = rng.choice((0.3, 0.6, 1.0))
        document, shop = random_orders.order(rng, book, odd=odd), read(Shop, random_orders.shop(rng, book))
        yield from _resolved(book, "random", document, shop)


def _asked(
    book: Book, document: dict[str, Any], shop: Shop, presses: Iterable[Press]
) -> Iterator[tuple[str, Order, Shop]]:
    name = document.get("reference", "unnamed")
    yield from _resolved(book, name, document, shop)
    bare = copy.deepcopy(document)
    for decoration in bare["decorations"]:
        for unsaid in ("size", "placement"):
            decoration.pop(unsaid, None)
    bare.get("item", {}).pop("features", None)
    for press in presses:
        yield from _resolved(book, f"{name} bare on {press.id}", bare | {"press": press.id}, shop)


def _resolved(book: Book, name: str, document: dict[str, Any], shop: Shop) -> Iterator[tuple[str, Order, Shop]]:
    try:
        yield name, resolve(read(Order, document), book, shop), shop
    except DocumentError:
        return  # a shop without that press, or a random order that no shop could send


def anew(every: Every, *, assume: bool) -> Every:
    """The same cases, nothing known of them yet."""
    whole = every[0]
    again = Case(whole.book, whole.shop, whole.order, assume=assume, one_by_one=True)
    decorations = [again.decoration_case(index) for index in range(len(whole.order.decorations))]
    pressings = every[1 + len(decorations) :]
    return (
        again,
        *decorations,
        *(
            decoration.pressing_case(case.press, case.chosen, case.sequence)
            for decoration, case in zip(decorations, pressings, strict=True)
        ),
    )


def taken_over(every: Every) -> Every:
    bare: list[Case] = []
    for case in every:
        wider = None if case.parent is None else bare[every.index(case.parent)]
        bare.append(case.unassumed(wider))
    return tuple(bare)


def plain(value: Any) -> Any:
    """A value that can be compared; what a piece keeps of how it has lain is no part of it."""
    if isinstance(value, np.ndarray):
        return value.tobytes()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = (field.name for field in dataclasses.fields(value) if field.name != "lays")
        return type(value), *(plain(getattr(value, name)) for name in fields)
    return tuple(map(plain, value)) if isinstance(value, tuple) else value


def differing(one: Every, other: Every, names: Iterable[str]) -> Iterator[tuple[str, Any, Any]]:
    """The facts of these names that are not the same of both, with both."""
    wanted = set(names)
    for case, again in zip(one, other, strict=True):
        for name in wanted.intersection(_OF_SCOPE[case.scope]):
            value, fresh = plain(case[name]), plain(again[name])
            if value != fresh:
                yield name, value, fresh


@pytest.fixture(scope="module")
def judged(book: Book, without_remedies: Authority) -> list[tuple[str, Every]]:
    """Orders that were answered, by their names: what they assumed is known by then, as it is to whoever lists it."""
    found = list(asked_of(without_remedies, orders(book)))
    assert len(found) > of_this_run(300, 600, 600)
    return found


def asked_of(authority: Authority, asked: Iterable[tuple[str, Order, Shop]]) -> Iterator[tuple[str, Every]]:
    for name, order, shop in asked:
        answer = authority.judged(order, shop)
        yield name, (answer.whole, *answer.decorations, *answer.best.cases)


def test_every_fact_is_what_it_is_where_nothing_was_ever_assumed(judged: list[tuple[str, Every]]) -> None:
    kept = [
        (name, *difference)
        for name, every in judged
        for difference in differing(taken_over(every), anew(every, assume=False), GRAPH.facts)
    ]
    assert not kept, kept[:3]


def test_what_a_deciding_rule_names_is_unknown_while_it_hangs_on_what_is_assumed(
    book: Book, judged: list[tuple[str, Every]]
) -> None:
    conditions = {name for rule in book.rules.values() if rule.level in DECIDING for name in rule.condition.facts}
    sure = {
        (fact, name, str(bare)[:80], str(value)[:80])
        for name, every in judged
        for fact, bare, value in differing(anew(every, assume=False), anew(every, assume=True), conditions)
        if bare is not None and fact not in SURE_OF_THEMSELVES
    }
    assert not sure, sorted(sure)[:5]


def test_the_law_finds_what_is_kept(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is forgotten that hangs on what was assumed; of an authority that nobody else asks, as it keeps what it
    is told wrongly."""
    monkeypatch.setattr(cases, "_touched", lambda assumed: frozenset(assumed))
    with closing(Authority(book)) as misled:
        judged = list(asked_of(misled, islice(orders(book), 60)))
    kept = {
        fact for _, every in judged for fact, *_ in differing(taken_over(every), anew(every, assume=False), GRAPH.facts)
    }
    assert len(kept) > 10


def test_a_hand_held_press_says_that_it_takes_the_size_for_granted(book: Book, authority: Authority) -> None:
    """How much of the platen bears on a small stiff piece is what dips it, and hangs on the print's size."""
    shop = shop_of(book, presses=[{"id": "hand", "type": "hand-held"}])
    item = {"substrate": "hardboard", "coating": "polyester-clear"}
    document = {"item": item, "decorations": [{"transfer": "dye-sublimation"}], "press": "hand"}
    answer = authority.judged(resolve(read(Order, document), book, shop), shop)
    every = (answer.whole, *answer.decorations, *answer.best.cases)
    assert every[-1]["heat.estimated"]
    assert every[-1]["fit.covered"] < 1
    bare = taken_over(every)[-1]
    assert (bare["fit.covered"], bare["heat.lay"], bare["heat.estimated"]) == (None, None, None)
    assert "/decorations/0/size" in bare.causes("heat.estimated")
