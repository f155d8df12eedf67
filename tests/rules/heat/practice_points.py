"""Practice points of the book as orders: the piece, the transfer and the press, with or without the point's settings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.load.examples import pressing_cases
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Blank, PracticePoint
from accord_rules.revision.names import resolve

# Cloth and boards are tried in a colour that shows no dye of theirs; every test and declaration is at hand, so that only
# heat, time and pressure are left to choose.
PRINT = {"colours": 1, "mirrored": True, "palette": ["#202020"]}
SIDE_MM = 90.0
# A plan reproduces a point within these.
NEAR_K, NEAR_SHARE = 5.0, 0.2
ROUNDING = 1e-6


def shop_of(book: Book) -> Shop:
    """The example shop with everything in stock, setting °C."""
    stock = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    return read(Shop, {**book.documents["base_example"]["shop"], "stock": stock, "unit_system": "metric"})


def _piece(point: PracticePoint, book: Book) -> tuple[dict[str, Any], str, dict[str, str]]:
    """The item, the placement and the size of the print."""
    if point.blank is None:
        item = {"substrate": point.substrate, "coating": "dye-receptive", "colour": "white"}
        assert point.size is not None
        return {**item, "thickness": f"{point.thickness} mm"}, "face", _size(point.size.width, point.size.height)
    blank: Blank = book.catalogue["blanks"][point.blank]
    placement, area = next(iter(blank.areas.items()))
    own = point.size
    width, height = (own.width, own.height) if own else (min(area.width, SIDE_MM), min(area.height, SIDE_MM))
    return {"blank": point.blank}, placement, _size(width, height)


def _size(width_mm: float, height_mm: float) -> dict[str, str]:
    return {"width": f"{width_mm:g} mm", "height": f"{height_mm:g} mm"}


def order_of(point: PracticePoint, book: Book, **settings: str) -> Order:
    """The point as an order; ``settings`` for its decoration."""
    item, placement, size = _piece(point, book)
    decoration: dict[str, Any] = {
        "transfer": point.transfer,
        "placement": placement,
        "size": size,
        "artwork": PRINT,
        "settings": settings,
    }
    return read(Order, {"item": item, "decorations": [decoration], "press": {"type": point.press}})


def pressed_as_said(point: PracticePoint, book: Book) -> Case:
    """The pressing with the point's own settings, at the middle of its spans."""
    said = {
        "temperature": f"{middle(point.temperature)} °C",
        "read_at": point.read_at,
        "time": f"{middle(point.time)} s",
    }
    sheets = {"cover": point.cover, "pad": point.pad}
    said |= {name: sheet for name, sheet in sheets.items() if sheet is not None}
    shop = shop_of(book)
    order = resolve(read_settings(point, book, said), book, shop)
    assert order.press is not None
    assert not isinstance(order.press, str)
    return pressing_cases(Case(book, shop, order), order.press)[0]


def read_settings(point: PracticePoint, book: Book, said: dict[str, str]) -> Order:
    return order_of(point, book, **said)


def middle(span: tuple[float, ...]) -> float:
    return sum(span) / len(span)


@dataclass(frozen=True, slots=True)
class Planned:
    """What recommend sets for a point's piece; ``off_k`` and ``off_share`` lie outside the point's spans."""

    display_c: float
    time_s: float
    off_k: float
    off_share: float

    @property
    def near(self) -> bool:
        return abs(self.off_k) <= NEAR_K + ROUNDING and abs(self.off_share) <= NEAR_SHARE + ROUNDING


def planned(point: PracticePoint, authority: Authority) -> Planned | None:
    """The settings that are chosen where the order leaves them open, whatever else there is to say of it."""
    shop = shop_of(authority.book)
    order = resolve(order_of(point, authority.book), authority.book, shop)
    assert order.press is not None
    assert not isinstance(order.press, str)
    chosen = pressing_cases(Case(authority.book, shop, order), order.press)[0].chosen
    if chosen is None or chosen.surface_c is None or chosen.display_c is None or chosen.time_s is None:
        return None
    set_c = chosen.display_c if point.read_at == "display" else chosen.surface_c
    beyond_s = _beyond(chosen.time_s, point.time)
    nearest_s = chosen.time_s - beyond_s
    return Planned(set_c, chosen.time_s, _beyond(set_c, point.temperature), beyond_s / nearest_s)


def _beyond(value: float, span: tuple[float, ...]) -> float:
    """How far a value lies outside a span, negative below it."""
    least, most = span[0], span[-1]
    return min(value - least, 0.0) + max(value - most, 0.0)


def words(dimension: units.Dimension, span: tuple[float, ...]) -> str:
    unit = "°C" if dimension is units.TEMPERATURE else "s"
    return "-".join(f"{value:g}" for value in span) + f" {unit}"
