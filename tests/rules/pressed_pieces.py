"""Everyday pieces on everyday presses, as cases and as orders."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_rules.weigh.choice import choose

PRESSES = ("hand-held", "clamshell", "pneumatic-single")
SIZE = {"width": "90 mm", "height": "90 mm"}
SHIRT: Mapping[str, Any] = {
    "item": {"substrate": "knit", "fibres": {"CO": 100}, "colour": "white", "thickness": "0.5 mm"},
    "decorations": [{"transfer": "cut-film", "placement": "front", "size": SIZE}],
}
COASTER: Mapping[str, Any] = {
    "item": {"substrate": "hardboard", "coating": "polyester-white-gloss", "colour": "white", "thickness": "3 mm"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "face", "size": SIZE}],
}
TILE: Mapping[str, Any] = {
    "item": {"substrate": "ceramic-tile", "coating": "dye-receptive", "colour": "white", "thickness": "6 mm"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "face", "size": SIZE}],
}
STONES: Mapping[str, Any] = {
    "item": SHIRT["item"],
    "decorations": [{"transfer": "hot-fix-stones", "placement": "front", "size": SIZE}],
}
PIECES = {"shirt": SHIRT, "coaster": COASTER, "tile": TILE}


def shop_of(book: Book, *presses: str, unit_system: str = "metric") -> Shop:
    """The example shop with everything in stock and these types of press, each under its type's name."""
    stock = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    document = {**book.documents["base_example"]["shop"], "stock": stock, "unit_system": unit_system}
    return read(Shop, document | {"presses": [{"id": press_type, "type": press_type} for press_type in presses]})


def asking(piece: Mapping[str, Any], press: str, **settings: str) -> dict[str, Any]:
    """The piece as an order document, with settings for its decoration."""
    decoration = piece["decorations"][0] | ({"settings": settings} if settings else {})
    return {**piece, "decorations": [decoration], "press": press}


def pressed(book: Book, piece: Mapping[str, Any], press: str, **settings: str) -> tuple[Case, Chosen]:
    """The case of the piece's decoration on a press, with the settings chosen for it."""
    shop = shop_of(book, press)
    order = resolve(read(Order, asking(piece, press, **settings)), book, shop)
    decoration = Case(book, shop, order).decoration_case(0)
    chosen_press = shop.press(press)
    assert chosen_press is not None
    chosen = choose(decoration.pressing_case(chosen_press))
    assert chosen is not None
    return decoration.pressing_case(chosen_press, chosen), chosen
