"""What a shop's probe readings come to, press by press, in the shop's own units."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from accord_rules.derive.press import fitted
from accord_rules.documents import units
from accord_rules.documents.answers import INTEGER, STRING, STRINGS, Nullable, listed
from accord_rules.documents.reading import Flag, Object, required
from accord_rules.documents.writing import Documented
from accord_rules.orders.order import CalibrationReading, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.readings import OLD, doubts_of
from accord_service.steps.shops import age_days, told_age_days


@dataclass(frozen=True, slots=True)
class CurvePoint(Documented):
    """What the probe found at one display setting."""

    display: str = required(STRING, "the display's setting")
    surface: str = required(STRING, "the mean surface temperature; linear between two settings")
    spread: str = required(STRING, "how far a spot may lie off the mean, no less than the probe itself may be off")


@dataclass(frozen=True, slots=True)
class ColdestSpot(Documented):
    """Where the platen is furthest below its mean."""

    spot: int = required(INTEGER, "which reading of the list, counted from 1")
    display: str = required(STRING, "the display's setting then")
    surface: str = required(STRING, "what the probe read there")
    below_mean: str = required(STRING, "how far that is below the mean of all spots")


@dataclass(frozen=True, slots=True)
class PressCalibration(Documented):
    """What the probe readings of one press come to."""

    press: str = required(STRING, "the press")
    curve: tuple[CurvePoint, ...] = required(
        listed(Object(CurvePoint)),
        "what the rules take the surface to be, from the lowest setting to the highest",
    )
    elsewhere: str = required(
        STRING, "which settings nobody probed near, and what spread counts there, in sentences; empty if not known"
    )
    coldest: ColdestSpot = required(Object(ColdestSpot), "where the platen is furthest below its mean")
    age_days: int | None = required(Nullable(INTEGER), "of the oldest reading; null if undated")
    stale: bool = required(Flag(), "older than readings are trusted")
    doubts: tuple[str, ...] = required(STRINGS, "what of the readings is unlikely, a sentence each")


def report(shop: Shop, book: Book, today: date) -> Iterator[PressCalibration]:
    """One entry a press that was measured: the curve, the spread, the coldest spot, the age."""
    most = book.limit_values.get("press.calibration_age_most")
    for press in shop.presses:
        if press.calibration:
            days = told_age_days(press, today)
            yield PressCalibration(
                press=press.id,
                curve=_curve(press, shop, book),
                elsewhere=_elsewhere(press, shop, book),
                coldest=_coldest(press, shop),
                age_days=age_days(press, today),
                stale=days is not None and most is not None and days > most,
                doubts=tuple(_doubts(press, shop, book, today)),
            )


def _doubts(press: Press, shop: Shop, book: Book, today: date) -> Iterator[str]:
    """That a reading is old ``stale`` says of all of them; what two of them contradict is told once, at the hotter."""
    for reading in press.calibration:
        cooler = tuple(other for other in press.calibration if other.display < reading.display)
        for doubt in doubts_of(reading, replace(press, calibration=cooler), book, today, shop.units):
            if doubt.name != OLD:
                yield f"At {units.show(units.TEMPERATURE, reading.display, shop.units)}: {doubt.sentence}"


def _curve(press: Press, shop: Shop, book: Book) -> tuple[CurvePoint, ...]:
    preferences = shop.units
    return tuple(
        CurvePoint(
            display=units.show(units.TEMPERATURE, display_c, preferences),
            surface=units.show(units.TEMPERATURE, surface_c, preferences),
            spread=units.show(units.TEMPERATURE_DIFFERENCE, spread_k, preferences),
        )
        for display_c, surface_c, spread_k in fitted(
            press.calibration, book.limit_values.get("press.probe_error", 0.0)
        ).points
    )


def _elsewhere(press: Press, shop: Shop, book: Book) -> str:
    near_k, usual = book.limit_values.get("press.reading_near"), book.catalogue["press_types"].get(press.type)
    if near_k is None or usual is None:
        return ""
    near, spread = (units.show(units.TEMPERATURE_DIFFERENCE, of, shop.units) for of in (near_k, usual.spread))
    most_c = usual.display_most if press.display_most is None else press.display_most
    unchecked = " and ".join(_unchecked(press, near_k, most_c, shop.units))
    return (
        f"Not checked: a display {unchecked}, further than {near} from every reading. There a spot counts as up to"
        f" {spread} off, as is usual for its type, or as its readings have it, or as far off as it takes to come to"
        " what the display says, whichever is most."
    )


def _unchecked(press: Press, near_k: float, most_c: float, preferences: units.UnitPreferences) -> Iterator[str]:
    """The ranges of the display that no reading was taken near, in words."""

    def shown(display_c: float) -> str:
        return units.show(units.TEMPERATURE, display_c, preferences)

    displays = sorted(reading.display for reading in press.calibration)
    yield f"below {shown(displays[0] - near_k)}"
    for lower, upper in pairwise(displays):
        if upper - lower > 2 * near_k:
            yield f"between {shown(lower + near_k)} and {shown(upper - near_k)}"
    if displays[-1] + near_k < most_c:
        yield f"above {shown(displays[-1] + near_k)}"


def _coldest(press: Press, shop: Shop) -> ColdestSpot:
    """Where the platen is furthest below its mean; spots are counted from 1, in the order they were read."""
    reading = max(press.calibration, key=_shortfall_k)
    spot_c = min(reading.surface)
    return ColdestSpot(
        spot=reading.surface.index(spot_c) + 1,
        display=units.show(units.TEMPERATURE, reading.display, shop.units),
        surface=units.show(units.TEMPERATURE, spot_c, shop.units),
        below_mean=units.show(units.TEMPERATURE_DIFFERENCE, _shortfall_k(reading), shop.units),
    )


def _shortfall_k(reading: CalibrationReading) -> float:
    return sum(reading.surface) / len(reading.surface) - min(reading.surface)
