"""Quantities against scipy's constants, pint, and the conversion factors of NIST SP 811 appendix B."""

from __future__ import annotations

import warnings

import pytest
from scipy import constants

from accord_rules.documents import units

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pint

UREG = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [
        (212, 100), (257, 125), (275, 135), (285, 140.56), (300, 148.89), (305, 151.67), (320, 160), (325, 162.78),
        (330, 165.56), (350, 176.67), (360, 182.22), (375, 190.56), (380, 193.33), (385, 196.11), (390, 198.89),
        (392, 200), (400, 204.44), (410, 210), (425, 218.33),
    ],
)  # fmt: skip
def test_fahrenheit(fahrenheit: float, celsius: float) -> None:
    """t_C = (t_F - 32) / 1.8, NIST SP 811; scipy.constants agrees to the last bit that is kept."""
    read = units.parse(units.TEMPERATURE, f"{fahrenheit} °F")
    assert read == pytest.approx(celsius, abs=0.005)
    assert read == pytest.approx(constants.convert_temperature(fahrenheit, "Fahrenheit", "Celsius"), abs=1e-9)


def test_392_fahrenheit_is_exactly_200_celsius() -> None:
    assert units.parse(units.TEMPERATURE, "392 °F") == 200.0 == units.parse(units.TEMPERATURE, "473.15 K")


@pytest.mark.parametrize(("fahrenheit", "kelvin"), [(20, 11.11), (25, 13.89), (10, 5.56), (5, 2.78)])
def test_a_difference_is_no_temperature(fahrenheit: float, kelvin: float) -> None:
    assert units.parse(units.TEMPERATURE_DIFFERENCE, f"{fahrenheit} Δ°F") == pytest.approx(kelvin, abs=0.005)


@pytest.mark.parametrize(
    ("dimension", "text", "expected"),
    [
        (units.PRESSURE, "1 psi", constants.psi / 1000),
        (units.PRESSURE, "40 psi", 275.79),
        (units.PRESSURE, "1 bar", 100.0),
        (units.PRESSURE, "1 N/cm2", 10.0),
        (units.PRESSURE, "80 psi", 551.58),
        (units.AREA_DENSITY, "1 oz/yd2", constants.oz * 1000 / constants.yard**2),
        (units.AREA_DENSITY, "2.6 oz/yd2", 88.155),
        (units.LENGTH, "1 in", constants.inch * 1000),
        (units.LENGTH, "1/2 inch", 0.5 * constants.inch * 1000),
        (units.LENGTH, "1/64 in", constants.inch * 1000 / 64),
        (units.FORCE, "1 lbf", constants.lbf),
        (units.TIME, "1 min 10 s", 70.0),
        (units.TIME, "2 h", 7200.0),
    ],
)
def test_conversions(dimension: units.Dimension, text: str, expected: float) -> None:
    assert units.parse(dimension, text) == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize(
    ("dimension", "ours", "theirs"),
    [
        (units.PRESSURE, "psi", "psi"),
        (units.PRESSURE, "kPa", "kilopascal"),
        (units.LENGTH, "in", "inch"),
        (units.AREA_DENSITY, "oz/yd²", "ounce / yard ** 2"),
        (units.TEMPERATURE, "°F", "degF"),
        (units.TEMPERATURE_DIFFERENCE, "Δ°F", "delta_degF"),
        (units.FORCE, "lbf", "pound_force"),
    ],
)
def test_pint_agrees(dimension: units.Dimension, ours: str, theirs: str) -> None:
    inside = {"pressure": "kilopascal", "length": "millimeter", "area_density": "gram / meter ** 2",
              "temperature": "degC", "temperature_difference": "delta_degC", "force": "newton"}  # fmt: skip
    for number in (0.5, 1, 37.25, 392):
        expected = UREG.Quantity(number, theirs).to(inside[dimension.name]).magnitude
        assert units.parse(dimension, f"{number} {ours}") == pytest.approx(expected, rel=1e-9, abs=1e-8)


