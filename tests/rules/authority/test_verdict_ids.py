"""What a verdict's id is taken over: whatever the answer may hang on, and nothing else.

Source: the collective's own agreement (a choice of this project): the id names code, book, house and order, so that a
replay can say which of them made a difference.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from accord_rules.authority import Authority, code_digest
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

SHOP: dict[str, Any] = {
    "id": "weir-court",
    "name": "Weir Court",
    "market": "eu",
    "unit_system": "metric",
    "standing": [],
    "presses": [{"id": "bench", "type": "swing-away"}],
    "stock": {"products": ["sub-paper-fast-dry"], "consumables": ["ptfe-sheet"]},
}
ORDER: dict[str, Any] = {
    "reference": "WC-1",
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "front", "size": {"width": "8 in", "height": "8 in"}}],
    "quantity": 12,
}


def id_of(authority: Authority, order: dict[str, Any] = ORDER, shop: dict[str, Any] = SHOP) -> str:
    return authority.validate(read(Order, order), read(Shop, shop)).id


@pytest.fixture
def next_book(book: Book) -> Iterator[Authority]:
    """The same entries as another revision."""
    authority = Authority(replace(book, revision=book.revision + 1))
    yield authority
    authority.close()


def test_other_code_gives_another_id(authority: Authority, monkeypatch: pytest.MonkeyPatch) -> None:
    """The derivations may have changed though book, house and order did not."""
    before = id_of(authority)
    monkeypatch.setattr("accord_rules.authority.code_digest", lambda: "sha256:of-other-code")
    assert id_of(authority) != before


def test_another_revision_shop_or_order_gives_another_id(authority: Authority, next_book: Authority) -> None:
    more = {**SHOP, "standing": ["trained-operators"]}
    ids = [
        id_of(authority),
        id_of(next_book),
        id_of(authority, shop=more),
        id_of(authority, {**ORDER, "quantity": 13}),
    ]
    assert len(set(ids)) == 4


def test_what_means_the_same_has_the_same_id(authority: Authority) -> None:
    same = {**ORDER, "reference": "WC-2", "decorations": [{**ORDER["decorations"][0]}]}
    same["decorations"][0]["size"] = {"width": "203.2 mm", "height": "20.32 cm"}
    assert id_of(authority, same) == id_of(authority)


def test_wishes_turn_no_verdict_and_are_no_part_of_its_id(authority: Authority) -> None:
    """What a shop would rather have ranks plans alone: the same order has the same verdict, to the byte."""
    shop = read(Shop, SHOP)
    plain = authority.validate(read(Order, ORDER), shop)
    wished = authority.validate(read(Order, ORDER | {"prefer": ["cost", "speed"]}), shop)
    assert wished == plain
    (best, *_) = authority.recommend(read(Order, ORDER | {"prefer": ["cost"]}), shop).plans
    (same, *_) = authority.recommend(read(Order, ORDER), shop).plans
    assert best.verdict_id == same.verdict_id


def test_the_code_is_known_by_its_digest() -> None:
    assert code_digest().startswith("sha256:")
    assert len(code_digest()) == len("sha256:") + 64
