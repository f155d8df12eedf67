"""Quantities: strings with a unit at the edge, plain floats in one fixed unit inside.

Inside, each dimension has exactly one unit, named by a suffix on every variable that holds it:
``_c`` degrees Celsius, ``_k`` kelvin (a difference), ``_s`` seconds, ``_mm`` millimetres,
``_kpa`` kilopascals, ``_g_m2`` grams per square metre, ``_w`` watts, ``_a`` amperes, ``_v`` volts.
A temperature and a temperature difference are two dimensions: 20 °F more is 11.1 K more, while
20 °F is -6.7 °C, and mixing them up ruins work.

Factors are exact by definition (international inch, pound and yard; NIST SP 811 appendix B).
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import gcd
from types import MappingProxyType

from accord_rules.documents.spelling import nearest

INCH_MM = 25.4
FOOT_MM = 12 * INCH_MM
YARD_M = 0.9144
POUND_KG = 0.45359237
STANDARD_GRAVITY_M_S2 = 9.80665
PSI_KPA = POUND_KG * STANDARD_GRAVITY_M_S2 / (INCH_MM / 1000) ** 2 / 1000
OUNCE_PER_SQUARE_YARD_G_M2 = POUND_KG * 1000 / 16 / YARD_M**2
FAHRENHEIT_OFFSET = 32.0
KELVIN_PER_FAHRENHEIT = 5 / 9


class UnitError(ValueError):
    """A quantity that cannot be read: its message says what is wrong and what would be right; ``code`` is a Fault's.

    ``write``: what may have been meant, each as ``parse`` takes it.
    """

    def __init__(self, message: str, code: str = "bad-format", write: tuple[str, ...] = ()) -> None:
        self.code = code
        self.write = write
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
    also: tuple[str, ...] = ()  # other examples, of how else it may be written

    @property
    def symbol(self) -> str:
        return self.units[0].symbol

    def unit(self, spelling: str) -> Unit | None:
        """The unit of a spelling as tickets have it: in capitals, with a full stop, ``2``, ``^2`` or ``²``."""
        for unit in self.units:
            if spelling == unit.symbol or spelling in unit.spellings:
                return unit
        folded = _folded(spelling)
        if spelling.startswith("m") and folded in _CAPITAL_COUNTS:
            return None
        return next((unit for unit in self.units if folded in map(_folded, (unit.symbol, *unit.spellings))), None)

    def allowed(self) -> str:
        return "a number with one of the units " + ", ".join(unit.symbol for unit in self.units)


# Spellings that another prefix of the SI shares but for its capital: mPa is a thousandth of a pascal.
_CAPITAL_COUNTS = frozenset({"mpa"})


def _folded(spelling: str) -> str:
    """A spelling without what tickets change in it: capitals, full stops, how a power is written."""
    plain = spelling.replace("²", "2").replace("³", "3").replace("^", "").replace("µ", "u").replace("μ", "u")
    return " ".join(plain.replace(".", "").lower().split())


def _degrees(letter: str, *names: str) -> tuple[str, ...]:
    """How tickets spell a scale of temperature out: "deg F", "degrees Fahrenheit", "Fahrenheit"."""
    return (
        tuple(f"{degree}{name}" for degree in ("deg ", "deg. ", "degree ", "degrees ") for name in (letter, *names))
        + names
    )


_F_OFFSET_C = -FAHRENHEIT_OFFSET * KELVIN_PER_FAHRENHEIT

TEMPERATURE = Dimension(
    "temperature",
    (
        Unit("°C", 1.0, 0.0, ("degC", "C", "º C", "ºC", "° C", *_degrees("C", "celsius", "centigrade"))),
        Unit(
            "°F",
            KELVIN_PER_FAHRENHEIT,
            _F_OFFSET_C,
            ("degF", "F", "º F", "ºF", "° F", *_degrees("F", "fahrenheit")),
        ),
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
        Unit("s", 1.0, 0.0, ("sec", "secs", "second", "seconds")),
        Unit("min", 60.0, 0.0, ("m", "mins", "minute", "minutes")),
        Unit("h", 3600.0, 0.0, ("hr", "hrs", "hour", "hours")),
    ),
    0.0,
    30 * 86400.0,
    least_open=True,
    example="45 s",
    also=("1 min 10 s", "1:10"),
)
LENGTH = Dimension(
    "length",
    (
        Unit("mm", 1.0),
        Unit("cm", 10.0),
        Unit("m", 1000.0),
        Unit("in", INCH_MM, 0.0, ("inch", "inches", '"', "″", "”", "''")),
        Unit("µm", 0.001, 0.0, ("um", "μm", "micron", "microns")),
        Unit("ft", FOOT_MM, 0.0, ("foot", "feet", "'", "′", "’")),
        Unit("yd", YARD_M * 1000, 0.0, ("yard", "yards")),
    ),
    0.0,
    100_000.0,
    least_open=True,
    example="280 mm",
    decimals=2,
    also=("5 7/8 in", "5' 6\""),
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
        Unit("g/m²", 1.0, 0.0, ("g/m2", "gsm", "g per m2")),
        # A shirt "of 5.3 oz" weighs that per square yard (common practice, no source).
        Unit(
            "oz/yd²",
            OUNCE_PER_SQUARE_YARD_G_M2,
            0.0,
            ("oz/yd2", "oz per yd2", "oz/sq yd", "oz per sq yd", "oz/sq. yd", "osy", "oz"),
        ),
    ),
    0.0,
    100_000.0,
    least_open=True,
    example="180 g/m2",
    decimals=1,
    also=("5.3 oz",),
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
# How much of a substance there is in a material, gets out of it, or is drawn to a magnet: as product safety law counts.
MASS_FRACTION = Dimension(
    name="mass_fraction",
    units=(Unit("ppm", 1.0, 0.0, ("mg/kg",)), Unit("%", 10_000.0)),
    least=0.0,
    most=1_000_000.0,
    least_open=True,
    example="100 ppm",
)
METAL_RELEASE = Dimension(
    name="metal_release",
    units=(Unit("µg/cm²/week", 1.0, 0.0, ("ug/cm²/week", "μg/cm²/week")),),
    least=0.0,
    most=1_000.0,
    least_open=True,
    example="0.5 µg/cm²/week",
    decimals=2,
)
LEACHING = Dimension(
    name="leaching",
    units=(Unit("mg/l", 1.0, 0.0, ("mg/L", "µg/ml", "µg/mL", "ug/ml")),),
    least=0.0,
    most=1_000.0,
    least_open=True,
    example="0.5 mg/l",
    decimals=2,
)
FLUX_INDEX = Dimension(
    name="flux_index",
    units=(Unit("kG²mm²", 1.0), Unit("T²mm²", 100.0)),
    least=0.0,
    most=100_000.0,
    least_open=True,
    example="50 kG²mm²",
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
            MASS_FRACTION,
            METAL_RELEASE,
            LEACHING,
            FLUX_INDEX,
            PERCENT,
            COUNT,
            LIGHTNESS,
            RATIO,
        )
    }
)

# No exponents on purpose: nobody writes 2e2 °F on a job ticket, and 1e400 must not become infinity.
_FIGURES_MOST = 9
_DECIMAL = rf"(?:[0-9]{{1,{_FIGURES_MOST}}}(?:[.,][0-9]{{1,6}})*|[.,][0-9]{{1,6}})"
_FRACTION = r"[0-9]{1,4}/[0-9]{1,4}"
_NUMBER = rf"[-+]?(?:(?:[0-9]{{1,9}}\s*[\s-]\s*)?{_FRACTION}|{_DECIMAL})"
_UNIT = r"[^\s0-9.,:/+-][^0-9:+-]*?(?:\^?[²³23](?![0-9.,]))?"
_PART = re.compile(rf"\s*({_NUMBER})\s*({_UNIT})\s*(?=$|[-+]?[.,]?[0-9])")
# A number with a unit that is not known, or none.
_NUMBER_ALONE = re.compile(rf"\s*({_NUMBER})(?:\s*[^\s0-9.,:/+-][^0-9+-]*)?\s*")
# The last number of several has lost its unit: 1 min 10, 5'6.
_UNIT_LOST = re.compile(rf"(.*[^\s0-9.,/+-])\s*({_NUMBER})\s*")
_MIXED = re.compile(r"([-+]?)(?:([0-9]+)\s*[\s-]\s*)?(?:([0-9]+)/([0-9]+))")
# What may stand before a comma with three figures after it where the comma parts thousands.
_THOUSANDS = re.compile(r"[-+]?[1-9][0-9]{0,2},[0-9]{3}")
_CLOCK = re.compile(r"\s*([0-9]{1,3}):([0-9]{1,2})(?::([0-9]{2}))?\s*([a-zA-Z]*)\.?\s*")
# The units that a quantity may be written in one after the other, the larger first.
_SEQUENCES: Mapping[str, tuple[str, ...]] = MappingProxyType({"time": ("h", "min", "s"), "length": ("ft", "in")})
MOST_CHARACTERS = 40
# Inches are also written as rules are divided: "5 7/8 in", "5-7/8 in", "1/2 in"; hours and minutes by halves.
_DIVIDED_INTO = (2, 4, 8, 16, 32, 64)
_DIVIDED = ("in", "min", "h")
_SHOWN_INTO = 16
# A length is shown in sixteenths where that moves it by no more than this share of it: 10 mm are 3/8 in.
_MOVED_MOST = 0.05
_SAME_INCHES = 1e-7
# No heat press is set further, °C (common practice, no source); beyond it the other scale was meant.
PRESS_MOST_C = 300.0
# How a quantity begins, for those who check before they send (JSON Schema, ECMA 262).
PATTERN = r"^\s*[-+−]?[.,]?[0-9¼-¾⅐-⅞]"


@dataclass(frozen=True, slots=True)
class Field:
    """How one place in a document takes a quantity, where it takes less, or more, than its dimension does.

    ``most``: inside unit. ``zero`` admits 0 where bounds are open. ``hours``: a place where 1:10 may be hours as well.
    """

    most: float | None = None
    zero: bool = False
    hours: bool = False


_ANY = Field()


def parse(dimension: Dimension, text: object, field: Field = _ANY) -> float:
    """Read ``text`` ("375 °F", "5 7/8 in", "1 min 10 s", "1:10") as ``dimension``; the answer is in its inside unit.

    Raises UnitError for anything else: a bare number, an unknown unit, a value no workshop can mean, and whatever can
    be read in two ways, with both.
    """
    if isinstance(text, bool) or not isinstance(text, str):
        raise UnitError(f"a quantity is a string with a unit, such as {dimension.example!r}", "wrong-type")
    if len(text) > MOST_CHARACTERS:
        raise UnitError(f"longer than {MOST_CHARACTERS} characters")
    text = _in_plain_characters(text)
    if dimension is TIME and (clock := _CLOCK.fullmatch(text)) is not None:
        text = _on_the_clock(text.strip(), clock, field)
    parts = _parts(dimension, text)
    # Nine decimals: 392 °F and 200 °C must be the same temperature when both meet a limit.
    value = round(sum(unit.inside(number) for number, unit in parts), 9)
    _check_bounds(dimension, value, field, parts)
    return value


def with_each(dimension: Dimension, value: object, field: Field = _ANY) -> tuple[str, ...]:
    """What ``value`` may have meant, as ``parse`` takes it: its number with each unit; none if it has no number.

    Where the unit is all that makes it out of range, the units with which it is not; where it can be read in two ways,
    those.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ()
    if not isinstance(value, str):
        return _with_units(dimension, float(value), dimension.units, field)
    try:
        parse(dimension, value, field)
    except UnitError as error:
        if error.write or error.code != "bad-format":
            return error.write
    number = _NUMBER_ALONE.fullmatch(_in_plain_characters(value[:MOST_CHARACTERS]))
    try:
        return () if number is None else _with_units(dimension, _number(number.group(1), ""), dimension.units, field)
    except UnitError:
        return ()


