"""What a press can be set to: whole steps of its display in the shop's unit, and of its timer.

A setting that falls between two steps is rounded to the safe side, away from the nearer end of what is allowed; never
out of it. Where no step of the timer lies inside, whole seconds are counted by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from accord_rules.derive.press import Calibration
from accord_rules.documents import units
from accord_rules.revision.catalogue import PressType
from accord_rules.revision.facts import DATA, Scope, fact, read, source

_ROUND_DEGREES = 5.0  # people set 155 rather than 153 where both will do
_ROUND_SECONDS = 5.0
_ROUND_FROM_S = 20.0
_NOISE = 1e-6  # of a step: what turning a temperature to and fro may be off


@dataclass(frozen=True, slots=True)
class Dials:
    """The display and the timer of one press."""

    calibration: Calibration
    unit: units.Unit
    display_most_c: float
    display_step: float
    time_step_s: float

    # -- the display -----------------------------------------------------------------------------------------------

    def near(self, surface_c: float, low_c: float, high_c: float) -> tuple[float, float] | None:
        """The roundest setting near a surface temperature, and its surface, which lies between ``low_c`` and
        ``high_c``; None where no setting's does."""
        wanted = min(self.calibration.display_c(surface_c), self.display_most_c)
        steps = self.number(wanted)
        coarse = max(1.0, _ROUND_DEGREES / self.display_step)
        down, up = floor(steps + _NOISE), ceil(steps - _NOISE)
        fine = (up, down) if surface_c - low_c <= high_c - surface_c else (down, up)
        first, last = (
            way(self.number(self.calibration.display_c(end)) + noise)
            for way, end, noise in ((ceil, low_c, -_NOISE), (floor, high_c, _NOISE))
        )
        ends = sorted((first, last), key=lambda number: abs(number - steps))
        for number in (round(steps / coarse) * coarse, *fine, *ends):
            setting = self.at(number)
            if setting[0] <= self.display_most_c + _NOISE and low_c - _NOISE <= setting[1] <= high_c + _NOISE:
                return setting
        return None

    def number(self, display_c: float) -> float:
        """A display setting in steps."""
        return self.unit.outside(display_c) / self.display_step

    def at(self, number: float) -> tuple[float, float]:
        """The setting of so many steps, and its surface."""
        display_c = round(self.unit.inside(number * self.display_step), 9)
        return display_c, round(self.calibration.surface_c(display_c), 6)

    @property
    def hottest(self) -> tuple[float, float]:
        """The highest setting there is."""
        return self.at(floor(self.number(self.display_most_c) + _NOISE))

    def beside(self, surface_c: float) -> tuple[tuple[float, float], ...]:
        """The settings on either side of a surface temperature, that of the display's step below first."""
        steps = self.number(self.calibration.display_c(surface_c))
        return tuple(self.at(number) for number in dict.fromkeys((floor(steps + _NOISE), ceil(steps - _NOISE))))

    # -- the timer -------------------------------------------------------------------------------------------------

    def dwell(self, aim_s: float, low_s: float, high_s: float, *, no_less: bool = False) -> float:
        """The roundest dwell near the aim inside its window; ``no_less``: none below the aim, if the window has one."""
        aim_s = min(max(aim_s, low_s), high_s)
        coarse = self.time_round_s(aim_s)
        least_s = aim_s if no_less else low_s
        for step in dict.fromkeys((coarse, self.time_step_s, 1.0)):
            longer, shorter = ceil(aim_s / step - _NOISE) * step, floor(aim_s / step + _NOISE) * step
            safe = (longer, shorter) if aim_s - low_s <= high_s - aim_s else (shorter, longer)
            for dwell_s in (round(aim_s / step) * step, *safe):
                if dwell_s > 0 and least_s - _NOISE <= dwell_s <= high_s + _NOISE:
                    return float(round(dwell_s, 6))
        return float(max(1, floor(high_s + _NOISE)))

    def time_round_s(self, time_s: float) -> float:
        """The step in which people set such a dwell."""
        return max(_ROUND_SECONDS, self.time_step_s) if time_s >= _ROUND_FROM_S else self.time_step_s

    def dwells_beside(self, time_s: float) -> tuple[float, ...]:
        """The dwells on either side of one."""
        steps = time_s / self.time_step_s
        return tuple(
            float(round(number * self.time_step_s, 6))
            for number in dict.fromkeys((floor(steps + _NOISE), ceil(steps - _NOISE)))
        )


@fact("press.dials", DATA, Scope.PRESSING)
def dials(
    calibration: Calibration = read("press.calibration"),
    usual: PressType = read("press.entry"),
    display_most_c: float = read("press.display_most_c"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> Dials:
    """What its display and its timer can be set to."""
    unit = preferences.unit(units.TEMPERATURE)
    return Dials(calibration, unit, display_most_c, float(usual.display_step), usual.time_step)
