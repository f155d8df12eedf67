"""A platen with mass and a proportional controller over a dry stack: exact in time, piece by piece.

The heater is full on, in its band, or off; in each of these all is linear and solved like ``linear`` with the platen as
one more cell on top. The moments at which the platen's temperature passes from one to the next are found on its own
exponentials. Power does not jump there, so the platen goes on the way it was going.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import inf

import numpy as np
from scipy.optimize import brentq

from accord_rules.heat.grid import Floats, Grid, cut, frozen, outer_c, outer_conductance_w_m2k
from accord_rules.heat.history import History
from accord_rules.heat.linear import CACHED_STACKS
from accord_rules.heat.modal import Modes, decompose, kernels
from accord_rules.heat.stack import HeatedPlaten, HeatError, Interface, Layer, Proportional, Stack

# A handful of passages is usual; far more would mean that the platen hovers on an edge for ever.
_MOST_PASSAGES = 1000
_SLACK_K = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class _Ready:
    """Stack and platen, taken apart for one slope of the heater. M = N + 1 cells, the platen first; L layers.

    shown: (L + 5, M) takes modes to the outputs: layer means, the blank's faces, first and last cell, platen.
    """

    grid: Grid
    modes: Modes
    shown: Floats


@lru_cache(maxsize=2 * CACHED_STACKS)
def _ready(
    layers: tuple[Layer, ...],
    interfaces: tuple[Interface, ...],
    blank: int,
    below_w_m2k: float,
    refine: int,
    platen_j_m2k: float,
    own_w_m2k: float,
) -> _Ready:
    """``own_w_m2k``: what holds the platen at its own temperature, loss to air and the controller's slope together."""
    grid = cut(layers, interfaces, inf, below_w_m2k, refine)
    modes = decompose(
        np.insert(grid.capacity_j_m2k, 0, platen_j_m2k),
        np.insert(grid.diagonal_w_m2k, 0, grid.link_w_m2k[0] + own_w_m2k),
        -grid.link_w_m2k[:-1],
    )
    outputs, direct = grid.outputs(blank)
    wider = np.zeros((len(outputs) + 1, len(grid.capacity_j_m2k) + 1))
    wider[:-1, 1:] = outputs
    wider[-1, 0] = 1.0
    # What lies outside the top is the platen itself.
    wider[len(layers) : len(layers) + 2, 0] = direct[:, 0]
    return _Ready(grid, modes, frozen(wider @ modes.back))


@dataclass(frozen=True, slots=True)
class _Regime:
    """The heater between two platen temperatures: power is ``fixed - slope * temperature``."""

    from_c: float
    to_c: float
    fixed_w_m2: float
    slope_w_m2k: float


