"""Practice points beside plans and the heat estimate: ``python tests/rules/heat/practice_table.py``.

The residual is how many K hotter or cooler the print likely gets than its dose needs in that dwell: negative is short.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np

from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.heat.response import at_time
from accord_rules.load.examples import pressing_cases
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Blank, PracticePoint
from accord_rules.revision.names import resolve

# In a colour that shows no dye of the piece.
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
    size = point.size
    width, height = (size.width, size.height) if size else (min(area.width, SIDE_MM), min(area.height, SIDE_MM))
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


def pressed_at_point(point: PracticePoint, book: Book) -> Case:
    """The pressing with the point's own settings, at the middle of its spans."""
    settings = {
        "temperature": f"{middle(point.temperature)} °C",
        "read_at": point.read_at,
        "time": f"{middle(point.time)} s",
    }
    sheets = {"cover": point.cover, "pad": point.pad}
    settings |= {name: sheet for name, sheet in sheets.items() if sheet is not None}
    shop = shop_of(book)
    order = resolve(order_of(point, book, **settings), book, shop)
    assert order.press is not None
    assert not isinstance(order.press, str)
    return pressing_cases(Case(book, shop, order), order.press)[0]


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


# What the doses are held against: one temperature to be at for so long before the end, by what holds the print on.
THRESHOLDS = {"dye-vapour": (170.0, 20.0), "patch": (110.0, 2.0), "label": (110.0, 2.0)}
BELOW_LEAST_K, HOLD_S = 12.0, 2.0
SHORT_K = 3.0


def residuals_k(case: Case) -> tuple[float, float] | None:
    """K that the print has over its dose, and over a threshold held to the end; None without an estimate."""
    curves = case["heat.curves"]
    if curves is None:
        return None
    need_c, hold_s = THRESHOLDS.get(case.transfer.principle, (case["transfer.least_c"] - BELOW_LEAST_K, HOLD_S))
    return -case["heat.short_k"], at_time(curves[1], case.chosen.time_s - hold_s) - need_c


def _time(seconds: float) -> str:
    return f"{seconds:.0f}" if isfinite(seconds) else "-"


def rows(authority: Authority) -> Iterator[str]:
    points = authority.book.catalogue["practice"]
    over_k: list[tuple[float, float]] = []
    yield f"{'point':38}{'press':18}{'set':>24}  {'plan':>14}  {'enough after s, by estimate':30}{'residual':>9}"
    for name, point in points.items():
        setting = f"{words(units.TEMPERATURE, point.temperature)}, {words(units.TIME, point.time)}"
        plan = planned(point, authority)
        plan_words = "none" if plan is None else f"{plan.display_c:.0f} °C, {plan.time_s:.0f} s"
        mark = "" if plan is not None and plan.near else " (own sheet)" if point.own_sheet else " (off)"
        case = pressed_at_point(point, authority.book)
        estimate, residuals = case["heat.estimate"], residuals_k(case)
        if residuals is None:
            yield f"{name:38}{point.press:18}{setting:>24}  {plan_words:>14}  {'no estimate':39}{mark}"
            continue
        over_k.append(residuals)
        soon, likely, late = map(_time, estimate.reach_s)
        cold = " too little even if everything helps" if case["heat.surely_cold"] else ""
        yield (
            f"{name:38}{point.press:18}{setting:>24}  {plan_words:>14}  {f'{likely} ({soon} to {late})':30}"
            f"{residuals[0]:+8.1f} K{mark}{cold}"
        )
    yield f"A plan is off where it lies more than {NEAR_K:g} K or {NEAR_SHARE:.0%} of the dwell outside the point."
    for title, column in ("its dose", 0), ("a threshold held to the end", 1):
        residual = np.array([pair[column] for pair in over_k])
        yield (
            f"Against {title}: {int((residual < -SHORT_K).sum())} of {len(residual)} points short by more than "
            f"{SHORT_K:g} K, the worst by {-residual.min():.0f} K; spread {residual.std():.0f} K."
        )


def main() -> None:
    with closing(Authority(load_book())) as authority:
        for row in rows(authority):
            print(row)


if __name__ == "__main__":
    main()
