"""Quantities: strings with a unit at the edge, plain floats in one fixed unit inside.

Inside, each dimension has exactly one unit, named by a suffix on every variable that holds it:
``_c`` degrees Celsius, ``_k`` kelvin (a difference), ``_s`` seconds, ``_mm`` millimetres,
``_kpa`` kilopascals, ``_g_m2`` grams per square metre, ``_w`` watts, ``_a`` amperes, ``_v`` volts.
A temperature and a temperature difference are two dimensions: 20 °F more is 11.1 K more, while
20 °F is -6.7 °C, and mixing them up ruins work.

Factors are exact by definition (international inch, pound and yard; NIST SP 811 appendix B).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import gcd
from types import MappingProxyType

INCH_MM = 25.4
YARD_M = 0.9144
POUND_KG = 0.45359237
STANDARD_GRAVITY_M_S2 = 9.80665
PSI_KPA = POUND_KG * STANDARD_GRAVITY_M_S2 / (INCH_MM / 1000) ** 2 / 1000
OUNCE_PER_SQUARE_YARD_G_M2 = POUND_KG * 1000 / 16 / YARD_M**2
FAHRENHEIT_OFFSET = 32.0
KELVIN_PER_FAHRENHEIT = 5 / 9


class UnitError(ValueError):
    """A quantity that cannot be read: its message says what is wrong and what would be right; ``code`` is a Fault's."""

    def __init__(self, message: str, code: str = "bad-format") -> None:
        self.code = code
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Unit:
    """One spelling group of a unit: ``inside = number * factor + offset``."""

    symbol: str
    factor: float
    offset: float = 0.0
    spellings: tuple[str, ...] = ()

    def inside(self, number: float) -> float:
        return number * self.factor + self.offset

    def outside(self, value: float) -> float:
        return (value - self.offset) / self.factor


@dataclass(frozen=True, slots=True)
class Dimension:
    """What kind of quantity: its units (the first is the one used inside) and sane bounds, inside units."""

    name: str
    units: tuple[Unit, ...]
    least: float
    most: float
    least_open: bool = False
    example: str = ""
    decimals: int = 0

    @property
    def symbol(self) -> str:
        return self.units[0].symbol

    def unit(self, spelling: str) -> Unit | None:
        for unit in self.units:
            if spelling == unit.symbol or spelling in unit.spellings:
                return unit
        return None

    def allowed(self) -> str:
        return "a number with one of the units " + ", ".join(unit.symbol for unit in self.units)


_F_OFFSET_C = -FAHRENHEIT_OFFSET * KELVIN_PER_FAHRENHEIT

