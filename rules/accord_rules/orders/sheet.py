"""A maker's sheet: what the maker of one transfer says of how it is pressed.

It stands on a product of the book, on what a shop stocks, or in an order; the order's beats the shop's, the shop's the
book's. What a sheet leaves out is the family's practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import (
    Choice,
    Fault,
    Many,
    Name,
    Object,
    OneOrSpan,
    Quantity,
    Text,
    optional,
    required,
)

PEELS = ("hot", "warm", "cold", "none")
PRESSURES = ("light", "medium", "firm")
READ_AT = ("display", "surface")
# The closings of the press that a decoration may take, in the order they come.
PRESSINGS = ("marry", "adhesive", "tack", "main", "reverse", "again")
BESIDE_MAIN = tuple(name for name in PRESSINGS if name != "main")
SECOND = ("reverse", "again")  # those whose time orders and sheets call the second press
# Which way up what is pressed lies.
LIES = ("face-up", "reversed", "sheets-together")
_LIES_IN = {"marry": "sheets-together", "reverse": "reversed"}


@dataclass(frozen=True, slots=True)
class TemperatureSpan:
    """From least to most, °C."""

    least: float = required(Quantity(units.TEMPERATURE, most=units.PRESS_MOST_C))
    most: float = required(Quantity(units.TEMPERATURE, most=units.PRESS_MOST_C))


@dataclass(frozen=True, slots=True)
class TimeSpan:
    """From least to most, s."""

    least: float = required(Quantity(units.TIME))
    most: float = required(Quantity(units.TIME))


TEMPERATURES = OneOrSpan(TemperatureSpan, Quantity(units.TEMPERATURE, most=units.PRESS_MOST_C))
TIMES = OneOrSpan(TimeSpan, Quantity(units.TIME))


@dataclass(frozen=True, slots=True)
class SheetPressing:
    """What a sheet says of a pressing beside the main one; temperatures are read where the sheet's are."""

    temperature: TemperatureSpan | None = optional(TEMPERATURES, about="as the main pressing's where left out")
    time: TimeSpan | None = optional(TIMES, about="how long it is pressed")
    pressure: str | None = optional(Choice(PRESSURES), about="as the main pressing's where left out")
    peel: str | None = optional(Choice(PEELS), about="how warm it is when what carries or covers it comes off")
    cover: str | None = optional(Name(name_of="consumables"), about="what lies between platen and print")


@dataclass(frozen=True, slots=True)
class SheetPressings:
    """The pressings beside the main one, by name."""

    marry: SheetPressing | None = optional(Object(SheetPressing), about="two sheets are pressed together")
    adhesive: SheetPressing | None = optional(Object(SheetPressing), about="the adhesive goes on first")
    tack: SheetPressing | None = optional(Object(SheetPressing), about="just long enough to stay where it lies")
    reverse: SheetPressing | None = optional(Object(SheetPressing), about="from the back of the piece")
    again: SheetPressing | None = optional(Object(SheetPressing), about="once more after the peel")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One product's settings as its maker has them. A single figure is what the maker aims at."""

    temperature: TemperatureSpan | None = optional(TEMPERATURES, about="one, or least and most")
    read_at: str | None = optional(Choice(READ_AT), about="where the temperature is read; display when left out")
    press: str | None = optional(Name(name_of="press_types"), about="the type it is written for; a bench press else")
    time: TimeSpan | None = optional(TIMES, about="the dwell: one, or least and most")
    pressure: str | None = optional(Choice(PRESSURES), about="on the print")
    peel: tuple[str, ...] | None = optional(Many(Choice(PEELS), 4, 1, distinct=True), about="peels that will do")
    cover: tuple[str, ...] | None = optional(
        Many(Name(name_of="consumables"), 6, distinct=True),
        about="cover sheets that will do; empty for none needed, unless the print lies bare",
    )
    pad: tuple[str, ...] | None = optional(
        Many(Name(name_of="consumables"), 6, distinct=True), about="pads that will do; empty for none needed"
    )
    pre_press: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    second_press: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    pressings: SheetPressings | None = optional(Object(SheetPressings), about="those beside the main one")
    edition: str | None = optional(Text(40, "2025-03"), about="the sheet's own date or number")


def lies_in(pressing: str) -> str:
    """Which way up the piece, or the sheets, lie in the pressing of this name."""
    return _LIES_IN.get(pressing, LIES[0])


# What a sheet says of settings; the rest says how to read it.
_SAYS = tuple(f.name for f in fields(Sheet) if f.name not in ("read_at", "press", "edition"))


def pressings_said(pressings: Any) -> tuple[str, ...]:
    """The names of the pressings that a sheet or settings speak of."""
    return tuple(name for name in BESIDE_MAIN if pressings is not None and getattr(pressings, name) is not None)


def sheet_faults(sheet: Sheet, pointer: str, process: tuple[str, ...] | None) -> Iterator[Fault]:
    """What of a sheet can't hold together. ``process``: the pressings of its transfer; None where that is not known."""
    if all(getattr(sheet, name) is None for name in _SAYS):
        yield Fault(pointer, "says nothing", _SAYS, code="required")
    if sheet.read_at is not None and not _has_temperature(sheet):
        yield Fault(f"{pointer}/read_at", "is said of a temperature, and the sheet has none", code="contradiction")
    if sheet.peel is not None and "none" in sheet.peel and len(sheet.peel) > 1:
        yield Fault(f"{pointer}/peel", "none goes with no other peel", code="contradiction")
    yield from pressing_faults(sheet, pointer, process)


def pressing_faults(holder: Any, pointer: str, process: tuple[str, ...] | None) -> Iterator[Fault]:
    """Pressings that a transfer has not, and a second press said twice, in a sheet or in settings."""
    names = pressings_said(holder.pressings)
    for name in names:
        if process is not None and name not in process:
            has = "pressings beside main: " + ", ".join(process) if process else "no pressing beside main"
            place = f"{pointer}/pressings/{name}"
            yield Fault(place, f"this transfer has {has}", process, code="not-allowed", refused=name)
    for name in SECOND:
        if holder.second_press is not None and name in names and getattr(holder.pressings, name).time is not None:
            place = f"{pointer}/pressings/{name}/time"
            yield Fault(place, "second_press says it already: say one of the two", code="contradiction")


def _has_temperature(sheet: Sheet) -> bool:
    said = (getattr(sheet.pressings, name) for name in pressings_said(sheet.pressings))
    return sheet.temperature is not None or any(pressing.temperature is not None for pressing in said)