def _with_units(dimension: Dimension, number: float, of: Iterable[Unit], field: Field) -> tuple[str, ...]:
    """The number with each of the units that make a quantity of it which the field takes."""
    takers = (unit for unit in of if _is_in_bounds(dimension, round(unit.inside(number), 9), field))
    return tuple(f"{shortest(number)} {unit.symbol}" for unit in takers)


def shortest(number: float) -> str:
    """As many decimals as a document may have, without idle zeros."""
    text = f"{number:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _in_plain_characters(text: str) -> str:
    """Fractions of one character as three (5½ is 5 1/2), and the minus sign as the keyboard has it."""
    spelt = (
        f" {unicodedata.normalize('NFKC', c).replace(chr(0x2044), '/')}" if c in _FRACTION_SIGNS else c for c in text
    )
    return "".join(spelt).replace("−", "-").replace("⁄", "/")


_FRACTION_SIGNS = frozenset("¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞")


def _on_the_clock(text: str, clock: re.Match[str], field: Field) -> str:
    """A time with colons (1:10, 1:10:00) as one with units: minutes and seconds, where hours can't be meant."""
    first, second, third, spelling = clock.groups()
    unit = TIME.unit(spelling) if spelling else None
    if spelling and unit is None:
        raise UnitError(f"unit {spelling!r} is not known here: write {TIME.allowed()}")
    if field.hours and unit is None and third is None:
        write = tuple(
            f"{int(first)} {larger} {int(second)} {smaller}" for larger, smaller in (("h", "min"), ("min", "s"))
        )
        raise UnitError(f"{text} can be {_or(write)}: write one of them", "ambiguous", write)
    hours = third is not None or (unit is not None and unit.symbol == "h")
    figures = [int(figure) for figure in (first, second, third) if figure is not None]
    larger, smaller, *_ = symbols = ("h", "min", "s") if hours else ("min", "s")
    if len(second) != 2:
        write = tuple(f"{int(first)} {larger} {figure} {smaller}" for figure in (second, f"{second}0"))
        raise UnitError(f"{text} is no time on a clock: write {_or(write)}", write=write)
    if any(figure > 59 for figure in figures[1:]):
        parts = zip(map(float, figures), map(_time_unit, symbols), strict=False)
        write = (_summed(list(parts)),)
        raise UnitError(f"{text} is no time on a clock: write {_or(write)}", write=write)
    return " ".join(f"{figure} {symbol}" for figure, symbol in zip(figures, symbols, strict=False))


