"""What a solved stack says: temperatures over time, and the questions asked of them."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from accord_rules.heat.grid import Floats, frozen
from accord_rules.heat.stack import HeatError, Stack, require_positive


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """Temperatures and heat at each of ``times_s`` (all arrays read-only; T times, L layers).

    interface_c, back_c: (T,) the printed face of the blank and its other face. top_c: (T,) the platen, or whatever is
    beyond the upper face. layer_c: (L, T) the mean of each layer. energy_j_m2: (T,) heat that has come in through the
    upper face since the start; lost_j_m2: (T,) heat that has gone out through the lower face; stored_j_m2: (T,) heat
    that the layers hold more than at the start; steam_j_m2: (T,) heat that has gone off with moisture. Heat in is
    always heat stored, lost and gone off together: the tests hold that to 0.1 %.
    """

    times_s: Floats
    interface_c: Floats
    back_c: Floats
    top_c: Floats
    layer_c: Floats
    energy_j_m2: Floats
    lost_j_m2: Floats
    stored_j_m2: Floats
    steam_j_m2: Floats

    @staticmethod
    def of(
        stack: Stack,
        start_c: tuple[float, ...],
        times_s: Floats,
        *,
        faces_c: Floats,
        top_c: Floats,
        layer_c: Floats,
        energy_j_m2: Floats,
        lost_j_m2: Floats,
        steam_j_m2: Floats,
    ) -> History:
        """From a solver's arrays; ``faces_c`` (2, T) are the blank's upper and lower face. Makes them read-only."""
        capacity = np.array([layer.capacity_j_m2k for layer in stack.layers])
        stored = capacity @ (layer_c - np.array(start_c)[:, None])
        printed, back = (faces_c[0], faces_c[1]) if stack.print_side == "upper" else (faces_c[1], faces_c[0])
        arrays = (printed, back, top_c, layer_c, energy_j_m2, lost_j_m2, stored, steam_j_m2)
        return History(times_s, *(frozen(array) for array in arrays))

    def interface_at_c(self, time_s: float) -> float:
        """Temperature at the print at a time, linear between the times solved for. Raises HeatError outside them."""
        return self._at(self.interface_c, time_s)

    def time_to_reach_s(self, temp_c: float) -> float:
        """When the print first reaches ``temp_c``; infinite if it does not within the times solved for."""
        return first_crossing_s(self.times_s, self.interface_c, temp_c)

    def time_above_s(self, temp_c: float, until_s: float | None = None) -> float:
        """How long the print is at or above ``temp_c``, up to ``until_s`` (the end if not given)."""
        end_s = float(self.times_s[-1]) if until_s is None else until_s
        self._at(self.interface_c, end_s)
        inside = self.times_s < end_s
        times = np.append(self.times_s[inside], end_s)
        over = np.append(self.interface_c[inside], self.interface_at_c(end_s)) - temp_c
        start, stop = over[:-1], over[1:]
        rise = np.abs(stop - start)
        both = np.clip(start, 0.0, None) + np.clip(stop, 0.0, None)
        # The share of each step spent above, exact for straight lines between the times.
        share = np.where(rise > 0, both / np.where(rise > 0, rise, 1.0), 1.0)
        share = np.where((start >= 0) & (stop >= 0), 1.0, np.where((start < 0) & (stop < 0), 0.0, share))
        return float((np.diff(times) * share).sum())

    @property
    def peak_back_c(self) -> float:
        """The hottest the blank's other face gets."""
        return float(self.back_c.max())

    def _at(self, values: Floats, time_s: float) -> float:
        if not self.times_s[0] <= time_s <= self.times_s[-1]:
            raise HeatError(f"{time_s!r} s lies outside the times solved for, 0 to {self.times_s[-1]:g} s")
        return float(np.interp(time_s, self.times_s, values))


def first_crossing_s(times_s: Floats, values_c: Floats, temp_c: float) -> float:
    """The first time at which values reach ``temp_c`` from below, linear between times; infinite if never."""
    reached = np.flatnonzero(values_c >= temp_c)
    if not len(reached):
        return inf
    i = int(reached[0])
    if i == 0:
        return float(times_s[0])
    share = (temp_c - values_c[i - 1]) / (values_c[i] - values_c[i - 1])
    return float(times_s[i - 1] + share * (times_s[i] - times_s[i - 1]))


MOST_TIMES = 100_000


def time_grid(until_s: float, count: int = 200) -> Floats:
    """Times from 0 to ``until_s``, closer together at the start, where temperatures change fastest: (count + 1,)."""
    require_positive("the time to solve for", until_s)
    return frozen(until_s * np.linspace(0.0, 1.0, count + 1) ** 2)


def checked_times(times_s: Floats) -> Floats:
    """The times as a read-only copy. Raises HeatError unless they start at 0, rise, and are not too many."""
    times = np.array(times_s, dtype=np.float64)
    if times.ndim != 1 or not 1 < len(times) <= MOST_TIMES:
        raise HeatError(f"give 2 to {MOST_TIMES} times in one row")
    if times[0] != 0 or not bool(np.all(np.diff(times) > 0)) or not np.isfinite(times[-1]):
        raise HeatError("times start at 0, rise, and are finite")
    return frozen(times)
