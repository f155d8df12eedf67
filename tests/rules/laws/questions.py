"""Random questions for the laws: orders at random shops, the same ones for the same salt and seed.

``ACCORD_SEED`` repeats a run, ``ACCORD_LAWS`` sets how many orders a law is tried on; else ``tests/tiers.py`` says it.
"""

from __future__ import annotations

import copy
import json
import os
import random
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import random_orders
from tests.tiers import of_this_run

from accord_rules.documents.reading import read
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

SEED = int(os.environ.get("ACCORD_SEED", "20261125"))
ORDERS = int(os.environ.get("ACCORD_LAWS") or of_this_run(30, 60, 60))
WORKABLE = ("accepted", "conditional")
DEMO = Path(__file__).parents[3] / "demo"
Document = dict[str, Any]
Question = tuple[Document, Shop]


def questions(book: Book, count: int, salt: str, **how: Any) -> list[Question]:
    rng = random.Random(f"{SEED} {salt}")
    return [(random_orders.order(rng, book, **how), read(Shop, random_orders.shop(rng, book))) for _ in range(count)]


def opened(order: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """The order with some of its transfers left open; a sheet is that of a transfer, and goes with it."""
    decorations = [{k: v for k, v in d.items() if k != "transfer" or rng.random() < 0.4} for d in order["decorations"]]
    decorations = [d if "transfer" in d else {k: v for k, v in d.items() if k != "sheet"} for d in decorations]
    return order | {"decorations": decorations}


def demo_questions() -> Iterator[Question]:
    """The demo's orders, each at its shop."""
    shops = {
        file.stem: read(Shop, tomllib.loads(file.read_text(encoding="utf-8")))
        for file in (DEMO / "shops").glob("*.toml")
    }
    expected = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    for name, wanted in expected.items():
        yield json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8")), shops[wanted["shop"]]


def with_answer(order: Document, pointer: str, answer: Any) -> Document:
    """The order with what is said at a pointer that a need or an assumption names."""
    answered = copy.deepcopy(order)
    *path, last = pointer.split("/")[1:]
    place: Any = answered
    for step in path:
        place = place[int(step)] if isinstance(place, list) else place.setdefault(step, {})
    place[last] = answer
    return answered
