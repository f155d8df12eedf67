"""Quantities as people write them: whatever is read is one thing, and whatever is offered can be read.

An inch is 25.4 mm, a foot 12 in, a minute 60 s exactly (NIST SP 811, appendix B and table 6).
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accord_rules.documents import units
from accord_rules.documents.reading import LeafError, Quantity, readers_of
from accord_rules.documents.writing import quantity
from accord_rules.orders.order import Decoration, Order, Settings, Size

MEASURED = (units.TEMPERATURE, units.TIME, units.LENGTH, units.PRESSURE, units.AREA_DENSITY)
PROPER = st.tuples(st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64])).filter(lambda pair: pair[0] < pair[1])
# What a tired hand may type: pieces of quantities in any order.
PIECES = st.sampled_from(
    ["1", "5", "10", "500", ",", ".", "/", "-", "+", " ", ":", "'", '"', "7/8", "½", "°C", "F", "in", "ft", "mm", "min",
     "s", "h", "psi", "oz", "g/m2", "yd2", "²", "deg ", "1,500", "−"]
)  # fmt: skip


def refusal(reader: Quantity, text: str) -> LeafError | None:
    """Why a text is refused; None where it is read."""
    try:
        reader.leaf(text)
    except LeafError as error:
        return error
    return None


@given(
    whole=st.integers(0, 90), part=PROPER, between=st.sampled_from([" ", "-", "  "]), inch=st.sampled_from(["in", '"'])
)
def test_a_fraction_is_its_decimal(whole: int, part: tuple[int, int], between: str, inch: str) -> None:
    above, below = part
    number = Fraction(whole) + Fraction(above, below)
    for text in (f"{whole}{between}{above}/{below} {inch}", f"{float(number):.6f} {inch}"):
        assert units.parse(units.LENGTH, text) == pytest.approx(float(number * Fraction(254, 10)), abs=1e-8)


@given(feet=st.integers(1, 90), inches=st.integers(1, 11), part=PROPER)
def test_feet_and_inches_are_inches(feet: int, inches: int, part: tuple[int, int]) -> None:
    number = 12 * feet + inches + Fraction(*part)
    for text in (f"{feet}' {inches} {part[0]}/{part[1]}\"", f"{feet} ft {inches} {part[0]}/{part[1]} in"):
        assert units.parse(units.LENGTH, text) == pytest.approx(float(number * Fraction(254, 10)), abs=1e-8)


@given(minutes=st.integers(0, 59), seconds=st.integers(0, 59))
def test_a_clock_says_minutes_and_seconds(minutes: int, seconds: int) -> None:
    field = units.Field(zero=True)
    assert units.parse(units.TIME, f"{minutes}:{seconds:02}", field) == minutes * 60 + seconds
    assert units.parse(units.TIME, f"{minutes}:{seconds:02}:00", field) == minutes * 3600 + seconds * 60


@given(whole=st.integers(0, 9999), decimals=st.text("0123456789", min_size=1, max_size=6))
def test_a_comma_is_a_point_or_is_asked_about(whole: int, decimals: str) -> None:
    reader = Quantity(units.LENGTH, zero=True)
    refused = refusal(reader, f"{whole},{decimals} µm")
    if refused is None:
        assert reader.leaf(f"{whole},{decimals} µm") == pytest.approx(float(f"{whole}.{decimals}") / 1000, abs=1e-9)
    else:
        assert (refused.code, len(decimals)) == ("ambiguous", 3)
        assert 1 <= whole <= 999
        readings = [float(f"{whole}{decimals}") / 1000, float(f"{whole}.{decimals}") / 1000]
        assert [*map(reader.leaf, refused.allowed)] == pytest.approx(readings, abs=1e-9)


@given(value=st.floats(0.001, 290), dimension=st.sampled_from(MEASURED), system=st.sampled_from([*units.UNIT_SYSTEMS]))
def test_what_an_order_takes_is_read_again(value: float, dimension: units.Dimension, system: str) -> None:
    text = quantity(dimension, value, units.UNIT_SYSTEMS[system])
    assert units.parse(dimension, text) == pytest.approx(value, abs=1e-5)
    assert re.match(units.PATTERN, text)


@given(
    text=st.lists(PIECES, min_size=1, max_size=9).map("".join),
    dimension=st.sampled_from(MEASURED),
    most=st.sampled_from([None, units.PRESS_MOST_C]),
    zero=st.booleans(),
    hours=st.booleans(),
)
def test_whatever_is_typed_is_read_or_answered_with_what_can_be(
    text: str, dimension: units.Dimension, most: float | None, zero: bool, hours: bool
) -> None:
    reader = Quantity(dimension, zero=zero, most=most, hours=hours)
    refused = refusal(reader, text)
    if refused is None:
        assert re.match(units.PATTERN, text)
        assert dimension.least <= reader.leaf(text) <= (most or dimension.most) + 1e-9
        return
    assert refused.code in ("bad-format", "out-of-range", "ambiguous")
    # Offered as it would be read; that no press takes it is told next.
    again = filter(None, (refusal(reader, offered) for offered in refused.allowed))
    assert {error.code for error in again} <= {"out-of-range"}


@given(number=st.floats(0.5, 5000), dimension=st.sampled_from(MEASURED))
def test_a_number_is_offered_with_units_that_can_be_meant(number: float, dimension: units.Dimension) -> None:
    shown = units.shortest(round(number, 6))
    for text in (*units.with_each(dimension, number), *units.with_each(dimension, shown)):
        assert units.parse(dimension, text) > dimension.least


def test_a_press_is_set_to_what_presses_reach_and_a_job_is_due_in_hours() -> None:
    """The places that take less than their dimension: common practice, no source."""
    temperature, _ = readers_of(Settings)["temperature"]
    with pytest.raises(LeafError) as refused:
        temperature.leaf("392 °C")
    assert refused.value.allowed == ("392 °F",)
    due_in, _ = readers_of(Order)["due_in"]
    with pytest.raises(LeafError, match="1 h 30 min or 1 min 30 s"):
        due_in.leaf("1:30")
    assert readers_of(Settings)["time"][0].leaf("1:30") == 90.0
    assert readers_of(Size)["width"][0].leaf("5 7/8 in") == pytest.approx(149.225)
    assert readers_of(Decoration)["rim_distance"][0].leaf("0 in") == 0.0