@pytest.mark.parametrize("unit", ["°C", "°F"])
def test_what_is_shown_reads_back(unit: str) -> None:
    preferences = units.METRIC if unit == "°C" else units.US_CUSTOMARY
    for value in (20.0, 110.0, 150.0, 200.0):
        shown = units.show(units.TEMPERATURE, value, preferences)
        assert units.parse(units.TEMPERATURE, shown) == pytest.approx(value, abs=0.3)
        assert shown.endswith(unit)


@pytest.mark.parametrize(
    ("length_mm", "shown"),
    [
        (10.0, "3/8 in"),
        (15.0, "9/16 in"),
        (25.0, "1 in"),
        (40.0, "1 9/16 in"),
        (300.0, "11 13/16 in"),
        (149.225, "5 7/8 in"),
        # Too far from a sixteenth: 3 mm of board, a line of 0.8 mm, a sheet of 0.25 mm.
        (3.0, "0.118 in"),
        (0.8, "0.031 in"),
        (0.25, "0.01 in"),
        # Decimals of an inch as somebody wrote them: 2.8 in, 12.15 in.
        (71.12, "2.8 in"),
        (308.61, "12.15 in"),
        (-10.0, "-3/8 in"),
    ],
)
def test_inches_are_shown_as_rules_are_divided_and_read_back(length_mm: float, shown: str) -> None:
    """Sixteenths, as rules and tapes of inches have them; 1 in is 25.4 mm exactly (NIST SP 811)."""
    assert units.show(units.LENGTH, length_mm, units.US_CUSTOMARY) == shown
    if length_mm > 0:
        assert units.parse(units.LENGTH, shown) == pytest.approx(length_mm, rel=0.051)


def test_no_length_shown_is_further_off_than_half_a_division() -> None:
    for tenths_mm in range(1, 20_000, 7):
        shown = units.show(units.LENGTH, tenths_mm / 10, units.US_CUSTOMARY)
        off_mm = abs(units.parse(units.LENGTH, shown) - tenths_mm / 10)
        assert off_mm <= min(25.4 / 32, max(0.05 * tenths_mm / 10, 0.0128)) + 1e-9, shown


@pytest.mark.parametrize(
    ("dimension", "text", "says"),
    [
        (units.LENGTH, "5 7/8", "no unit"),
        (units.LENGTH, "1/2 mm", "only inches"),
        (units.LENGTH, "1/3 in", "divided into"),
        (units.LENGTH, "5 3/2 in", "divided into"),
        (units.LENGTH, "0/2 in", "divided into"),
        (units.LENGTH, "999999 1/2 in", "at most"),
        (units.TEMPERATURE, "1/2 °C", "not known|cannot be read"),
        (units.TEMPERATURE, "392", "no unit"),
        (units.TEMPERATURE, 392, "string with a unit"),
        (units.TEMPERATURE, "1e3 °C", "not known"),
        (units.TEMPERATURE, "-300 °C", "at least -273.15"),
        (units.TEMPERATURE, "nan °C", "cannot be read"),
        (units.TEMPERATURE, "inf °C", "cannot be read"),
        (units.TEMPERATURE, "200 psi", "not known"),
        (units.TEMPERATURE, "٣٩٢ °F", "cannot be read"),
        (units.TEMPERATURE, "200 °C 5 °C", "one number"),
        (units.TIME, "0 s", "above 0"),
        (units.TIME, "-5 s", "above 0"),
        (units.LENGTH, "9" * 60 + " mm", "longer than"),
        (units.LENGTH, "", "cannot be read"),
        (units.PRESSURE, True, "string with a unit"),
    ],
)
def test_what_cannot_be_meant_is_refused(dimension: units.Dimension, text: object, says: str) -> None:
    with pytest.raises(units.UnitError, match=says):
        units.parse(dimension, text)


