"""Random questions for the laws: orders at random shops, the same ones for the same salt and seed.

``ACCORD_SEED`` repeats a run, ``ACCORD_LAWS`` sets how many orders a law is tried on.
"""

from __future__ import annotations

import os
import random
from typing import Any

import random_orders

from accord_rules.documents.reading import read
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

SEED = int(os.environ.get("ACCORD_SEED", "20261125"))
ORDERS = int(os.environ.get("ACCORD_LAWS", "120"))
WORKABLE = ("accepted", "conditional")


def questions(book: Book, count: int, salt: str, **how: Any) -> list[tuple[dict[str, Any], Shop]]:
    rng = random.Random(f"{SEED} {salt}")
    return [(random_orders.order(rng, book, **how), read(Shop, random_orders.shop(rng, book))) for _ in range(count)]


def opened(order: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """The order with some of its transfers left open."""
    kept = [{k: v for k, v in d.items() if k != "transfer" or rng.random() < 0.4} for d in order["decorations"]]
    return order | {"decorations": kept}
