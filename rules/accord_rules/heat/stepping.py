"""The stack with a thermostat or with moisture that boils off, stepped through time.

Method: two implicit stages a step (SDIRK2, gamma = 1 - 1/sqrt(2); Alexander 1977, from memory), second order and
L-stable, so that a 0.1 mm sheet under a hot platen does not ring; while there is moisture, implicit Euler halves
(first order, never overshooting). Each stage is one tridiagonal solve.

The platen is one more cell on top. Moisture is a store of heat in each cell of a damp layer that fills evenly while
the cell climbs from 90 to 110 °C; what has gone off does not come back, so a cell that cools and warms again, or a
second pressing, pays only for what is left. Water held in fibres does leave over a band of temperatures, since the
fibre and the sheet above hold it back; the band's width is a choice, its heat is not. A hold at exactly 100 °C would
take the same heat, but would let the print's temperature jump as one cell after the other dries. Steam is taken to
leave freely and to carry nothing else along.

In a stage every damp cell is in one of three states (wet, drying, dry) and the heater in one of three (full, between,
off); within a state all is linear. States are guessed from the last solve and corrected until they agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

import numpy as np

from accord_rules.heat.grid import Bools, Floats, Grid, cut, outer_c, outer_conductance_w_m2k
from accord_rules.heat.history import History
from accord_rules.heat.stack import HeatedPlaten, HeatError, OnOff, Stack

WATER_FROM_C, WATER_TO_C = 90.0, 110.0
# Evaporation of free water at 100 °C takes 2.26 MJ/kg, from a fibre a little more; rounded up, common practice.
WATER_LATENT_J_KG = 2.5e6

GAMMA = 1 - 0.5**0.5
# Steps: at least so long, growing with the time since contact, at most so long.
SHORTEST_STEP_S = 0.03
STEP_SHARE = 0.06
LONGEST_STEP_S = 3.0
# A thermostat is asked once a step, so its steps stay short.
LONGEST_THERMOSTAT_STEP_S = 0.05
_MOST_CORRECTIONS = 200


@dataclass(frozen=True, slots=True, eq=False)
class _Equations:
    """C dT/dt = -K T + b + heater, platen first if there is one; M cells.

    capacity, diagonal, inflow, water_j_m2: (M,). beside: (M - 1,), negative. platen: the heater, or None.
    """

    capacity: Floats
    diagonal: Floats
    beside: Floats
    inflow: Floats
    water_j_m2: Floats
    platen: HeatedPlaten | None
    damp: bool

    def balance(self, temperature_c: Floats, heater_w_m2: float) -> Floats:
        """What flows into each cell, W/m², (M,)."""
        flow = self.inflow - self.diagonal * temperature_c
        flow[:-1] -= self.beside * temperature_c[1:]
        flow[1:] -= self.beside * temperature_c[:-1]
        flow[0] += heater_w_m2
        return flow


def _equations(stack: Stack, grid: Grid) -> _Equations:
    water = np.array([layer.water_share * layer.density_kg_m3 * layer.thickness_m for layer in stack.layers])
    per_cell = grid.spread(tuple(water * WATER_LATENT_J_KG)) * grid.capacity_j_m2k
    per_cell /= grid.spread(tuple(layer.capacity_j_m2k for layer in stack.layers))
    diagonal, inflow = grid.diagonal_w_m2k, np.zeros(len(grid.capacity_j_m2k))
    inflow[-1] += grid.link_w_m2k[-1] * outer_c(stack.bottom)
    beside, capacity, platen = -grid.link_w_m2k[1:-1], grid.capacity_j_m2k, None
    if isinstance(stack.top, HeatedPlaten):
        platen = stack.top
        own = grid.link_w_m2k[0] + platen.loss_w_m2k
        diagonal, beside = np.insert(diagonal, 0, own), np.insert(beside, 0, -grid.link_w_m2k[0])
        capacity = np.insert(capacity, 0, platen.capacity_j_m2k)
        inflow = np.insert(inflow, 0, platen.loss_w_m2k * platen.ambient_c)
        per_cell = np.insert(per_cell, 0, 0.0)
    else:
        inflow[0] += grid.link_w_m2k[0] * outer_c(stack.top)
    return _Equations(
        capacity=capacity,
        diagonal=diagonal,
        beside=beside,
        inflow=inflow,
        water_j_m2=per_cell,
        platen=platen,
        damp=bool(per_cell.any()),
    )


class _Heater:
    """The controller's memory over one run: whether a thermostat is on. Lives and dies inside one call."""

    def __init__(self, platen: HeatedPlaten | None) -> None:
        self._platen = platen
        self._on = False

    def look(self, platen_c: float) -> None:
        """Let a thermostat switch, once a step."""
        platen = self._platen
        if platen is None or not isinstance(platen.control, OnOff):
            return
        half_k = platen.control.hysteresis_k / 2
        if platen_c <= platen.set_c - half_k:
            self._on = True
        elif platen_c >= platen.set_c + half_k:
            self._on = False

    def power(self, platen_c: float) -> tuple[float, float]:
        """Power at a platen temperature as ``fixed - slope * temperature``: (fixed, W/m²; slope, W/(m² K))."""
        platen = self._platen
        if platen is None:
            return 0.0, 0.0
        if isinstance(platen.control, OnOff):
            return (platen.power_w_m2 if self._on else 0.0), 0.0
        slope = (platen.power_w_m2 - platen.hold_w_m2) / platen.control.band_k
        fixed = platen.hold_w_m2 + slope * platen.set_c
        wanted = fixed - slope * platen_c
        if wanted >= platen.power_w_m2:
            return platen.power_w_m2, 0.0
        return (0.0, 0.0) if wanted <= 0 else (fixed, slope)


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """Temperature and heat gone into steam of each cell, (M,) each."""

    temperature_c: Floats
    steam_j_m2: Floats


