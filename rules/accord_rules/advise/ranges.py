"""Where a yes-or-no question turns over a number line: exact at the marks that are known, by halving between them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import pairwise
from math import ceil, floor

from accord_rules.documents import units
from accord_rules.documents.units import Unit, UnitPreferences
from accord_rules.documents.writing import quantity
from accord_rules.verdict import TemperatureRange, TimeRange

_ROUNDING = 1e-6  # of a step: what is left of a whole number after settings are turned into °C and back


def allowed(ok: Callable[[float], bool], marks: Iterable[float], fine: float) -> list[tuple[float, float]]:
    """The closed intervals where ``ok`` holds, between the least and the greatest mark.

    Asked at every mark and half-way between; where two neighbours differ the turn is found to ``fine``, at once where
    it lies at one of the two. What turns twice between neighbours without a mark is not seen.
    """
    marks = sorted(set(marks))
    points = sorted({*marks, *((a + b) / 2 for a, b in pairwise(marks))})
    holds = [ok(point) for point in points]
    intervals: list[tuple[float, float]] = []
    start = points[0] if holds[0] else None
    for (a, here), (b, there) in pairwise(zip(points, holds, strict=True)):
        if here and not there and start is not None:
            intervals.append((start, _turn(ok, a, b, fine)))
            start = None
        elif there and not here:
            start = _turn(ok, b, a, fine)
    if start is not None:
        intervals.append((start, points[-1]))
    return intervals


def _turn(ok: Callable[[float], bool], good: float, bad: float, fine: float) -> float:
    """The last point towards ``bad`` that is still good, to ``fine``."""
    step = fine if bad > good else -fine
    if abs(bad - good) <= fine or not ok(good + step):
        return good
    if ok(bad - step):
        return bad - step
    while abs(bad - good) > fine:
        middle = (good + bad) / 2
        good, bad = (middle, bad) if ok(middle) else (good, middle)
    return good


def inward(
    low: float, high: float, step: float, inside: Callable[[float], float], outside: Callable[[float], float]
) -> tuple[float, float]:
    """An interval drawn in to whole steps of a unit (``inside`` and ``outside`` turn it into the inside one and back);
    as it is where no whole step lies in it."""
    first, last = (
        step * ceil(outside(low) / step - _ROUNDING),
        step * floor(outside(high) / step + _ROUNDING),
    )
    if first > last:
        return low, high
    return round(inside(first), 9), round(inside(last), 9)


def temperatures(low_c: float, high_c: float, preferences: UnitPreferences) -> TemperatureRange:
    """Temperatures of a display, in whole degrees of the shop's unit where one lies inside."""
    unit = preferences.unit(units.TEMPERATURE)
    least, most = inward(low_c, high_c, 1.0, unit.inside, unit.outside)
    least_shown, most_shown = (quantity(units.TEMPERATURE, end, preferences) for end in (least, most))
    return TemperatureRange(least_shown, least, most_shown, most)


def dwells(low_s: float, high_s: float) -> TimeRange:
    """Times that will do, in whole seconds where one lies inside."""
    least, most = inward(low_s, high_s, 1.0, float, float)
    return TimeRange(quantity(units.TIME, least), least, quantity(units.TIME, most), most)


def size_step(unit: Unit) -> float:
    """What sizes are told in whole steps of: a sixteenth where the unit is as coarse as an inch, else one."""
    return 1 / 16 if unit.factor > 10 else 1.0
