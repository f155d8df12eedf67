"""Cases over the shipped book, made from order and shop documents laid on the book's quiet example."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

from accord_rules.derive.case import Case
from accord_rules.documents.files import merge
from accord_rules.documents.reading import read
from accord_rules.load.examples import example_order, pressing_cases
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_rules.verdict import PlannedStep

Document = dict[str, Any]


def order_document(book: Book, **parts: Any) -> Document:
    """The quiet order; ``decoration`` is laid on its first decoration, the other parts on its top."""
    base = copy.deepcopy(dict(book.documents["base_example"]["order"]))
    decoration = parts.pop("decoration", {})
    base["decorations"] = [merge(base["decorations"][0], decoration)]
    return merge(base, parts)


def shop_of(book: Book, **parts: Any) -> Shop:
    return read(Shop, merge(copy.deepcopy(dict(book.documents["base_example"]["shop"])), parts))


def firing_orders(book: Book) -> Iterator[tuple[str, Order, Shop]]:
    """Each order that a rule of the book gives as one that makes it fire, after the rule's name."""
    for rule in book.rules.values():
        for example in rule.fires:
            if "facts" not in example:
                yield rule.id, *example_order(example, book)


def sentence(steps: tuple[PlannedStep, ...], name: str) -> str:
    """The sentence of one step of a plan; the test fails where it is not there just once."""
    (step,) = (step for step in steps if step.id == name)
    return step.text


def stand_in_order(steps: tuple[PlannedStep, ...], *names: str) -> bool:
    """Whether the steps of these names are there, each once, in this order."""
    there = [step.id for step in steps if step.id in names]
    return there == list(names)


def house_rule(when: str) -> Document:
    """A house's own rule on settings, as its shop writes it; its examples show nothing."""
    return {
        "level": "blocks",
        "title": "Not in this house",
        "about": "settings",
        "when": when,
        "because": "It is not done here.",
        "fix": "Do it elsewhere.",
        "sources": ["common-practice"],
        "fires": [{"facts": {}}],
        "silent": [{"facts": {}}],
    }


def whole_case(book: Book, shop: Shop | None = None, **parts: Any) -> Case:
    shop = shop or shop_of(book)
    order = resolve(read(Order, order_document(book, **parts)), book, shop)
    return Case(book, shop, order)


def decoration_case(book: Book, shop: Shop | None = None, **parts: Any) -> Case:
    return whole_case(book, shop, **parts).decoration_case(0)


def pressing(book: Book, shop: Shop | None = None, press: Document | None = None, index: int = 0, **parts: Any) -> Case:
    """The decoration at ``index`` on the press, settings chosen; ``press`` describes one, else the shop's first is
    meant."""
    shop = shop or shop_of(book)
    if press is not None:
        parts["press"] = press
    whole = whole_case(book, shop, **parts)
    named = whole.order.press
    on = shop.press(named) if isinstance(named, str) else named
    return pressing_cases(whole, on or shop.presses[0])[index]