def _time_unit(symbol: str) -> Unit:
    return next(unit for unit in TIME.units if unit.symbol == symbol)


def _parts(dimension: Dimension, text: str) -> list[tuple[float, Unit]]:
    """The numbers with their units, one after the other."""
    parts: list[tuple[float, Unit]] = []
    position, signed = 0, False
    while position < len(text) or not parts:
        match = _PART.match(text, position)
        if match is None:
            raise _unreadable(dimension, text)
        number, spelling = match.group(1), match.group(2).strip()
        unit = dimension.unit(spelling)
        if unit is None:
            raise _unknown_unit(dimension, number, spelling)
        parts.append((_number(number, unit.symbol), unit))
        position = match.end()
        signed = signed or number[0] in "-+"
    if len(parts) > 1 and signed:
        # 5'-6" is 5' 6" with a dash between, never 4 ft 6 in.
        write = _summed([(abs(number), unit) for number, unit in parts])
        raise UnitError(f"{text.strip()} has a sign inside: write {write}", write=(write,))
    if len(parts) > 1:
        _check_sequence(dimension, text, parts)
    return parts


def _check_sequence(dimension: Dimension, text: str, parts: list[tuple[float, Unit]]) -> None:
    """Several parts are one quantity where people write them so (5' 6", 1 min 10 s). Raises UnitError elsewhere."""
    sequence = _SEQUENCES.get(dimension.name, ())
    symbols = [unit.symbol for _, unit in parts]
    in_order = [symbol for symbol in sequence if symbol in symbols]
    if symbols == in_order or (dimension is TIME and {*symbols} <= {*sequence}):
        return
    if sequence and {*symbols} <= {*sequence}:
        write = _summed(parts)
        raise UnitError(f"{text.strip()} has its parts out of order: write {write}", write=(write,))
    raise UnitError(f"one number and one unit, such as {dimension.example!r}")