def _regimes(platen: HeatedPlaten, control: Proportional) -> tuple[_Regime, _Regime, _Regime]:
    """Full on, in the band, off: by rising platen temperature."""
    slope = (platen.power_w_m2 - platen.hold_w_m2) / control.band_k
    full_below_c = platen.set_c - control.band_k
    fixed = platen.hold_w_m2 + slope * platen.set_c
    off_above_c = fixed / slope if slope > 0 else inf
    return (
        _Regime(-inf, full_below_c, platen.power_w_m2, 0.0),
        _Regime(full_below_c, off_above_c, fixed, slope),
        _Regime(off_above_c, inf, 0.0, 0.0),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """The solution from one passage on: modes at its start, their drive, and what is held below."""

    ready: _Ready
    at_start: Floats
    drive: Floats

    def outputs(self, times_s: Floats) -> tuple[Floats, Floats]:
        """The outputs, (L + 5, T), and the last three of them summed over time, (3, T)."""
        fade, once, twice = kernels(self.ready.modes.rate_per_s, times_s)
        start, drive = self.at_start[:, None], self.drive[:, None]
        shown = self.ready.shown
        return shown @ (start * fade + drive * once), shown[-3:] @ (start * once + drive * twice)

    def cells(self, time_s: float) -> Floats:
        """All temperatures at a time, platen first, (M,)."""
        return self.ready.modes.back @ self._modes_at(time_s)

    def platen_c(self, time_s: float) -> float:
        return float(self.ready.modes.back[0] @ self._modes_at(time_s))

    def _modes_at(self, time_s: float) -> Floats:
        fade, once, _ = kernels(self.ready.modes.rate_per_s, np.array([time_s]))
        at: Floats = self.at_start * fade[:, 0] + self.drive * once[:, 0]
        return at


def solve_sagging(stack: Stack, start_c: tuple[float, ...], times_s: Floats, refine: int) -> History:
    """Exact in time; the top must be a HeatedPlaten under Proportional control, and the layers dry."""
    platen = stack.top
    if not isinstance(platen, HeatedPlaten) or not isinstance(platen.control, Proportional):
        raise HeatError("this solver is for a heated platen under proportional control")
    below, below_c = outer_conductance_w_m2k(stack.bottom), outer_c(stack.bottom)
    regimes = _regimes(platen, platen.control)
    cells, place, begun_s, done = None, 1, 0.0, 0
    shown: list[Floats] = []
    sums: list[Floats] = []
    carried = np.zeros((3, 1))
    for _ in range(_MOST_PASSAGES):
        regime = regimes[place]
        own = platen.loss_w_m2k + regime.slope_w_m2k
        ready = _ready(stack.layers, stack.interfaces, stack.blank, below, refine, platen.capacity_j_m2k, own)
        if cells is None:
            cells = np.insert(ready.grid.spread(start_c), 0, platen.set_c)
        inflow = np.zeros(len(cells))
        inflow[0] = platen.loss_w_m2k * platen.ambient_c + regime.fixed_w_m2
        inflow[-1] += ready.grid.link_w_m2k[-1] * below_c
        stretch = _Stretch(ready, ready.modes.forward @ cells, ready.modes.back.T @ inflow)
        left_s = times_s[done:] - begun_s
        values, summed = stretch.outputs(left_s)
        out = (values[-1] < regime.from_c - _SLACK_K) | (values[-1] > regime.to_c + _SLACK_K)
        stop = int(out.argmax()) if out.any() else len(left_s)
        shown.append(values[:, :stop])
        sums.append(carried + summed[:, :stop])
        if stop == len(left_s):
            return _history(stack, start_c, times_s, ready.grid, np.hstack(shown), np.hstack(sums))
        rises = bool(values[-1, stop] > regime.to_c)
        edge_c = regime.to_c if rises else regime.from_c
        passed_s = _passage_s(stretch, edge_c, float(left_s[stop - 1]) if stop else 0.0, float(left_s[stop]))
        _, at_passage = stretch.outputs(np.array([passed_s]))
        carried = carried + at_passage
        cells = stretch.cells(passed_s)
        begun_s, done, place = begun_s + passed_s, done + stop, place + (1 if rises else -1)
    raise HeatError("the platen hovers between full and partial power: its numbers are out of all proportion")


def _passage_s(stretch: _Stretch, edge_c: float, early_s: float, late_s: float) -> float:
    """When the platen passes ``edge_c`` between two times; at once if it starts on the edge."""
    early_s = max(early_s, 0.0)
    if (stretch.platen_c(early_s) - edge_c) * (stretch.platen_c(late_s) - edge_c) >= 0:
        return early_s
    return float(brentq(lambda time_s: stretch.platen_c(time_s) - edge_c, early_s, late_s, xtol=1e-9))


def _history(
    stack: Stack, start_c: tuple[float, ...], times_s: Floats, grid: Grid, shown: Floats, summed: Floats
) -> History:
    layers, below_c = len(stack.layers), outer_c(stack.bottom)
    faces = shown[layers : layers + 2] + grid.outputs(stack.blank)[1][:, 1:] * below_c
    first, last, platen = summed
    return History.of(
        stack,
        start_c,
        times_s,
        faces_c=faces,
        top_c=shown[-1],
        layer_c=shown[:layers],
        energy_j_m2=grid.link_w_m2k[0] * (platen - first),
        lost_j_m2=grid.link_w_m2k[-1] * (last - below_c * times_s),
        steam_j_m2=np.zeros(len(times_s)),
    )