TEMPERATURE = Dimension(
    "temperature",
    (
        Unit("°C", 1.0, 0.0, ("degC", "C", "º C", "ºC")),
        Unit("°F", KELVIN_PER_FAHRENHEIT, _F_OFFSET_C, ("degF", "F", "ºF")),
        Unit("K", 1.0, -273.15, ("kelvin",)),
    ),
    -273.15,
    1000.0,
    example="375 °F",
)
TEMPERATURE_DIFFERENCE = Dimension(
    "temperature_difference",
    (
        Unit("K", 1.0, 0.0, ("Δ°C", "kelvin")),
        Unit("Δ°F", KELVIN_PER_FAHRENHEIT, 0.0, ("delta_degF",)),
    ),
    -500.0,
    500.0,
    example="11 K",
)
TIME = Dimension(
    "time",
    (
        Unit("s", 1.0, 0.0, ("sec", "second", "seconds")),
        Unit("min", 60.0, 0.0, ("minute", "minutes")),
        Unit("h", 3600.0, 0.0, ("hour", "hours")),
    ),
    0.0,
    30 * 86400.0,
    least_open=True,
    example="45 s",
)
LENGTH = Dimension(
    "length",
    (
        Unit("mm", 1.0),
        Unit("cm", 10.0),
        Unit("m", 1000.0),
        Unit("in", INCH_MM, 0.0, ("inch", "inches", '"')),
        Unit("µm", 0.001, 0.0, ("um", "μm", "micron")),
    ),
    0.0,
    100_000.0,
    least_open=True,
    example="280 mm",
    decimals=2,
)
PRESSURE = Dimension(
    "pressure",
    (
        Unit("kPa", 1.0),
        Unit("psi", PSI_KPA),
        Unit("bar", 100.0),
        Unit("N/cm2", 10.0, 0.0, ("N/cm²",)),
        Unit("MPa", 1000.0),
        Unit("Pa", 0.001),
    ),
    0.0,
    5_000.0,
    least_open=True,
    example="40 psi",
    decimals=1,
)
AREA_DENSITY = Dimension(
    "area_density",
    (
        Unit("g/m²", 1.0, 0.0, ("g/m2", "gsm")),
        Unit("oz/yd²", OUNCE_PER_SQUARE_YARD_G_M2, 0.0, ("oz/yd2",)),
    ),
    0.0,
    100_000.0,
    least_open=True,
    example="180 g/m2",
    decimals=1,
)
POWER = Dimension(
    name="power",
    units=(Unit("W", 1.0), Unit("kW", 1000.0)),
    least=0.0,
    most=100_000.0,
    least_open=True,
    example="1800 W",
)
CURRENT = Dimension(
    name="current", units=(Unit("A", 1.0),), least=0.0, most=1_000.0, least_open=True, example="15 A", decimals=1
)
VOLTAGE = Dimension(name="voltage", units=(Unit("V", 1.0),), least=0.0, most=1_000.0, least_open=True, example="120 V")
FORCE = Dimension(
    name="force",
    units=(Unit("N", 1.0), Unit("kN", 1000.0), Unit("lbf", POUND_KG * STANDARD_GRAVITY_M_S2)),
    least=0.0,
    most=1_000_000.0,
    least_open=True,
    example="300 N",
)
CONDUCTIVITY = Dimension(
    name="conductivity",
    units=(Unit("W/(m K)", 1.0, 0.0, ("W/m/K", "W/(m·K)")),),
    least=0.0,
    most=1_000.0,
    least_open=True,
    example="0.24 W/(m K)",
    decimals=3,
)
DENSITY = Dimension(
    name="density",
    units=(Unit("kg/m³", 1.0, 0.0, ("kg/m3",)),),
    least=0.0,
    most=30_000.0,
    least_open=True,
    example="1010 kg/m3",
)
HEAT_CAPACITY = Dimension(
    name="heat_capacity",
    units=(Unit("J/(kg K)", 1.0, 0.0, ("J/kg/K", "J/(kg·K)")),),
    least=0.0,
    most=10_000.0,
    least_open=True,
    example="1340 J/(kg K)",
)
# Plain numbers: no unit is written at the edge, so there is nothing to mix up.
PERCENT = Dimension("percent", (Unit("%", 1.0),), 0.0, 1_000.0, example="65", decimals=1)
COUNT = Dimension("count", (Unit("", 1.0),), 0.0, 1_000_000.0, example="24")
LIGHTNESS = Dimension("lightness", (Unit("L*", 1.0),), 0.0, 100.0, example="90", decimals=1)
RATIO = Dimension("ratio", (Unit("", 1.0),), 0.0, 1_000_000.0, example="1.5", decimals=2)

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        d.name: d
        for d in (
            TEMPERATURE,
            TEMPERATURE_DIFFERENCE,
            TIME,
            LENGTH,
            PRESSURE,
            AREA_DENSITY,
            POWER,
            CURRENT,
            VOLTAGE,
            FORCE,
            CONDUCTIVITY,
            DENSITY,
            HEAT_CAPACITY,
            PERCENT,
            COUNT,
            LIGHTNESS,
            RATIO,
        )
    }
)