def _stage(
    equations: _Equations, heater: _Heater, base: Floats, span_s: float, before: _State, guess: _State
) -> tuple[_State, Floats]:
    """Find the state whose heat content is ``base + span_s * balance``; also that balance, (M,).

    ``before`` is the state at the start of the step: steam never falls below it. Raises HeatError if the states
    of the cells do not settle (they do, unless numbers are absurd).
    """
    damp, gone, most = equations.damp, before.steam_j_m2, equations.water_j_m2
    resumes_c = np.full(len(most), np.inf)
    if damp:
        np.divide(gone, most, out=resumes_c, where=most > 0)
        resumes_c = WATER_FROM_C + (WATER_TO_C - WATER_FROM_C) * resumes_c
    dry = guess.temperature_c >= np.maximum(resumes_c, WATER_TO_C)
    drying = (guess.temperature_c > resumes_c) & ~dry
    power = heater.power(float(guess.temperature_c[0]))
    for _ in range(_MOST_CORRECTIONS):
        temperature, steam, flow = _solve(equations, base, span_s, gone, drying, dry, power)
        power_then = heater.power(float(temperature[0]))
        settled, power = power_then == power, power_then
        if damp:
            # One state at a time: a cell that leaps from wet to dry or back may have leapt on a wrong slope.
            now_dry = (temperature >= WATER_TO_C) & (drying | dry) & (most > 0)
            now_drying = ~now_dry & ((temperature > resumes_c) | (dry & (gone < most)))
            settled = settled and bool((now_dry == dry).all() and (now_drying == drying).all())
            dry, drying = now_dry, now_drying
        if settled:
            return _State(temperature, steam), flow
    raise HeatError("the moisture in the stack does not settle: its layers' numbers are out of all proportion")


def _solve(
    equations: _Equations,
    base: Floats,
    span_s: float,
    gone: Floats,
    drying: Bools,
    dry: Bools,
    power: tuple[float, float],
) -> tuple[Floats, Floats, Floats]:
    """One tridiagonal solve with the states given: temperatures, steam and flows, (M,) each."""
    from scipy.linalg.lapack import dgtsv  # its import takes a quarter of a second of each start

    fixed, slope = power
    diagonal = equations.capacity + span_s * equations.diagonal
    right = base + span_s * equations.inflow
    diagonal[0] += span_s * slope
    right[0] += span_s * fixed
    steam = gone
    if equations.damp:
        per_k = np.where(drying, equations.water_j_m2 / (WATER_TO_C - WATER_FROM_C), 0.0)
        steam = np.where(dry, equations.water_j_m2, np.where(drying, -per_k * WATER_FROM_C, gone))
        diagonal += per_k
    beside = span_s * equations.beside
    *_, temperature, info = dgtsv(beside, diagonal, beside, right - steam)
    if info != 0:
        raise HeatError("the stack's equations have no solution: its layers' numbers are out of all proportion")
    if equations.damp:
        steam = steam + per_k * temperature
    return temperature, steam, equations.balance(temperature, fixed - slope * float(temperature[0]))


