"""The bounds: ordered, attained at corners, and not broken by any combination inside."""

from __future__ import annotations

import random
from math import inf

import pytest
from tests.rules.heat.stacks import AIR_C, CONTACT, board_stack, light_platen

from accord_rules.heat import (
    FixedPlaten,
    HeatError,
    Interface,
    Range,
    Spread,
    Stack,
    estimate,
    solve,
    time_grid,
)
from accord_rules.heat.estimate import Lean, leaning

DWELL_S, TARGET_C = 60.0, 170.0
SPREAD = Spread(platen_k=5.0)
EXACT = Spread(platen_k=0.0, conductivity_share=0.0, capacity_share=0.0)
BOARD = board_stack()
TWO_SIDED = Stack(BOARD.layers[:3], BOARD.interfaces[:4], 2, FixedPlaten(200.0), FixedPlaten(200.0))
FACE_DOWN = board_stack(print_side="lower")


@pytest.mark.parametrize("stack", [BOARD, TWO_SIDED, FACE_DOWN], ids=["face up", "two sided", "face down"])
def test_no_combination_inside_breaks_the_bounds(stack: Stack) -> None:
    spread, chance = SPREAD, random.Random(20)
    ranges = estimate(stack, AIR_C, DWELL_S, TARGET_C, spread)
    for _ in range(150):
        lean = Lean(*(chance.uniform(-1, 1) for _ in range(5)))
        history = solve(leaning(stack, spread, lean), AIR_C, time_grid(DWELL_S, 120))
        for bounds, value in (
            (ranges.interface_end_c, history.interface_c[-1]),
            (ranges.time_to_reach_s, history.time_to_reach_s(TARGET_C)),
            (ranges.time_above_s, history.time_above_s(TARGET_C)),
            (ranges.peak_back_c, history.peak_back_c),
            (ranges.energy_j_m2, history.energy_j_m2[-1]),
        ):
            assert bounds.low - 1e-6 <= value <= bounds.high + 1e-6, lean


def test_the_same_for_a_platen_that_sags() -> None:
    stack, spread, chance = board_stack(light_platen()), SPREAD, random.Random(21)
    ranges = estimate(stack, AIR_C, 20.0, TARGET_C, spread)
    for _ in range(15):
        lean = Lean(*(chance.uniform(-1, 1) for _ in range(5)))
        history = solve(leaning(stack, spread, lean), AIR_C, time_grid(20.0, 120))
        assert ranges.interface_end_c.low - 0.02 <= history.interface_c[-1] <= ranges.interface_end_c.high + 0.02
        assert ranges.peak_back_c.low - 0.02 <= history.peak_back_c <= ranges.peak_back_c.high + 0.02


def test_likely_is_the_stack_as_given() -> None:
    ranges = estimate(BOARD, AIR_C, DWELL_S, TARGET_C, SPREAD)
    history = solve(BOARD, AIR_C, time_grid(DWELL_S, 120))
    assert ranges.interface_end_c.likely == pytest.approx(history.interface_c[-1], abs=1e-9)
    assert ranges.time_to_reach_s.likely == pytest.approx(history.time_to_reach_s(TARGET_C), abs=1e-9)


def test_certain_inputs_give_one_number() -> None:
    exact = Interface(1200.0, 1200.0, 1200.0)
    stack = Stack(BOARD.layers, (exact,) * 6, 2, BOARD.top, BOARD.bottom)
    ranges = estimate(stack, AIR_C, DWELL_S, TARGET_C, EXACT)
    assert ranges.interface_end_c.high - ranges.interface_end_c.low < 1e-9
    assert ranges.time_to_reach_s.high - ranges.time_to_reach_s.low < 1e-9


def test_a_wider_spread_gives_wider_bounds() -> None:
    little = Spread(platen_k=2.0, conductivity_share=0.05, capacity_share=0.05)
    narrow = estimate(BOARD, AIR_C, DWELL_S, TARGET_C, little).interface_end_c
    wide = estimate(BOARD, AIR_C, DWELL_S, TARGET_C, SPREAD).interface_end_c
    assert wide.low < narrow.low < narrow.likely < narrow.high < wide.high


def test_what_may_not_be_reached_is_said_to_take_for_ever() -> None:
    reach = estimate(BOARD, AIR_C, DWELL_S, 190.0, SPREAD).time_to_reach_s
    assert reach.low < DWELL_S
    assert reach.high == inf


def test_contacts_lean_along_their_logarithm() -> None:
    stack = leaning(BOARD, SPREAD, Lean(above=-1.0, below=1.0))
    assert [interface.likely_w_m2k for interface in stack.interfaces[:3]] == [CONTACT.low_w_m2k] * 3
    assert [interface.likely_w_m2k for interface in stack.interfaces[3:]] == [CONTACT.high_w_m2k] * 3
    half = leaning(BOARD, SPREAD, Lean(above=-0.5)).interfaces[0].likely_w_m2k
    assert half == pytest.approx((CONTACT.low_w_m2k * CONTACT.likely_w_m2k) ** 0.5)


@pytest.mark.parametrize(
    ("share", "capacity", "kelvin"), [(1.0, 0.1, 5), (-0.1, 0.1, 5), (0.1, 1.0, 5), (0.1, 0.1, inf)]
)
def test_spreads_that_make_no_sense_are_refused(share: float, capacity: float, kelvin: float) -> None:
    with pytest.raises(HeatError):
        Spread(platen_k=kelvin, conductivity_share=share, capacity_share=capacity)


def test_ranges_rise() -> None:
    assert Range.around(3.0, (5.0, 1.0, 4.0)) == Range(1.0, 3.0, 5.0)
    with pytest.raises(HeatError, match="must rise"):
        Range(2.0, 1.0, 3.0)