def _summed(parts: list[tuple[float, Unit]]) -> str:
    """The parts as one quantity in the unit of the last."""
    unit = parts[-1][1]
    return f"{shortest(unit.outside(sum(of_part.inside(number) for number, of_part in parts)))} {unit.symbol}"


def _number(text: str, symbol: str) -> float:
    """A decimal number, with point or comma, or a fraction. Raises UnitError where it can be read in two ways."""
    if (mixed := _MIXED.fullmatch(text)) is not None:
        return _fraction(text, symbol, *mixed.groups())
    marks = [mark for mark in text if mark in ",."]
    if len(marks) > 1:
        write = _without_thousands(text, marks, symbol)
        raise UnitError(f"{text} has marks between its figures: write {_or(write) or 'figures alone'}", write=write)
    if _THOUSANDS.fullmatch(text):
        write = tuple(f"{shortest(float(text.replace(',', mark)))} {symbol}" for mark in ("", "."))
        raise UnitError(f"{text} can be {_or(write)}: write one of them", "ambiguous", write)
    return float(text.replace(",", "."))


def _without_thousands(text: str, marks: list[str], symbol: str) -> tuple[str, ...]:
    """A number without the marks that part its thousands; nothing where that is not what they do."""
    last = marks[-1] if len({*marks}) > 1 and marks.count(marks[-1]) == 1 else ""
    whole, _, decimals = text.rpartition(last) if last else (text, "", "")
    head, *groups = re.split(r"[.,]", whole)
    figures = f"{head}{''.join(groups)}"
    in_threes = len(head.lstrip("+-")) <= 3 and all(len(group) == 3 for group in groups)
    if not in_threes or len(figures.lstrip("+-")) > _FIGURES_MOST:
        return ()
    return (f"{figures}{'.' if decimals else ''}{decimals} {symbol}",)


