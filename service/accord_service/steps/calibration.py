"""What a shop's probe readings come to, press by press, in the shop's own units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from accord_rules.derive.press import fitted
from accord_rules.documents import units
from accord_rules.orders.order import CalibrationReading, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_service.steps.shops import age_days, told_age_days


def report(shop: Shop, book: Book, today: date) -> Iterator[Mapping[str, Any]]:
    """One entry a press that was measured: the curve, the spread, the coldest spot, the age.

    ``curve`` is what the rules take the surface to be at each display setting, linear in between.
    """
    most = book.limit_values.get("press.calibration_age_most")
    for press in shop.presses:
        if press.calibration:
            told = told_age_days(press, today)
            yield {
                "press": press.id,
                "curve": _curve(press, shop, book),
                "coldest": _coldest(press, shop),
                "age_days": age_days(press, today),
                "stale": told is not None and most is not None and told > most,
            }


def _curve(press: Press, shop: Shop, book: Book) -> list[dict[str, str]]:
    preferences = shop.units
    return [
        {
            "display": units.show(units.TEMPERATURE, display_c, preferences),
            "surface": units.show(units.TEMPERATURE, surface_c, preferences),
            "spread": units.show(units.TEMPERATURE_DIFFERENCE, spread_k, preferences),
        }
        for display_c, surface_c, spread_k in fitted(
            press.calibration, book.limit_values.get("press.probe_error", 0.0)
        ).points
    ]


def _coldest(press: Press, shop: Shop) -> dict[str, Any]:
    """Where the platen is furthest below its mean; spots are counted from 1, in the order they were read."""
    reading = max(press.calibration, key=_shortfall_k)
    spot_c = min(reading.surface)
    return {
        "spot": reading.surface.index(spot_c) + 1,
        "display": units.show(units.TEMPERATURE, reading.display, shop.units),
        "surface": units.show(units.TEMPERATURE, spot_c, shop.units),
        "below_mean": units.show(units.TEMPERATURE_DIFFERENCE, _shortfall_k(reading), shop.units),
    }


def _shortfall_k(reading: CalibrationReading) -> float:
    return sum(reading.surface) / len(reading.surface) - min(reading.surface)
