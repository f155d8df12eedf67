"""Facts worked out a layer at a time, and those taken over where nothing is assumed, are what they are one by one."""

from __future__ import annotations

import random
from collections.abc import Iterator
from unittest import mock

import pytest
from tests.rules import random_orders

from accord_rules.authority import Authority
from accord_rules.derive import case as cases
from accord_rules.derive.case import Case
from accord_rules.derive.filling import certain
from accord_rules.documents.reading import DocumentError, read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve

ORDERS = 25


@pytest.fixture(scope="module")
def judged(book: Book, authority: Authority) -> list[tuple[Case, ...]]:
    """The cases of random orders, each with its decorations' and its pressings'."""
    rng, found = random.Random(4), []
    while len(found) < ORDERS:
        shop = read(Shop, random_orders.shop(rng, book))
        try:
            order = resolve(read(Order, random_orders.order(rng, book, odd=0.5)), book, shop)
        except DocumentError:
            continue
        answer = authority.judged(order, shop)
        found.append((answer.whole, *answer.decorations, *answer.best.cases))
    return found


def anew(every: tuple[Case, ...], *, assume: bool) -> Iterator[Case]:
    """The same cases with nothing known yet and no layer worked out together."""
    whole = every[0]
    with mock.patch.object(cases, "fillers", return_value={}):
        again = Case(whole.book, whole.shop, whole.order, assume=assume)
    yield again
    count = len(whole.order.decorations)
    decorations = [again.decoration_case(index) for index in range(count)]
    yield from decorations
    for decoration, pressing in zip(decorations, every[1 + count :], strict=True):
        yield decoration.pressing_case(pressing.press, pressing.chosen, pressing.sequence)


def test_layers_hold_what_their_facts_are(book: Book, judged: list[tuple[Case, ...]]) -> None:
    for every in judged:
        for case, again in zip(every, anew(every, assume=True), strict=True):
            known = book.named_facts & case.known.keys()
            assert len(known) > 40
            assert {name: case[name] for name in known} == {name: again[name] for name in known}


def test_with_nothing_assumed_they_are_what_they_would_be_anew(book: Book, judged: list[tuple[Case, ...]]) -> None:
    of_scope = {
        scope: sorted({fact for rule in book.rules.values() if rule.scope is scope for fact in rule.condition.facts})
        for scope in {rule.scope for rule in book.rules.values()}
    }
    for every in judged:
        bare: list[Case] = []
        for case, again in zip(every, anew(every, assume=False), strict=True):
            bare.append(case.unassumed(bare[place_of_wider(every, case)] if bare else None))
            for name in of_scope[case.scope]:
                assert bare[-1][name] == again[name], name
                assert bare[-1].causes(name) == again.causes(name), name


def place_of_wider(every: tuple[Case, ...], case: Case) -> int:
    """Where the case that this one belongs to stands among them."""
    return next(place for place, other in enumerate(every) if other is case.parent)


def test_what_is_sure_to_be_read_is_read(book: Book) -> None:
    assert certain(["item.textile"]) >= {"item.textile"}
    assert certain(book.named_facts) >= book.named_facts
