"""Axes of drawings: ticks at round values, as many as there is room for, worked out in one place for all pages."""

from __future__ import annotations

from itertools import pairwise
from math import isclose, log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accord_service.pages.plot import Axis


def is_round(step: float) -> bool:
    """1, 2 or 5 times a power of ten: what people read between without counting (common practice, no source)."""
    power = 10.0 ** round(log10(step / 2.2))
    return any(isclose(step, power * times, rel_tol=1e-6) for times in (1, 2, 5, 10))


@given(st.floats(-40.0, 480.0), st.floats(3.0, 900.0), st.floats(15.0, 80.0), st.floats(2.0, 8.0), st.booleans())
def test_ticks_between_two_values_are_round_and_apart(
    low: float, span: float, length: float, apart: float, upwards: bool
) -> None:
    start, end = (length, 0.0) if upwards else (0.0, length)
    axis = Axis.between(low, low + span, start, end, apart)
    assert (axis.at(low), axis.at(low + span)) == pytest.approx((start, end), abs=1e-6)
    assert all(low - 1e-6 <= tick <= low + span + 1e-6 for tick in axis.ticks)
    for one, other in pairwise(axis.ticks):
        assert is_round(other - one)
        assert abs(axis.at(other) - axis.at(one)) >= apart - 1e-6


@given(st.lists(st.floats(-40.0, 480.0), min_size=1, max_size=9), st.integers(3, 9))
def test_ticks_around_values_hold_them_all_and_are_no_more_than_there_may_be(values: list[float], most: int) -> None:
    axis = Axis.around(values, 0.0, 300.0, most)
    assert 2 <= len(axis.ticks) <= most
    assert (axis.low, axis.high) == (axis.ticks[0], axis.ticks[-1])
    assert axis.low - 1e-6 <= min(values) <= max(values) <= axis.high + 1e-6
    assert all(is_round(other - one) for one, other in pairwise(axis.ticks))


@pytest.mark.parametrize(
    ("values", "most", "ticks"),
    [
        ((183.0, 217.0), 6, (180, 190, 200, 210, 220)),
        ((120.5, 176.5), 7, (120, 130, 140, 150, 160, 170, 180)),
        ((0.0, 1.0), 6, (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)),
        ((200.0,), 6, None),
    ],
)
def test_the_finest_ticks_that_there_may_be_are_taken(
    values: tuple[float, ...], most: int, ticks: tuple[float, ...] | None
) -> None:
    """Drawn by hand beforehand. One value alone has an axis too."""
    axis = Axis.around(values, 0.0, 300.0, most)
    assert axis.low <= values[0] < axis.high
    if ticks is not None:
        assert axis.ticks == pytest.approx(ticks)