def _fraction(text: str, symbol: str, sign: str, whole: str | None, above: str, below: str) -> float:
    """A fraction as rules and clocks are divided; ``symbol`` is empty where the unit is still asked for."""
    if int(below) == 0:
        raise UnitError(f"{text} has nothing below the line: write a fraction such as 7/8")
    value = Fraction(int(whole or 0)) + Fraction(int(above), int(below))
    decimal = f"{sign}{shortest(float(value))} {symbol}"
    if symbol not in ("", *_DIVIDED):
        message = f"{text} cannot be read with {symbol}: only inches are written as fractions, write {decimal}"
        raise UnitError(message, write=(decimal,))
    on_a_rule = int(below) in _DIVIDED_INTO
    if not on_a_rule or not 0 < int(above) < int(below):
        # 11/2 is often 1 1/2 with its space lost.
        is_lost = on_a_rule and whole is None and len(above) > 1 and 0 < int(above[-1]) < int(below)
        lost = (f"{sign}{above[:-1]} {above[-1]}/{below} {symbol}",) if is_lost else ()
        write = (decimal, *lost)
        message = f"{text} is on no rule: an inch is divided into 2, 4, 8, 16, 32 or 64; write {_or(write)}"
        raise UnitError(message, "ambiguous" if is_lost else "bad-format", write)
    return float(-value if sign == "-" else value)


def _or(texts: tuple[str, ...]) -> str:
    return " or ".join(texts)


def _unreadable(dimension: Dimension, text: str) -> UnitError:
    shown = text.strip()
    if re.fullmatch(_NUMBER, shown):
        return UnitError(f"{shown} has no unit: write {dimension.allowed()}, such as {dimension.example!r}")
    if write := _with_lost_unit(dimension, text):
        return UnitError(f"{shown} has no unit at its end: write {write}", write=(write,))
    return UnitError(f"cannot be read as {dimension.name.replace('_', ' ')}: write {dimension.allowed()}")


