"""A platen with mass and a proportional controller over a dry stack: exact in time, piece by piece.

The heater is full on, in its band, or off; in each of these all is linear and solved like ``linear`` with the platen as
one more cell on top. The moments at which the platen's temperature passes from one to the next are found on its own
exponentials. Power does not jump there, so the platen goes on the way it was going.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf

import numpy as np

from accord_rules.heat.grid import Floats, Grid, cut, frozen, outer_c, outer_conductance_w_m2k
from accord_rules.heat.history import History
from accord_rules.heat.linear import CACHED_STACKS
from accord_rules.heat.modal import Modes, decompose, fading, kernels
from accord_rules.heat.stack import HeatedPlaten, HeatError, Interface, Layer, Proportional, Stack

# A handful of passages is usual; far more would mean that the platen hovers on an edge for ever.
_MOST_PASSAGES = 1000
_SLACK_K = 1e-9
_PASSAGE_WITHIN_S = 1e-9
_PARTS = 17  # times at once, when a passage is looked for


@dataclass(frozen=True, slots=True, eq=False)
class _SaggingModes:
    """Stack and platen, taken apart for one slope of the heater. M = N + 1 cells, the platen first; L layers.

    shown: (L + 5, M) takes modes to the outputs: layer means, the blank's faces, first and last cell, platen.
    from_below: (2, 1), what the blank's faces take straight from what is held below.
    """

    grid: Grid
    modes: Modes
    shown: Floats
    from_below: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """A stack as cells, platen first, whatever the heater does. M cells, L layers.

    capacity, diagonal: (M,), without what holds the platen; beside: (M - 1,), negative. outputs: (L + 5, M) weights of
    the cells. from_below: (2, 1), what the blank's faces take straight from what is held below.
    """

    grid: Grid
    capacity: Floats
    diagonal: Floats
    beside: Floats
    outputs: Floats
    from_below: Floats


@lru_cache(maxsize=CACHED_STACKS)
def _cut(
    layers: tuple[Layer, ...],
    interfaces: tuple[Interface, ...],
    blank: int,
    below_w_m2k: float,
    refine: int,
    platen_j_m2k: float,
) -> _Cut:
    grid = cut(layers, interfaces, blank, inf, below_w_m2k, refine)
    outputs, direct = grid.outputs(blank)
    wider = np.zeros((len(outputs) + 1, len(grid.capacity_j_m2k) + 1))
    wider[:-1, 1:] = outputs
    wider[-1, 0] = 1.0
    # What lies outside the top is the platen itself.
    wider[len(layers) : len(layers) + 2, 0] = direct[:, 0]
    return _Cut(
        grid=grid,
        capacity=_before(platen_j_m2k, grid.capacity_j_m2k),
        diagonal=_before(grid.link_w_m2k[0], grid.diagonal_w_m2k),
        beside=-grid.link_w_m2k[:-1],
        outputs=wider,
        from_below=direct[:, 1:],
    )


@lru_cache(maxsize=2 * CACHED_STACKS)
def _ready(cells: _Cut, own_w_m2k: float) -> _SaggingModes:
    """``own_w_m2k``: what holds the platen at its own temperature, loss to air and the controller's slope together."""
    diagonal = cells.diagonal.copy()
    diagonal[0] += own_w_m2k
    modes = decompose(cells.capacity, diagonal, cells.beside)
    return _SaggingModes(cells.grid, modes, frozen(cells.outputs @ modes.back), cells.from_below)


def _before(first: float, others: Floats) -> Floats:
    return np.concatenate(([first], others))


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
    """The solution from one passage to the next: modes at its start, their drive, and where it begins and ends.

    begun_s, ends_s: on the clock of the whole; ``places`` are the times asked for that lie between.
    """

    ready: _SaggingModes
    at_start: Floats
    drive: Floats
    begun_s: float
    ends_s: float
    places: slice

    def shown(self, times_s: Floats, rows: slice = slice(None)) -> Floats:
        """The outputs at times since its start, (rows, T)."""
        fade, once = fading(self.ready.modes.rate_per_s, times_s)
        shown = self.ready.shown[rows]
        temperatures_k: Floats = (shown * self.at_start) @ fade + (shown * self.drive) @ once
        return temperatures_k

    def summed(self, times_s: Floats) -> Floats:
        """The last three outputs summed over time since its start, (3, T)."""
        _, once, twice = kernels(self.ready.modes.rate_per_s, times_s)
        shown = self.ready.shown[-3:]
        sums_ks: Floats = (shown * self.at_start) @ once + (shown * self.drive) @ twice
        return sums_ks

    def cells(self, time_s: float) -> Floats:
        """All temperatures at a time since its start, platen first, (M,)."""
        fade, once = fading(self.ready.modes.rate_per_s, np.array([time_s]))
        return self.ready.modes.back @ (self.at_start * fade[:, 0] + self.drive * once[:, 0])


_PLATEN = slice(-1, None)