def _steps(times_s: Floats, longest_s: float, refine: int) -> list[tuple[int, float]]:
    """For each stretch between two times: how many steps and how long each."""
    steps: list[tuple[int, float]] = []
    for start, stop in pairwise(times_s.tolist()):
        most = min(max(SHORTEST_STEP_S, STEP_SHARE * start), longest_s) / refine
        count = ceil((stop - start) / most - 1e-9)
        steps.append((count, (stop - start) / count))
    return steps


def solve_stepping(stack: Stack, start_c: tuple[float, ...], times_s: Floats, refine: int, step_refine: int) -> History:
    """Second order in time. ``times_s`` must be checked; ``step_refine`` divides the steps for convergence checks."""
    grid = cut(
        stack.layers,
        stack.interfaces,
        stack.blank,
        outer_conductance_w_m2k(stack.top),
        outer_conductance_w_m2k(stack.bottom),
        refine,
    )
    equations = _equations(stack, grid)
    platen, cells = equations.platen, grid.spread(start_c)
    initial = cells if platen is None else np.insert(cells, 0, platen.set_c)
    heater = _Heater(platen)
    state = _State(initial, np.zeros(len(initial)))
    top_c, bottom_c, skip = outer_c(stack.top), outer_c(stack.bottom), int(platen is not None)
    rows, energy, lost = [state], [0.0], [0.0]
    heat_in = heat_out = 0.0
    thermostat = platen is not None and isinstance(platen.control, OnOff)
    longest = LONGEST_THERMOSTAT_STEP_S if thermostat else LONGEST_STEP_S
    for count, step_s in _steps(times_s, longest, step_refine):
        for _ in range(count):
            heater.look(float(state.temperature_c[0]))
            for share, at in _step(equations, heater, state, step_s):
                above_c = top_c if platen is None else float(at.temperature_c[0])
                heat_in += share * step_s * grid.link_w_m2k[0] * (above_c - at.temperature_c[skip])
                heat_out += share * step_s * grid.link_w_m2k[-1] * (at.temperature_c[-1] - bottom_c)
                state = at
        rows.append(state)
        energy.append(float(heat_in))
        lost.append(float(heat_out))
    return _history(stack, grid, start_c, times_s, rows, energy, lost)


def _step(
    equations: _Equations, heater: _Heater, state: _State, step_s: float
) -> tuple[tuple[float, _State], tuple[float, _State]]:
    """One step: the shares of the step that the flows at its two stages count for, and the states there."""
    content = equations.capacity * state.temperature_c + state.steam_j_m2
    if equations.damp and bool((state.steam_j_m2 < equations.water_j_m2).any()):
        # While water is about, two implicit Euler halves: first order only, but they never overshoot where a cell's
        # drying ends within a step, as the second-order stages would.
        half_s = step_s / 2
        middle, flow = _stage(equations, heater, content, half_s, state, state)
        end, _ = _stage(equations, heater, content + half_s * flow, half_s, middle, middle)
        return (0.5, middle), (0.5, end)
    span_s = GAMMA * step_s
    middle, flow = _stage(equations, heater, content, span_s, state, state)
    end, _ = _stage(equations, heater, content + (1 - GAMMA) * step_s * flow, span_s, state, middle)
    return (1 - GAMMA, middle), (GAMMA, end)


def _history(
    stack: Stack,
    grid: Grid,
    start_c: tuple[float, ...],
    times_s: Floats,
    rows: list[_State],
    energy: list[float],
    lost: list[float],
) -> History:
    skip = int(isinstance(stack.top, HeatedPlaten))
    everything = np.array([row.temperature_c for row in rows])
    cells = everything[:, skip:].T
    top = everything[:, 0] if skip else np.full(len(times_s), outer_c(stack.top))
    outputs, direct = grid.outputs(stack.blank)
    layers = len(stack.layers)
    shown = outputs[: layers + 2] @ cells
    return History.of(
        stack,
        start_c,
        times_s,
        faces_c=shown[layers:] + direct @ np.vstack([top, np.full(len(top), outer_c(stack.bottom))]),
        top_c=np.array(top),
        layer_c=shown[:layers],
        energy_j_m2=np.array(energy),
        lost_j_m2=np.array(lost),
        steam_j_m2=np.array([row.steam_j_m2.sum() for row in rows]),
    )
