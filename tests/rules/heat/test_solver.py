"""Conservation, convergence, and an independent integration of the same equations."""

from __future__ import annotations

import random
from itertools import pairwise
from math import log2
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.rules.heat.stacks import AIR_C, board_stack, light_platen

from accord_rules.heat import (
    PERFECT,
    Convective,
    FixedPlaten,
    HeatedPlaten,
    HeatError,
    History,
    Insulated,
    Interface,
    Layer,
    OnOff,
    Proportional,
    Stack,
    solve,
    time_grid,
)
from accord_rules.heat.build import Sheet, stack_for
from accord_rules.heat.materials import PLATENS
from accord_rules.heat.response import TIMES_S, respond
from accord_rules.heat.stepping import WATER_FROM_C, WATER_LATENT_J_KG, WATER_TO_C
from accord_rules.load.loader import load_book

DWELL_S = 60.0
TIMES = time_grid(DWELL_S)

STACKS = {
    "fixed platen": board_stack(),
    "two fixed platens": Stack(
        board_stack().layers, board_stack().interfaces, 2, FixedPlaten(200.0), FixedPlaten(180.0)
    ),
    "insulated below": Stack(board_stack().layers, board_stack().interfaces, 2, FixedPlaten(200.0), Insulated()),
    "cooling in air": Stack(board_stack().layers, board_stack().interfaces, 2, Convective(12.0, 20.0), Insulated()),
    "light platen": board_stack(light_platen()),
    "thermostat": board_stack(light_platen(OnOff(6.0))),
    "damp board": board_stack(water_share=0.06),
    "damp board, light platen": board_stack(light_platen(), 0.06),
}
EXACT = [name for name in STACKS if "damp" not in name and name != "thermostat"]


# --- an independent integration ---------------------------------------------------------------------------------------

CELLS = 120  # a layer, all alike: not the grid under test


