"""Low, likely and high of one number."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from accord_rules.heat.stack import HeatError


@dataclass(frozen=True, slots=True)
class Range:
    """What a number is at the least, likely, and at the most; infinite where it never happens."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.likely <= self.high:
            raise HeatError(f"low, likely and high must rise, not {self.low!r}, {self.likely!r}, {self.high!r}")

    @staticmethod
    def around(likely: float, others: Iterable[float]) -> Range:
        """The range of ``likely`` and all of ``others``."""
        values = (likely, *others)
        return Range(min(values), likely, max(values))