def _stretches(
    stack: Stack, platen: HeatedPlaten, start_c: tuple[float, ...], times_s: Floats, refine: int
) -> Iterator[_Stretch]:
    """The solution piece by piece, each up to where the heater changes over, the last to the last of the times."""
    if not isinstance(platen.control, Proportional):
        raise HeatError("this solver is for a platen under proportional control")
    below, below_c = outer_conductance_w_m2k(stack.bottom), outer_c(stack.bottom)
    regimes = _regimes(platen, platen.control)
    cut_up = _cut(stack.layers, stack.interfaces, stack.blank, below, refine, platen.capacity_j_m2k)
    cells = _before(platen.set_c, cut_up.grid.spread(start_c))
    place, begun_s, done = 1, 0.0, 0
    for _ in range(_MOST_PASSAGES):
        regime = regimes[place]
        ready = _ready(cut_up, platen.loss_w_m2k + regime.slope_w_m2k)
        inflow = np.zeros(len(cells))
        inflow[0] = platen.loss_w_m2k * platen.ambient_c + regime.fixed_w_m2
        inflow[-1] += ready.grid.link_w_m2k[-1] * below_c
        modes = ready.modes.forward @ cells, ready.modes.back.T @ inflow
        whole = _Stretch(ready, *modes, begun_s, float(times_s[-1]), slice(done, len(times_s)))
        left_s = times_s[done:] - begun_s
        platen_c = whole.shown(left_s, _PLATEN)[0]
        out = (platen_c < regime.from_c - _SLACK_K) | (platen_c > regime.to_c + _SLACK_K)
        if not out.any():
            yield whole
            return
        stop = int(out.argmax())
        rises = bool(platen_c[stop] > regime.to_c)
        edge_c = regime.to_c if rises else regime.from_c
        before_s = max(0.0, float(left_s[stop - 1])) if stop else 0.0
        passed_s = _passage_s(whole, edge_c, rises, before_s, float(left_s[stop]))
        yield replace(whole, ends_s=begun_s + passed_s, places=slice(done, done + stop))
        cells = whole.cells(passed_s)
        begun_s, done, place = begun_s + passed_s, done + stop, place + (1 if rises else -1)
    raise HeatError("the platen hovers between full and partial power: its numbers are out of all proportion")


def _passage_s(stretch: _Stretch, edge_c: float, rises: bool, early_s: float, late_s: float) -> float:
    """When the platen passes ``edge_c`` between two times; at once if it starts beyond it."""
    while late_s - early_s > _PASSAGE_WITHIN_S:
        times_s = np.linspace(early_s, late_s, _PARTS)
        platen_c = stretch.shown(times_s, _PLATEN)[0]
        after = int((platen_c > edge_c if rises else platen_c < edge_c).argmax())
        if after == 0:
            return early_s
        early_s, late_s = float(times_s[after - 1]), float(times_s[after])
    return late_s


def _heated(stack: Stack) -> HeatedPlaten:
    if not isinstance(stack.top, HeatedPlaten):
        raise HeatError("this solver is for a platen with mass and a heater")
    return stack.top


def faces_under_sag(stack: Stack, start_c: tuple[float, ...], times_s: Floats) -> tuple[Floats, Floats]:
    """The blank's upper and lower face, (2, T), and the platen, (T,); as ``solve_sagging`` has them, for less."""
    layers = len(stack.layers)
    faces, platen = [], []
    for stretch in _stretches(stack, _heated(stack), start_c, times_s, 1):
        shown = stretch.shown(times_s[stretch.places] - stretch.begun_s, slice(layers, None))
        faces.append(shown[:2] + stretch.ready.from_below * outer_c(stack.bottom))
        platen.append(shown[-1])
    return np.hstack(faces), np.hstack(platen)


def solve_sagging(stack: Stack, start_c: tuple[float, ...], times_s: Floats, refine: int) -> History:
    """Exact in time; the top must be a HeatedPlaten under Proportional control, and the layers dry."""
    shown: list[Floats] = []
    sums: list[Floats] = []
    carried = np.zeros((3, 1))
    for stretch in _stretches(stack, _heated(stack), start_c, times_s, refine):
        since_s = times_s[stretch.places] - stretch.begun_s
        shown.append(stretch.shown(since_s))
        sums.append(carried + stretch.summed(since_s))
        carried = carried + stretch.summed(np.array([stretch.ends_s - stretch.begun_s]))
    return _history(stack, start_c, times_s, stretch.ready, np.hstack(shown), np.hstack(sums))


def _history(
    stack: Stack, start_c: tuple[float, ...], times_s: Floats, ready: _SaggingModes, shown: Floats, summed: Floats
) -> History:
    layers, below_c = len(stack.layers), outer_c(stack.bottom)
    faces = shown[layers : layers + 2] + ready.from_below * below_c
    first, last, platen = summed
    return History.of(
        stack,
        start_c,
        times_s,
        faces_c=faces,
        top_c=shown[-1],
        layer_c=shown[:layers],
        energy_j_m2=ready.grid.link_w_m2k[0] * (platen - first),
        lost_j_m2=ready.grid.link_w_m2k[-1] * (last - below_c * times_s),
        steam_j_m2=np.zeros(len(times_s)),
    )
