"""A shop under another revision than the one it was set up with: what that revision does not know is left out."""

from __future__ import annotations

from dataclasses import replace

from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.markets import ELSEWHERE
from accord_rules.revision.names import fitting_names


def fitting(book: Book, shop: Shop) -> Shop | None:
    """The shop with the stock, the presses and the names that the book knows; None where no press is left."""
    catalogue = book.catalogue
    presses = tuple(press for press in shop.presses if press.type in catalogue["press_types"])
    stock = replace(
        shop.stock,
        products=tuple(name for name in shop.stock.products if name in catalogue["products"]),
        consumables=tuple(name for name in shop.stock.consumables if name in catalogue["consumables"]),
    )
    if not presses:
        return None
    market = shop.market if shop.market in catalogue["markets"] else ELSEWHERE
    known = replace(shop, market=market, presses=presses, stock=stock)
    return replace(known, names=fitting_names(known, book))