# No exponents on purpose: nobody writes 2e2 °F on a job ticket, and 1e400 must not become infinity.
_NUMBER = r"[-+]?[0-9]{1,9}(?:\.[0-9]{1,6})?"
_PART = re.compile(rf"\s*({_NUMBER})\s*([^\s0-9.+-][^0-9+-]*?[²³23]?)\s*(?=$|[0-9+-])")
MOST_CHARACTERS = 40
# Inches are also written as rules are divided: "5 7/8 in", "5-7/8 in", "1/2 in".
_FRACTION = r"(?:([0-9]{1,6})(?:\s+|\s*-\s*))?([0-9]{1,2})/([0-9]{1,2})"
_INCHES = re.compile(rf"\s*{_FRACTION}\s*([^\s0-9]*)\s*")
_DIVIDED_INTO = (2, 4, 8, 16, 32, 64)
_SHOWN_INTO = 16
# A length is shown in sixteenths where that moves it by no more than this share of it: 10 mm are 3/8 in.
_MOVED_MOST = 0.05
_SAME_INCHES = 1e-7


def parse(dimension: Dimension, text: object) -> float:
    """Read ``text`` ("375 °F", "1 min 10 s") as a quantity of ``dimension``; the answer is in its inside unit.

    Raises UnitError for anything else: a bare number, an unknown unit, a value no workshop can mean.
    """
    if isinstance(text, bool) or not isinstance(text, str):
        raise UnitError(f"a quantity is a string with a unit, such as {dimension.example!r}", "wrong-type")
    if len(text) > MOST_CHARACTERS:
        raise UnitError(f"longer than {MOST_CHARACTERS} characters")
    if dimension is LENGTH and (divided := _INCHES.fullmatch(text)) is not None:
        value = round(_divided_inches(divided, text), 9)
        _check_bounds(dimension, value)
        return value
    # Time is the one dimension people write in several parts.
    values = [_read_part(dimension, number, unit) for number, unit in _parts(dimension, text)]
    if len(values) > 1 and dimension is not TIME:
        raise UnitError(f"one number and one unit, such as {dimension.example!r}")
    # Nine decimals: 392 °F and 200 °C must be the same temperature when both meet a limit.
    value = round(sum(values), 9)
    _check_bounds(dimension, value)
    return value


def _divided_inches(divided: re.Match[str], text: str) -> float:
    """Millimetres of a fraction of an inch. Raises UnitError for a fraction of another unit, and for one on no rule."""
    whole, part, into, spelling = divided.groups()
    if not spelling:
        raise UnitError(f"{text.strip()} has no unit: write {LENGTH.allowed()}, such as {LENGTH.example!r}")
    unit = LENGTH.unit(spelling)
    if unit is None or unit.symbol != "in":
        raise UnitError("only inches are written as fractions, such as '5 7/8 in'")
    if int(into) not in _DIVIDED_INTO or not 0 < int(part) < int(into):
        raise UnitError("an inch is divided into 2, 4, 8, 16, 32 or 64, such as '5 7/8 in'")
    return unit.inside(int(whole or 0) + int(part) / int(into))


def with_each(dimension: Dimension, value: object) -> tuple[str, ...]:
    """What ``value`` may have meant: its number with each unit that ``parse`` takes it with; none if it has no number.

    None either where it is out of bounds as it stands: another unit would only make another quantity of it.
    """
    text = f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
    number = re.fullmatch(rf"\s*({_NUMBER})[^0-9+-]*", text)
    if number is None or (isinstance(value, str) and _is_read(dimension, value, "out-of-range")):
        return ()
    meant = (f"{number.group(1)} {unit.symbol}" for unit in dimension.units)
    return tuple(text for text in meant if _is_read(dimension, text))


def _is_read(dimension: Dimension, text: str, refused_as: str = "") -> bool:
    """Whether ``parse`` takes the text; or, if a code is given, whether it refuses it as that."""
    try:
        parse(dimension, text)
    except UnitError as error:
        return error.code == refused_as
    return not refused_as


def _parts(dimension: Dimension, text: str) -> list[tuple[str, str]]:
    parts: list[tuple[str, str]] = []
    position = 0
    while position < len(text):
        match = _PART.match(text, position)
        if match is None:
            raise UnitError(_why_unreadable(dimension, text))
        parts.append((match.group(1), match.group(2).strip()))
        position = match.end()
    if not parts:
        raise UnitError(_why_unreadable(dimension, text))
    return parts