def _with_lost_unit(dimension: Dimension, text: str) -> str:
    """What a quantity in several parts says whose last unit is left out; empty if it is none."""
    sequence, lost = _SEQUENCES.get(dimension.name, ()), _UNIT_LOST.fullmatch(text)
    for larger, smaller in itertools.pairwise(sequence if lost is not None else ()):
        write = f"{lost.group(1).strip()} {lost.group(2)} {smaller}" if lost is not None else ""
        try:
            if _parts(dimension, write)[-2][1].symbol == larger and len(write) <= MOST_CHARACTERS:
                return write
        except UnitError:
            continue
    return ""


def _unknown_unit(dimension: Dimension, number: str, spelling: str) -> UnitError:
    known = {known: unit for unit in dimension.units for known in (unit.symbol, *unit.spellings)}
    # Of two letters one slip makes another unit of it.
    near = nearest(spelling, known, 1) if len(spelling) > 2 else ()
    write = tuple(text for name in near for text in _readings(number, known[name].symbol))
    wanted = f"{_or(write)}, or {dimension.allowed()}" if write else dimension.allowed()
    return UnitError(f"unit {spelling!r} is not known here: write {wanted}", write=write)


def _readings(number: str, symbol: str) -> tuple[str, ...]:
    """What a number in figures may say, with a unit."""
    try:
        return (f"{shortest(_number(number, symbol))} {symbol}",)
    except UnitError as error:
        return error.write


def _is_in_bounds(dimension: Dimension, value: float, field: Field) -> bool:
    if value == 0 and field.zero:
        return True
    too_small = value <= dimension.least if dimension.least_open else value < dimension.least - 1e-9
    return not too_small and value <= _most(dimension, field)


def _most(dimension: Dimension, field: Field) -> float:
    return dimension.most if field.most is None else field.most


def _check_bounds(dimension: Dimension, value: float, field: Field, parts: list[tuple[float, Unit]]) -> None:
    if _is_in_bounds(dimension, value, field):
        return
    bound = "above" if dimension.least_open and not field.zero else "at least"
    message = (
        f"must be {bound} {shortest(dimension.least)} {dimension.symbol}"
        f" and at most {shortest(_most(dimension, field))} {dimension.symbol}"
    )
    (number, unit), *more = parts
    others = (other for other in _on_tickets(dimension) if other is not unit)
    # What is below every bound is so in whatever unit.
    write = () if more or number <= dimension.least else _with_units(dimension, number, others, field)
    raise UnitError(f"{message}{f': was {_or(write)} meant?' if write else ''}", "out-of-range", write)


def of_steps(dimension: Dimension) -> Dimension:
    """What a step of a quantity is: one of a temperature is a difference (1 °C more is 1.8 °F more, not 34 °F)."""
    return TEMPERATURE_DIFFERENCE if dimension is TEMPERATURE else dimension


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
METRIC_BAR = UnitPreferences(pressure="bar")  # what most gauges in Europe show
US_CUSTOMARY = UnitPreferences("°F", "in", "psi", "oz/yd²")
UNIT_SYSTEMS: Mapping[str, UnitPreferences] = MappingProxyType(
    {"metric": METRIC, "metric-bar": METRIC_BAR, "us-customary": US_CUSTOMARY}
)


def _on_tickets(dimension: Dimension) -> tuple[Unit, ...]:
    """The units that shops read and write: those of a unit system, or all where systems say nothing of it."""
    read = {getattr(system, dimension.name, None) for system in UNIT_SYSTEMS.values()}
    return tuple(unit for unit in dimension.units if unit.symbol in read) or dimension.units


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
    if dimension is PRESSURE and unit.symbol == "bar":
        decimals = 2 if abs(number) >= 0.1 else 3  # presses bear on prints with tenths of a bar
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