@pytest.mark.parametrize(
    ("dimension", "text", "expected"),
    [
        # 1 in = 25.4 mm and 1 ft = 0.3048 m exactly, NIST SP 811 appendix B.8; binary fractions of an inch are exact.
        (units.LENGTH, "5 7/8 in", 5.875 * 25.4),
        (units.LENGTH, "5-7/8 in", 5.875 * 25.4),
        (units.LENGTH, "5⅞ in", 5.875 * 25.4),
        (units.LENGTH, '5 7/8"', 5.875 * 25.4),
        (units.LENGTH, "1/2 in", 12.7),
        (units.LENGTH, "½ in", 12.7),
        (units.LENGTH, ".5 in", 12.7),
        (units.LENGTH, "8 in.", 203.2),
        (units.LENGTH, "8 IN", 203.2),
        (units.LENGTH, "1 ft", 304.8),
        (units.LENGTH, "5' 6\"", 66 * 25.4),
        (units.LENGTH, "5'6\"", 66 * 25.4),
        (units.LENGTH, "5′ 6″", 66 * 25.4),
        (units.LENGTH, "5 ft 6 1/2 in", 66.5 * 25.4),
        # 1 yd = 0.9144 m exactly, the same.
        (units.LENGTH, "2 yd", 1828.8),
        (units.LENGTH, "1,5 mm", 1.5),
        (units.LENGTH, "0,500 mm", 0.5),
        (units.LENGTH, "12,25 cm", 122.5),
        # t_C = (t_F - 32) / 1.8, NIST SP 811 appendix B.8.
        (units.TEMPERATURE, "392 deg F", 200.0),
        (units.TEMPERATURE, "392 F", 200.0),
        (units.TEMPERATURE, "392F", 200.0),
        (units.TEMPERATURE, "392 f", 200.0),
        (units.TEMPERATURE, "392 degrees Fahrenheit", 200.0),
        (units.TEMPERATURE, "200 deg. C", 200.0),
        (units.TEMPERATURE, "200 Celsius", 200.0),
        (units.PRESSURE, "40 PSI", 40 * constants.psi / 1000),
        (units.PRESSURE, "40 p.s.i.", 40 * constants.psi / 1000),
        (units.PRESSURE, "275 KPA", 275.0),
        # 1 oz/yd2 = 33.90575 g/m2, NIST SP 811 appendix B.8 (to seven figures).
        (units.AREA_DENSITY, "5.3 oz", 5.3 * 33.90575),
        (units.AREA_DENSITY, "5.3 oz/yd2", 5.3 * 33.90575),
        (units.AREA_DENSITY, "5.3 oz/yd^2", 5.3 * 33.90575),
        (units.AREA_DENSITY, "5.3 OZ/YD²", 5.3 * 33.90575),
        (units.AREA_DENSITY, "5.3 oz/sq. yd.", 5.3 * 33.90575),
        # 1 min = 60 s and 1 h = 3600 s exactly, NIST SP 811 table 6.
        (units.TIME, "70s", 70.0),
        (units.TIME, "1min10s", 70.0),
        (units.TIME, "1m 10s", 70.0),
        (units.TIME, "1:10", 70.0),
        (units.TIME, "1:10 min", 70.0),
        (units.TIME, "1:10 h", 4200.0),
        (units.TIME, "1:10:05", 4205.0),
        (units.TIME, "1 1/2 min", 90.0),
    ],
)
def test_quantities_as_tickets_have_them(dimension: units.Dimension, text: str, expected: float) -> None:
    assert units.parse(dimension, text) == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize(
    ("dimension", "ours", "theirs"),
    [
        (units.LENGTH, "ft", "foot"),
        (units.LENGTH, "yd", "yard"),
        (units.TEMPERATURE, "deg F", "degF"),
        (units.PRESSURE, "PSI", "psi"),
        (units.AREA_DENSITY, "oz", "ounce / yard ** 2"),
    ],
)
def test_pint_agrees_on_the_words_of_tickets(dimension: units.Dimension, ours: str, theirs: str) -> None:
    inside = {"pressure": "kilopascal", "length": "millimeter", "area_density": "gram / meter ** 2",
              "temperature": "degC"}  # fmt: skip
    for number in (0.5, 1, 37.25):
        expected = UREG.Quantity(number, theirs).to(inside[dimension.name]).magnitude
        assert units.parse(dimension, f"{number} {ours}") == pytest.approx(expected, rel=1e-9, abs=1e-8)