class Reference:
    """The same physics, written straight from the layers with equal cells, dense flows and an adaptive integrator."""

    def __init__(self, stack: Stack, start_c: float) -> None:
        self.stack = stack
        self.k = np.repeat([layer.conductivity_w_mk for layer in stack.layers], CELLS)
        self.dx = np.repeat([layer.thickness_m / CELLS for layer in stack.layers], CELLS)
        self.c = np.repeat([layer.density_kg_m3 * layer.heat_capacity_j_kgk for layer in stack.layers], CELLS) * self.dx
        wet = [layer.water_share * layer.density_kg_m3 for layer in stack.layers]
        self.store = np.repeat(wet, CELLS) * WATER_LATENT_J_KG * self.dx
        self.n = len(self.k)
        self.start_c = start_c

    def flows(self, cells: np.ndarray, top_c: float) -> np.ndarray:
        """Heat down through every joint, (n + 1,)."""
        flows_w_m2 = np.zeros(self.n + 1)
        for i in range(self.n + 1):
            above, below = i - 1, i
            contact = 1 / self.stack.interfaces[i // CELLS].likely_w_m2k if i % CELLS == 0 else 0.0
            resistance = contact
            resistance += self.dx[above] / 2 / self.k[above] if above >= 0 else self.outside(self.stack.top)
            resistance += self.dx[below] / 2 / self.k[below] if below < self.n else self.outside(self.stack.bottom)
            hot = cells[above] if above >= 0 else top_c
            cold = cells[below] if below < self.n else self.far_c()
            flows_w_m2[i] = (hot - cold) / resistance
        return flows_w_m2

    def outside(self, face: Any) -> float:
        if isinstance(face, Insulated):
            return np.inf
        return 1 / face.conductance_w_m2k if isinstance(face, Convective) else 0.0

    def far_c(self) -> float:
        bottom = self.stack.bottom
        if isinstance(bottom, Convective):
            return bottom.ambient_c
        return bottom.temperature_c if isinstance(bottom, FixedPlaten) else 0.0

    def rate(self, _: float, y: np.ndarray) -> np.ndarray:
        """y: platen, cells. A damp cell takes up its water's heat evenly over its band while warming."""
        platen, cells = y[0], y[1:]
        top = self.stack.top
        flow = self.flows(cells, platen)
        boiling = (cells > WATER_FROM_C) & (cells < WATER_TO_C)
        change = (flow[:-1] - flow[1:]) / (self.c + np.where(boiling, self.store / (WATER_TO_C - WATER_FROM_C), 0.0))
        drift = 0.0
        if isinstance(top, HeatedPlaten):
            span = (top.power_w_m2 - top.hold_w_m2) / top.control.band_k  # type: ignore[union-attr]
            power = np.clip(top.hold_w_m2 + span * (top.set_c - platen), 0.0, top.power_w_m2)
            drift = (power - top.loss_w_m2k * (platen - top.ambient_c) - flow[0]) / top.capacity_j_m2k
        return np.concatenate([[drift], change])

    def solve(self, times_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Upper and lower face of the blank."""
        top = self.stack.top
        top_c = top.set_c if isinstance(top, HeatedPlaten) else getattr(top, "temperature_c", AIR_C)
        top_c = top.ambient_c if isinstance(top, Convective) else top_c
        y0 = np.concatenate([[top_c], np.full(self.n, self.start_c)])
        solution = solve_ivp(
            self.rate,
            (0.0, float(times_s[-1])),
            y0,
            "BDF",
            times_s,
            rtol=1e-5,
            atol=1e-4,
            jac_sparsity=np.eye(self.n + 1, k=-1) + np.eye(self.n + 1) + np.eye(self.n + 1, k=1),
        )
        assert solution.success
        upper, lower = [], []
        for y in solution.y.T:
            cells, flow = y[1:], self.flows(y[1:], y[0])
            first, last = self.stack.blank * CELLS, (self.stack.blank + 1) * CELLS - 1
            upper.append(cells[first] + flow[first] * self.dx[first] / 2 / self.k[first])
            lower.append(cells[last] - flow[last + 1] * self.dx[last] / 2 / self.k[last])
        return np.array(upper), np.array(lower)


@pytest.mark.parametrize(
    ("name", "tolerance_k"),
    [("fixed platen", 0.1), ("two fixed platens", 0.1), ("light platen", 0.1), ("damp board", 0.15)],
)
def test_agrees_with_an_independent_integration(name: str, tolerance_k: float) -> None:
    # Cells dry one after the other, at different times on two grids: hence the wider band for the damp board.
    stack = STACKS[name]
    times = np.array([0.0, 2.0, 5.0, 10.0, 20.0, 40.0, 60.0])
    upper, lower = Reference(stack, AIR_C).solve(times)
    ours = solve(stack, AIR_C, times, refine=2, step_refine=4)
    np.testing.assert_allclose(ours.interface_c[1:], upper[1:], atol=tolerance_k, rtol=0)
    np.testing.assert_allclose(ours.back_c[1:], lower[1:], atol=tolerance_k, rtol=0)


# --- conservation -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", STACKS)
def test_heat_in_is_heat_stored_lost_and_gone_with_steam(name: str) -> None:
    history = solve(STACKS[name], 60.0, TIMES)
    out = history.stored_j_m2 + history.lost_j_m2 + history.steam_j_m2
    np.testing.assert_allclose(out, history.energy_j_m2, rtol=0, atol=1e-3 * np.abs(history.energy_j_m2).max())


@pytest.mark.parametrize("name", [name for name in STACKS if name != "cooling in air"])
def test_heat_in_is_the_sum_of_the_flow_seen_from_outside(name: str) -> None:
    # From the face temperatures alone: what the first contact lets through, summed by trapezia over fine times.
    stack = STACKS[name]
    first = Stack(stack.layers, stack.interfaces, 0, stack.top, stack.bottom)
    history = solve(first, 60.0, time_grid(DWELL_S, 1500))
    flow = first.interfaces[0].likely_w_m2k * (history.top_c - history.interface_c)
    summed = float(np.trapezoid(flow, history.times_s))
    assert summed == pytest.approx(float(history.energy_j_m2[-1]), rel=1e-3)


def test_cooling_heat_is_the_sum_of_what_air_takes() -> None:
    stack = STACKS["cooling in air"]
    cover = Stack(stack.layers, stack.interfaces, 0, stack.top, stack.bottom)
    history = solve(cover, 60.0, time_grid(DWELL_S, 1500))
    series = 1 / (1 / 12.0 + 1 / stack.interfaces[0].likely_w_m2k)
    taken = float(np.trapezoid(series * (history.interface_c - 20.0), history.times_s))
    assert -float(history.energy_j_m2[-1]) == pytest.approx(taken, rel=1e-3)


def test_an_insulated_stack_evens_out_and_keeps_its_heat() -> None:
    layers = (Layer("a", 0.2, 1000.0, 1000.0, 2e-3), Layer("b", 1.0, 2000.0, 800.0, 3e-3))
    stack = Stack(layers, (PERFECT, Interface(800.0, 800.0, 800.0), PERFECT), 1, Insulated(), Insulated())
    history = solve(stack, (200.0, 20.0), time_grid(3600.0))
    heats = [layer.capacity_j_m2k for layer in layers]
    mixed_c = (200.0 * heats[0] + 20.0 * heats[1]) / sum(heats)
    np.testing.assert_allclose(history.layer_c[:, -1], mixed_c, atol=1e-6)
    np.testing.assert_allclose(history.stored_j_m2, 0.0, atol=1e-6 * heats[0] * 180)


# --- convergence --------------------------------------------------------------------------------------------------


def _off(history: History, reference: History) -> float:
    late = history.times_s > 2.0
    return float(np.abs(history.interface_c - reference.interface_c)[late].max())


def test_the_grid_converges_with_second_order_and_is_fine_enough() -> None:
    stack = board_stack()
    reference = solve(stack, AIR_C, TIMES, refine=16)
    errors = [_off(solve(stack, AIR_C, TIMES, refine=refine), reference) for refine in (1, 2, 4)]
    orders = [log2(coarse / fine) for coarse, fine in pairwise(errors)]
    assert errors[0] < 0.25
    assert all(1.8 < order < 2.3 for order in orders), orders


def test_the_usual_grid_is_fine_enough_for_stacks_of_the_book() -> None:
    """Blanks, products, presses, covers and pads drawn at random, beside four times as many cells, from 1 s on."""
    for stack in _any_stacks(60):
        usual, fine = (solve(stack, AIR_C, TIMES_S, refine=refine).interface_c for refine in (1, 4))
        off_k = np.abs(usual - fine)[TIMES_S >= 1.0]
        assert off_k.max() < 0.25, [layer.title for layer in stack.layers]


def _any_stacks(count: int) -> list[Stack]:
    book, chance, stacks = load_book(), random.Random(17), list[Stack]()
    blanks, products = list(book.catalogue["blanks"].values()), list(book.catalogue["products"])
    presses = [press for press in book.catalogue["press_types"].values() if press.closing in PLATENS]
    sheets = {
        kind: [
            None,
            *(
                Sheet(name, consumable)
                for name, consumable in book.catalogue["consumables"].items()
                if consumable.kind == kind
            ),
        ]
        for kind in ("cover", "pad")
    }
    while len(stacks) < count:
        blank, transfer = chance.choice(blanks), book.transfer(chance.choice(products))
        substrate = book.catalogue["substrates"][blank.substrate]
        if transfer is None or transfer.principle == "stud":
            continue
        stacks.append(
            stack_for(
                substrate,
                transfer,
                chance.choice(presses),
                200.0,
                thickness_mm=blank.thickness,
                cover=chance.choice(sheets["cover"]),
                pad=chance.choice(sheets["pad"]),
                plies=2 if substrate.family == "cloth" else 1,
                face_down=transfer.principle == "dye-vapour" and substrate.family == "ceramic",
                covered=chance.choice((1.0, 0.5, 0.2)),
            )
        )
    return stacks


@pytest.mark.parametrize("name", ["fixed platen", "light platen"])
def test_steps_converge_with_second_order_and_are_short_enough(name: str) -> None:
    stack, times = STACKS[name], np.array([0.0, 3.0, 10.0, 30.0, 60.0])
    finest = solve(stack, AIR_C, times, step_refine=32, stepped=True)
    errors = [
        float(np.abs(solve(stack, AIR_C, times, step_refine=n, stepped=True).interface_c - finest.interface_c).max())
        for n in (1, 2, 4)
    ]
    orders = [log2(coarse / fine) for coarse, fine in pairwise(errors)]
    assert errors[0] < 0.05
    assert all(order > 1.6 for order in orders), orders


def test_moisture_converges_with_steps_and_grid() -> None:
    stack, times = STACKS["damp board, light platen"], np.array([0.0, 3.0, 10.0, 30.0, 60.0])
    usual = solve(stack, AIR_C, times)
    finer = solve(stack, AIR_C, times, refine=3, step_refine=6)
    np.testing.assert_allclose(usual.interface_c[1:], finer.interface_c[1:], atol=1.0)
    assert float(usual.steam_j_m2[-1]) == pytest.approx(float(finer.steam_j_m2[-1]), rel=0.03)


@pytest.mark.parametrize("name", EXACT)
def test_the_stepper_agrees_with_the_exact_solution(name: str) -> None:
    exact, stepped = solve(STACKS[name], 60.0, TIMES), solve(STACKS[name], 60.0, TIMES, stepped=True)
    np.testing.assert_allclose(stepped.interface_c[5:], exact.interface_c[5:], atol=0.05)
    np.testing.assert_allclose(stepped.layer_c[:, 5:], exact.layer_c[:, 5:], atol=0.05)
    np.testing.assert_allclose(stepped.energy_j_m2[-1], exact.energy_j_m2[-1], rtol=1e-3)


def test_the_piecewise_solution_agrees_with_the_stepper_for_any_platen() -> None:
    chance, times = random.Random(5), time_grid(90.0, 80)
    passages = 0
    for _ in range(25):
        platen = HeatedPlaten(
            set_c=chance.uniform(120.0, 220.0),
            capacity_j_m2k=10 ** chance.uniform(3.3, 4.8),
            power_w_m2=10 ** chance.uniform(3.6, 4.6),
            loss_w_m2k=chance.uniform(0.0, 15.0),
            ambient_c=AIR_C,
            control=Proportional(10 ** chance.uniform(-0.3, 1.5)),
        )
        start_c = chance.choice((AIR_C, 90.0, platen.set_c + 40.0))
        exact = solve(board_stack(platen), start_c, times)
        stepped = solve(board_stack(platen), start_c, times, step_refine=4, stepped=True)
        passages += int(np.ptp(exact.top_c) > platen.control.band_k)  # type: ignore[union-attr]
        np.testing.assert_allclose(exact.top_c[3:], stepped.top_c[3:], atol=0.1)
        np.testing.assert_allclose(exact.interface_c[3:], stepped.interface_c[3:], atol=0.1)
    assert passages > 5


def test_any_damp_stack_keeps_its_heat_and_never_overshoots() -> None:
    # Absurdly light and absurdly heavy layers among them: no answer may leave the range of what it was heated by.
    chance, times = random.Random(1), time_grid(60.0, 80)
    for _ in range(60):
        layers = tuple(
            Layer(
                f"layer {place}",
                10 ** chance.uniform(-1.5, 2.3),
                10 ** chance.uniform(1.8, 3.9),
                10 ** chance.uniform(2.6, 3.3),
                10 ** chance.uniform(-4.3, -1.5),
                chance.choice((0.0, 0.05, 0.15)),
            )
            for place in range(chance.randint(1, 5))
        )
        contacts = tuple(Interface(x, x, x) for x in (10 ** chance.uniform(1.5, 4) for _ in range(len(layers) + 1)))
        top = chance.choice((FixedPlaten(200.0), HeatedPlaten(200.0, 10 ** chance.uniform(3, 5), 3e4, 8.0, AIR_C)))
        bottom = chance.choice((Insulated(), Convective(10.0, AIR_C), FixedPlaten(180.0)))
        stack = Stack(layers, contacts, chance.randrange(len(layers)), top, bottom)
        history = solve(stack, AIR_C, times, stepped=stack.damp)
        out = history.stored_j_m2 + history.lost_j_m2 + history.steam_j_m2
        np.testing.assert_allclose(out, history.energy_j_m2, rtol=0, atol=1e-6 * np.abs(history.energy_j_m2).max())
        for values in (history.interface_c, history.back_c, history.layer_c):
            assert values.min() >= AIR_C - 0.01
            assert values.max() <= 200.0 + 0.01


# --- physics of the parts -----------------------------------------------------------------------------------------


def test_a_very_heavy_platen_is_a_fixed_one() -> None:
    heavy = HeatedPlaten(200.0, 1e9, 1e5, 10.0, AIR_C)
    np.testing.assert_allclose(
        solve(board_stack(heavy), AIR_C, TIMES).interface_c[5:],
        solve(board_stack(), AIR_C, TIMES).interface_c[5:],
        atol=0.05,
    )


def test_a_light_platen_sags_and_climbs_back() -> None:
    history = solve(board_stack(light_platen()), AIR_C, time_grid(300.0))
    lowest = int(history.top_c.argmin())
    assert history.top_c[0] == pytest.approx(200.0)
    assert 5.0 < 200.0 - history.top_c[lowest] < 30.0
    assert history.top_c[-1] > history.top_c[lowest] + 2.0
    assert history.top_c.max() <= 200.0 + 1e-6


def test_an_idle_platen_stays_at_its_set_temperature() -> None:
    # Next to nothing under it: a contact that lets nothing through.
    stack = board_stack(light_platen())
    closed = Interface(1e-9, 1e-9, 1e-9)
    idle = Stack(stack.layers, (closed, *stack.interfaces[1:]), 2, stack.top, stack.bottom)
    np.testing.assert_allclose(solve(idle, AIR_C, TIMES).top_c, 200.0, atol=1e-6)


def test_a_thermostat_swings_within_its_hysteresis_once_warm() -> None:
    history = solve(board_stack(light_platen(OnOff(6.0))), 150.0, np.linspace(0.0, 600.0, 3001))
    late = history.top_c[history.times_s > 200]
    # One step of full power or of idle loss may carry it past either end.
    assert 196.5 < late.min() < 198.0
    assert 202.5 < late.max() < 203.5


def test_power_that_cannot_hold_the_platen_is_refused() -> None:
    with pytest.raises(HeatError, match="cannot hold"):
        HeatedPlaten(200.0, 8e3, 1000.0, 12.0, 22.0)


def test_moisture_takes_its_latent_heat_and_no_more() -> None:
    damp = solve(board_stack(water_share=0.02), AIR_C, time_grid(2400.0))
    water_j_m2 = 0.02 * 1010.0 * 3.2e-3 * WATER_LATENT_J_KG
    assert float(damp.steam_j_m2[-1]) == pytest.approx(water_j_m2, rel=1e-9)
    assert (np.diff(damp.steam_j_m2) >= -1e-6).all()


def test_a_damp_board_lingers_at_the_boil_and_is_never_ahead_of_a_dry_one() -> None:
    times = time_grid(900.0, 400)
    damp, dry = solve(board_stack(water_share=0.06), AIR_C, times), solve(board_stack(), AIR_C, times)
    lingers_s, passes_s = (
        np.interp(WATER_TO_C, run.back_c, times) - np.interp(WATER_FROM_C, run.back_c, times) for run in (damp, dry)
    )
    assert lingers_s > 1.5 * passes_s
    # First-order steps smear the first second by a few hundredths of a kelvin.
    assert (damp.layer_c[2] <= dry.layer_c[2] + 0.1).all()


def test_water_that_has_gone_does_not_come_back() -> None:
    # A platen that dies: it warms the cloth past the boil, then all cools together.
    dying = HeatedPlaten(160.0, 2e3, 1e6, 0.0, AIR_C, OnOff(400.0))
    cloth = Layer("cloth", 0.07, 400.0, 1350.0, 0.6e-3, 0.075)
    contact = Interface(1200.0, 1200.0, 1200.0)
    history = solve(Stack((cloth,), (contact, PERFECT), 0, dying, Convective(60.0, AIR_C)), AIR_C, time_grid(120.0))
    assert history.interface_c.max() > 90.0
    assert history.interface_c[-1] < 60.0
    assert float(history.steam_j_m2[-1]) > 0
    assert (np.diff(history.steam_j_m2) >= -1e-6).all()


def test_face_down_swaps_print_and_back() -> None:
    up, down = solve(board_stack(), AIR_C, TIMES), solve(board_stack(print_side="lower"), AIR_C, TIMES)
    np.testing.assert_array_equal(up.interface_c, down.back_c)
    np.testing.assert_array_equal(up.back_c, down.interface_c)
    assert board_stack(print_side="lower").print_at == 3


# --- reading a history, and refusals ------------------------------------------------------------------------------


def ramp() -> History:
    """The print climbs 10 K a second to 100 °C at 10 s, then falls as fast."""
    times = np.linspace(0.0, 20.0, 21)
    values = np.where(times <= 10, 10 * times, 200 - 10 * times)
    zero = np.zeros_like(times)
    return History(times, values, values / 2, zero, zero[None], zero, zero, zero, zero)


def test_reading_a_history() -> None:
    history = ramp()
    assert history.time_to_reach_s(55.0) == pytest.approx(5.5)
    assert history.time_to_reach_s(0.0) == 0.0
    assert history.time_to_reach_s(100.1) == float("inf")
    assert history.time_above_s(55.0) == pytest.approx(9.0)
    assert history.time_above_s(55.0, 8.25) == pytest.approx(2.75)
    assert history.time_above_s(-1.0) == pytest.approx(20.0)
    assert history.time_above_s(101.0) == 0.0
    assert history.interface_at_c(12.5) == pytest.approx(75.0)
    assert history.peak_back_c == 50.0
    with pytest.raises(HeatError, match="outside"):
        history.time_above_s(50.0, 21.0)


def test_histories_cannot_be_written_to() -> None:
    history = solve(board_stack(), AIR_C, TIMES)
    with pytest.raises(ValueError, match="read-only"):
        history.interface_c[0] = 0.0


@pytest.mark.parametrize("times", [[0.0], [1.0, 2.0], [0.0, 2.0, 1.0], [0.0, float("nan")], [0.0, float("inf")]])
def test_times_that_make_no_sense_are_refused(times: list[float]) -> None:
    with pytest.raises(HeatError, match="times"):
        solve(board_stack(), AIR_C, np.array(times))


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_layers_that_make_no_sense_are_refused(value: float) -> None:
    with pytest.raises(HeatError, match="cover: conductivity_w_mk"):
        Layer("cover", value, 1000.0, 1000.0, 1e-3)
    with pytest.raises(HeatError, match="cover: thickness_m"):
        Layer("cover", 0.2, 1000.0, 1000.0, value)


def test_stacks_that_make_no_sense_are_refused() -> None:
    stack = board_stack()
    with pytest.raises(HeatError, match="5 layers have 6 interfaces"):
        Stack(stack.layers, stack.interfaces[1:], 2, stack.top, stack.bottom)
    with pytest.raises(HeatError, match="blank is layer 5"):
        Stack(stack.layers, stack.interfaces, 5, stack.top, stack.bottom)
    with pytest.raises(HeatError, match="starting temperatures"):
        solve(stack, (20.0, 20.0), TIMES)
    with pytest.raises(HeatError, match="must be a temperature"):
        solve(stack, -300.0, TIMES)
    with pytest.raises(HeatError, match="must rise"):
        Interface(100.0, 500.0, 1000.0)


@pytest.mark.parametrize("name", ["damp board", "damp board, light platen"])
def test_a_damp_stack_has_no_response_of_its_own(name: str) -> None:
    """It is not linear: a dry one stands in for it, and to take it for dry would be to forget its moisture."""
    stack = STACKS[name]
    with pytest.raises(HeatError, match="dry"):
        respond(stack, AIR_C, (AIR_C,) * len(stack.layers))