def _why_unreadable(dimension: Dimension, text: str) -> str:
    if re.fullmatch(rf"\s*{_NUMBER}\s*", text):
        return f"{text.strip()} has no unit: write {dimension.allowed()}, such as {dimension.example!r}"
    return f"cannot be read as {dimension.name.replace('_', ' ')}: write {dimension.allowed()}"


def _read_part(dimension: Dimension, number: str, spelling: str) -> float:
    unit = dimension.unit(spelling)
    if unit is None:
        raise UnitError(f"unit {spelling!r} is not known here: write {dimension.allowed()}")
    return unit.inside(float(number))


def _check_bounds(dimension: Dimension, value: float) -> None:
    too_small = value <= dimension.least if dimension.least_open else value < dimension.least - 1e-9
    if too_small or value > dimension.most:
        bound = "above" if dimension.least_open else "at least"
        raise UnitError(
            f"must be {bound} {dimension.least:g} {dimension.symbol} and at most {dimension.most:g} {dimension.symbol}",
            "out-of-range",
        )


@dataclass(frozen=True, slots=True)
class UnitPreferences:
    """Which unit a shop reads each dimension in; symbols as in this module."""

    temperature: str = "°C"
    length: str = "mm"
    pressure: str = "kPa"
    area_density: str = "g/m²"

    def unit(self, dimension: Dimension) -> Unit:
        if dimension is TEMPERATURE_DIFFERENCE:
            return dimension.units[1] if self.temperature == "°F" else dimension.units[0]
        symbol = getattr(self, dimension.name, dimension.symbol)
        return dimension.unit(symbol) or dimension.units[0]


METRIC = UnitPreferences()
US_CUSTOMARY = UnitPreferences("°F", "in", "psi", "oz/yd²")
UNIT_SYSTEMS: Mapping[str, UnitPreferences] = MappingProxyType({"metric": METRIC, "us-customary": US_CUSTOMARY})


def show(dimension: Dimension, value: float, units: UnitPreferences = METRIC) -> str:
    """Write an inside value for a reader who uses ``units``; rounded to what a workshop can set or read."""
    if dimension is TIME:
        return _show_time(value)
    unit = units.unit(dimension)
    number = _round_for(dimension, unit, unit.outside(value))
    symbol = "°F" if unit.symbol == "Δ°F" else unit.symbol
    return f"{number} {symbol}".rstrip()


def _in_sixteenths(inches: float) -> str | None:
    """The length as a rule shows it; None where that is too far off, and for decimals as people write them."""
    sixteenths = round(abs(inches) * _SHOWN_INTO)
    off = abs(sixteenths / _SHOWN_INTO - abs(inches))
    hundredths = abs(inches) * 100
    if not sixteenths or off > _MOVED_MOST * abs(inches):
        return None
    if off > _SAME_INCHES and abs(hundredths - round(hundredths)) <= 100 * _SAME_INCHES:
        return None
    whole, part = divmod(sixteenths, _SHOWN_INTO)
    fraction = f"{part // gcd(part, _SHOWN_INTO)}/{_SHOWN_INTO // gcd(part, _SHOWN_INTO)}" if part else ""
    return ("-" if inches < 0 else "") + " ".join(filter(None, (str(whole) if whole else "", fraction)))


def _round_for(dimension: Dimension, unit: Unit, number: float) -> str:
    decimals = dimension.decimals
    if dimension is LENGTH and unit.symbol == "in" and (divided := _in_sixteenths(number)) is not None:
        return divided
    if dimension is LENGTH and unit.symbol == "mm" and abs(number) >= 10:
        decimals = 0
    if dimension is LENGTH and unit.symbol == "in" and abs(number) < 1:
        decimals = 3
    text = f"{number:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _show_time(seconds: float) -> str:
    whole = round(seconds)
    if whole != 0 and whole % 3600 == 0:
        return f"{whole // 3600} h"
    if whole >= 3600:
        return f"{whole // 3600} h {round(whole % 3600 / 60)} min"
    if whole >= 120:
        return f"{whole // 60} min" + (f" {whole % 60} s" if whole % 60 else "")
    return f"{seconds:.1f}".rstrip("0").rstrip(".") + " s"
