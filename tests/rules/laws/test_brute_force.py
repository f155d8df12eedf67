"""Where no plan is given none is possible: the other half of the law that every plan validates, by brute force.

No outside source: what the search gives up is held against orders filled in at random.
"""

from __future__ import annotations

import json
import random
from typing import Any

from tests.rules.laws.questions import ORDERS, SEED, WORKABLE, opened, questions
from tests.tiers import of_this_run

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.sheet import PEELS, PRESSURES
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

FILLINGS = of_this_run(60, 60, 120)


def test_where_there_is_no_plan_brute_force_finds_none(book: Book, authority: Authority) -> None:
    rng = random.Random(SEED)
    searched = 0
    for order, shop in questions(book, ORDERS, "none", open_settings=True, decorations=2, odd=0.1):
        order_opened = opened(order, rng)
        recommendation = authority.recommend(read(Order, order_opened), shop)
        if recommendation.plans:
            continue
        searched += 1
        for filling in brute_force(order_opened, shop, book, rng, FILLINGS):
            verdict = authority.judge(read(Order, filling), shop)
            assert verdict.verdict not in WORKABLE, f"ACCORD_SEED={SEED}: {json.dumps(filling)}"
    assert searched > ORDERS / 10, "too few orders without a plan to mean anything"


def brute_force(order: dict[str, Any], shop: Shop, book: Book, rng: random.Random, count: int) -> list[dict[str, Any]]:
    """Orders with everything that was open filled in at random from all that the book and the shop have."""
    return [filled(order, shop, book, rng) for _ in range(count)]


def filled(order: dict[str, Any], shop: Shop, book: Book, rng: random.Random) -> dict[str, Any]:
    decorations = []
    for decoration in order["decorations"]:
        named = decoration.get("transfer")
        stocked = [p for p in shop.stock.products if named in (None, p, book.catalogue["products"][p].family)]
        transfer = rng.choice(stocked or [named])
        sheets = ["none", *book.catalogue["consumables"]]
        settings = {
            "temperature": f"{rng.randint(90, 235)} °C",
            "read_at": rng.choice(["display", "surface"]),
            "time": f"{rng.choice([5, 8, 10, 12, 15, 20, 30, 45, 60, 75, 90, 120, 180, 240, 400])} s",
            "pressure": rng.choice(PRESSURES),
            "peel": rng.choice(PEELS),
            "cover": rng.choice(sheets),
            "pad": rng.choice(sheets),
            "tape": rng.choice(sheets),
            "pre_press": f"{rng.choice([0, 4, 5])} s",
            "second_press": f"{rng.choice([0, 5, 10])} s",
        }
        chosen = {key: value for key, value in settings.items() if rng.random() < 0.3}
        decorations.append(decoration | {"settings": chosen} | ({"transfer": transfer} if transfer else {}))
    press = order.get("press") or rng.choice(shop.presses).id
    return order | {"decorations": decorations, "press": press}
