"""No plan shows a fraction, whatever the order, the press and the shop's unit; what is shown is what was judged.

Displays show whole degrees and timers whole seconds: common practice, no source. That a plan passes every rule with
these very settings is the law of ``test_laws``: its plans are put back as orders.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from typing import Any

from tests.rules.laws.questions import ORDERS, SEED, opened, questions

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.reading import Quantity, read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

_TIMES = ("time", "pre_press", "second_press")


def shown(settings: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Every temperature and time that settings give, of each pressing."""
    for table in (settings, *settings.get("pressings", {}).values()):
        yield from ((name, table[name]) for name in ("temperature", *_TIMES) if name in table)


def whole(name: str, value: str, shop: Shop) -> bool:
    dimension = units.TIME if name in _TIMES else units.TEMPERATURE
    unit = shop.units.unit(dimension)
    number = unit.outside(Quantity(dimension, zero=True).leaf(value))
    return abs(number - round(number)) < 1e-6


def test_no_plan_shows_a_fraction(book: Book, authority: Authority) -> None:
    rng = random.Random(SEED)
    seen = {"temperature": 0, "pressings": 0}
    for order, shop in questions(book, ORDERS, "whole", open_settings=True, decorations=3, odd=0.1):
        for plan in authority.recommend(read(Order, opened(order, rng)), shop).plans:
            for planned in plan.decorations:
                for name, value in shown(dict(planned.settings)):
                    assert whole(name, value, shop), f"ACCORD_SEED={SEED}: {name} {value}: {json.dumps(order)}"
                    seen["temperature"] += name == "temperature"
                seen["pressings"] += "pressings" in planned.settings
    assert seen["temperature"] > ORDERS / 4
    assert seen["pressings"] > ORDERS / 20
