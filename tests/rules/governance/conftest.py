"""Change sets and recorded orders for the governance tests."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from typing import Any

import pytest
import random_orders
from tests.tiers import of_this_run

from accord_rules.documents.reading import read
from accord_rules.governance.changes import EntryChange, entry_digest
from accord_rules.governance.comparison import RecordedOrder
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

SEED = int(os.environ.get("ACCORD_SEED", "20261125"))
LAWS = int(os.environ.get("ACCORD_LAWS") or of_this_run(30, 60, 60))


@pytest.fixture(scope="session")
def changed(book: Book) -> Callable[..., EntryChange]:
    """An entry of the book with some of its keys changed, as a change that says what it was before."""

    def change(kind: str, name: str, /, **keys: Any) -> EntryChange:
        before = entry_digest(book.documents, kind, name)
        return EntryChange(kind, name, dict(book.documents[kind].get(name, {})) | keys, before)

    return change


@pytest.fixture(scope="session")
def random_questions(book: Book) -> Callable[..., list[tuple[Order, Shop]]]:
    """Random orders at random shops; the same ones for the same salt and seed."""

    def questions(count: int, salt: str, **how: Any) -> list[tuple[Order, Shop]]:
        rng = random.Random(f"{SEED} {salt}")
        return [
            (read(Order, random_orders.order(rng, book, **how)), read(Shop, random_orders.shop(rng, book)))
            for _ in range(count)
        ]

    return questions


@pytest.fixture(scope="session")
def recorded(random_questions: Callable[..., list[tuple[Order, Shop]]]) -> list[RecordedOrder]:
    """Thirty recorded orders of three shops."""
    questions = random_questions(30, "recorded", odd=0.3)
    return [RecordedOrder.of(f"rec_{n:03}", f"shop-{n % 3}", shop, order) for n, (order, shop) in enumerate(questions)]


@pytest.fixture(scope="session")
def laws() -> int:
    """How many random orders a law is tried on."""
    return LAWS
