"""Axes of drawings: round ticks, and where values lie between them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

_STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from ``low`` to ``high`` laid on pixels from ``start`` to ``end``; ``ticks`` at round values."""

    low: float
    high: float
    start: float
    end: float
    ticks: tuple[float, ...]

    @classmethod
    def over(cls, values: Iterable[float], start: float, end: float, most: int = 6) -> Axis:
        """An axis that begins and ends at round values around all of these, with no more than ``most`` ticks."""
        given = tuple(values)
        low, high = min(given), max(given)
        step = round_step(low, high, most)
        first, last = math.floor(low / step), math.ceil(high / step)
        if first == last:
            last += 1
        ticks = tuple(place * step for place in range(first, last + 1))
        return cls(ticks[0], ticks[-1], start, end, ticks)

    def at(self, value: float) -> float:
        """The pixel of a value, to a tenth."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)


def round_step(low: float, high: float, most: int) -> float:
    """The smallest of 1, 2, 5, 10, 20, ... with which round values around ``low`` to ``high`` are at most ``most``."""
    least = max((high - low) / max(most - 1, 1), 1e-9)
    power = 10.0 ** math.floor(math.log10(least))
    for factor in (*_STEPS, 20.0):
        step = power * factor
        if math.ceil(high / step) - math.floor(low / step) + 1 <= most:
            return step
    return power * 50.0
