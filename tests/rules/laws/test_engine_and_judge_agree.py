"""The engine and the plain judge answer every question of random orders over the shipped book alike.

``ACCORD_DIFFERENTIAL`` sets how many orders, ``ACCORD_SEED`` repeats a run. No outside source: two independent
readings of one book are held against each other.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator

import pytest
import random_orders
from tests.tiers import of_this_run

from accord_rules.advise.plans import presses_of
from accord_rules.derive.case import Case
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Scope
from accord_rules.revision.names import resolve
from accord_rules.weigh.scales import Scales

SEED = int(os.environ.get("ACCORD_SEED", "20261125"))
ORDERS = int(os.environ.get("ACCORD_DIFFERENTIAL") or of_this_run(300, 900, 900))
ORDERS_A_SHOP = 50


@pytest.fixture
def scales(book: Book) -> Iterator[Scales]:
    weighing = Scales(book, answers_most=0)  # the engine is asked each time
    yield weighing
    weighing.close()


def questions(book: Book) -> Iterator[tuple[Order, Shop]]:
    """Random orders at random shops: one shop for some orders, as it is in practice."""
    rng = random.Random(f"{SEED} differential")
    shop: Shop | None = None
    for number in range(ORDERS):
        if shop is None or number % ORDERS_A_SHOP == 0:
            shop = read(Shop, random_orders.shop(rng, book))
        document = random_orders.order(rng, book, odd=rng.choice((0.1, 0.5, 1.0)))
        yield resolve(read(Order, document), book, shop), shop


def weigh_everywhere(order: Order, shop: Shop, scales: Scales) -> frozenset[str]:
    """Ask the rules of every scope, on every press that may take the order; what fired.

    The first press's pressings are asked with nothing assumed as well, as for what a verdict says was assumed.
    """
    whole = Case(scales.book, shop, order)
    decorations = [whole.decoration_case(index) for index in range(len(order.decorations))]
    weighed = [scales.weigh(case) for case in (whole, *decorations)]
    on_presses = [scales.on_press(decorations, press) for press in presses_of(order, shop)]
    weighed += [on_press.weighed for on_press in on_presses]
    bare = Case(scales.book, shop, order, assume=False)
    bare_decorations = [bare.decoration_case(decoration.index) for decoration in decorations]
    weighed += [scales.weigh(case) for case in (bare, *bare_decorations)]
    for first in on_presses[:1]:
        pressings = zip(bare_decorations, first.cases, strict=True)
        weighed += [
            scales.weigh(decoration.pressing_case(first.press, case.chosen, first.sequence))
            for decoration, case in pressings
        ]
    return frozenset(fired.rule.id for outcome in weighed for fired in outcome.fired)


def test_engine_and_judge_agree_on_random_orders(book: Book, scales: Scales) -> None:
    fired: set[str] = set()
    for order, shop in questions(book):
        fired |= weigh_everywhere(order, shop, scales)
    counts = scales.counts
    account = f"ACCORD_SEED={SEED} ACCORD_DIFFERENTIAL={ORDERS}: {counts}, {len(fired)} rules fired"
    print(account)
    assert counts.questions > ORDERS, account
    assert counts.disagreements == 0, account
    assert counts.engine_errors == 0, account
    by_scope = {scope: [r.id for r in book.rules.values() if r.scope is scope] for scope in Scope}
    for scope, rules in by_scope.items():
        assert fired & set(rules), f"no rule about {scope.value} fired: {account}"