@pytest.mark.parametrize(
    ("dimension", "text", "code", "write"),
    [
        (units.LENGTH, "1,500 mm", "ambiguous", ("1500 mm", "1.5 mm")),
        (units.LENGTH, "1,500.5 mm", "bad-format", ("1500.5 mm",)),
        (units.LENGTH, "1.500,5 mm", "bad-format", ("1500.5 mm",)),
        (units.LENGTH, "1,234,567 µm", "bad-format", ("1234567 µm",)),
        (units.LENGTH, "1.2.3 mm", "bad-format", ()),
        (units.LENGTH, "11/2 in", "ambiguous", ("5.5 in", "1 1/2 in")),
        (units.LENGTH, "4 15/8 in", "bad-format", ("5.875 in",)),
        (units.LENGTH, "7/0 in", "bad-format", ()),
        (units.LENGTH, "5'-6\"", "bad-format", ("66 in",)),
        (units.LENGTH, "6 in 5 ft", "bad-format", ("5.5 ft",)),
        (units.LENGTH, "5'6", "bad-format", ("5' 6 in",)),
        (units.LENGTH, "5.875 inchs", "bad-format", ("5.875 in",)),
        (units.LENGTH, "200 km", "bad-format", ()),
        (units.LENGTH, "9000 in", "out-of-range", ("9000 mm",)),
        (units.TIME, "1 min -10 s", "bad-format", ("70 s",)),
        (units.TIME, "-1 min 70 s", "bad-format", ("130 s",)),
        (units.TIME, "1:70", "bad-format", ("130 s",)),
        (units.TIME, "1:5", "bad-format", ("1 min 5 s", "1 min 50 s")),
        (units.TIME, "1 min 10", "bad-format", ("1 min 10 s",)),
        # A millipascal is no megapascal, NIST SP 811 table 5.
        (units.PRESSURE, "1 mPa", "bad-format", ("1 MPa",)),
        (units.AREA_DENSITY, "180 g", "bad-format", ()),
    ],
)
def test_what_can_be_read_in_two_ways_says_what_to_write(
    dimension: units.Dimension, text: str, code: str, write: tuple[str, ...]
) -> None:
    with pytest.raises(units.UnitError) as refused:
        units.parse(dimension, text)
    assert (refused.value.code, refused.value.write) == (code, write)
    assert all(words in str(refused.value) for words in write)


def test_the_other_scale_is_asked_for_where_a_press_cannot_be_meant() -> None:
    """No press is set beyond 300 °C (common practice, no source): 320 °F is 160 °C, and 320 °C is no setting."""
    on_a_press = units.Field(most=units.PRESS_MOST_C)
    with pytest.raises(units.UnitError, match=r"at most 300 °C: was 320 °F meant\?") as refused:
        units.parse(units.TEMPERATURE, "320 °C", on_a_press)
    assert refused.value.write == ("320 °F",)
    assert units.parse(units.TEMPERATURE, "320 °F", on_a_press) == 160.0
    with pytest.raises(units.UnitError) as hotter:
        units.parse(units.TEMPERATURE, "900 °C", on_a_press)
    assert hotter.value.write == ()


def test_hours_are_asked_for_where_they_can_be_meant() -> None:
    with pytest.raises(units.UnitError) as refused:
        units.parse(units.TIME, "1:30", units.Field(hours=True))
    assert (refused.value.code, refused.value.write) == ("ambiguous", ("1 h 30 min", "1 min 30 s"))
    assert units.parse(units.TIME, "1:30 h", units.Field(hours=True)) == 5400.0


def test_nothing_is_a_quantity_where_it_may_be() -> None:
    for text in ("0 s", "0s", "0.0 s", "0:00"):
        assert units.parse(units.TIME, text, units.Field(zero=True)) == 0.0
