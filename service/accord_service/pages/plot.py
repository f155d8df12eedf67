"""Axes of drawings: round ticks, and where values lie between them. The one place where ticks are worked out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count

# Between two ticks, times a power of ten: what people read between without counting (common practice, no source).
_STEPS = (1.0, 2.0, 5.0)
_LEAST_STEP = 1e-6
_SLACK = 1e-9  # of a step


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from ``low`` to ``high`` laid on a drawing from ``start`` to ``end``, in its unit of length; ``ticks`` at
    round values."""

    low: float
    high: float
    start: float
    end: float
    ticks: tuple[float, ...]

    @classmethod
    def around(cls, values: Iterable[float], start: float, end: float, most: int = 6) -> Axis:
        """An axis that begins and ends at round values around all of these, with no more than ``most`` ticks."""
        given = tuple(values)
        low, high = min(given), max(given)
        steps = round_steps((high - low) / max(most - 1, 1))
        ticks = next(ticks for ticks in (_around(low, high, step) for step in steps) if len(ticks) <= most)
        return cls(ticks[0], ticks[-1], start, end, ticks)

    @classmethod
    def between(cls, low: float, high: float, start: float, end: float, apart: float) -> Axis:
        """An axis from ``low`` to ``high`` themselves, with as many round ticks between them as there may be with
        ``apart`` on the drawing between two."""
        step = next(round_steps((high - low) * apart / abs(end - start)))
        first, last = math.ceil(low / step - _SLACK), math.floor(high / step + _SLACK)
        return cls(low, high, start, end, tuple(step * place for place in range(first, last + 1)))

    def at(self, value: float) -> float:
        """Where on the drawing a value lies."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def round_steps(least: float) -> Iterator[float]:
    """1, 2 and 5 times a power of ten, from the smallest that is no less than ``least`` upwards, without end."""
    least = max(least, _LEAST_STEP)
    for power in count(math.floor(math.log10(least))):
        for factor in _STEPS:
            step = factor * 10.0**power
            if step >= least * (1 - _SLACK):
                yield step


def _around(low: float, high: float, step: float) -> tuple[float, ...]:
    """Ticks from the last round value at or below ``low`` to the first at or above ``high``, two at least."""
    first, last = math.floor(low / step), math.ceil(high / step)
    return tuple(step * place for place in range(first, max(last, first + 1) + 1))
