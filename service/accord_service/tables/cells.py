"""One cell: what an order's document says where the cell stands, or a sentence why it can't be read.

Names and words are handed on as they are: whoever answers knows the shop's own names and says what is allowed. What a
table writes in its own way is turned here: a number whose unit stands in the header, yes and no, lists, "8 x 10 in".
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from types import MappingProxyType
from typing import Any

from accord_rules.documents import typed
from accord_rules.documents.reading import (
    Choice,
    Either,
    Object,
    OneOrSpan,
    Reader,
)
from accord_rules.documents.units import LENGTH, Dimension, Unit, shortest
from accord_service.tables.columns import Column

# What a spreadsheet shows in place of a value that it can't work out (ECMA-376 part 1, 18.18.11 and 18.17.3).
_ERRORS = frozenset({"#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"})
_WITH_UNIT = re.compile(rf"({typed.NUMBER})\s*([^\d\s].*)")
_PARTS = re.compile(rf"{typed.NUMBER}\s*([^\d\s,.+-][^\d+-]*)")
_CLOCK = re.compile(r"\d{1,3}:\d{2}(?::\d{2})?")
_BY = re.compile(r"\s*(?:[x×X✕*]|\bby\b)\s*")
_ENDS = re.compile(r"\s*(?:–|—|-|\bto\b|\.\.+)\s*")
_OPEN_END = re.compile(r"(?:from\s+)?(\d+(?:[.,]\d+)?)\s*(?:\+|and up|and over|up)?")
# A cell as a file gives it: None is empty.
Value = Any


@dataclass(frozen=True, slots=True)
class FormulaWithoutValue:
    """A formula that nobody worked out yet: the file holds no result of it."""


@dataclass(frozen=True, slots=True)
class Merged:
    """A cell that lies under another: ``cells`` as A2:A4, of which the first alone has what they show."""

    cells: str


class CellError(ValueError):
    """A cell that can't be read: a sentence's end, after the name of the column."""


def text_of(value: Value) -> str:
    """What a cell shows, for people; empty where it is empty."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case int():
            return str(value)
        case float():
            return shortest(value) if abs(value) < 1e15 else repr(value)
        case FormulaWithoutValue():
            return "(a formula)"
        case Merged(cells=cells):
            return f"(merged {cells})"
        case _:
            return " ".join(str(value).split())


def values_of(column: Column, value: Value) -> Mapping[str, Any]:
    """What the order says by dotted path; nothing for an empty cell. Raises CellError."""
    _check(value)
    text = text_of(value)
    if not text:
        return MappingProxyType({})
    if len(text) > typed.CHARACTERS_MOST:
        raise CellError(f"has {len(text)} characters; {typed.CHARACTERS_MOST} are read at most")
    try:
        return _values(column, text)
    except typed.TypedError as error:
        raise CellError(str(error)) from None


def _values(column: Column, text: str) -> Mapping[str, Any]:
    field, header = column.header.field, column.header
    if field.span is not None:
        least, most = _ends(text, is_age="age" in field.span.least)
        ends = ((field.span.least, least), (field.span.most, most))
        return {path: end for path, end in ends if end is not None}
    assert field.reader is not None
    return {header.paths[0]: _read(field.reader, text, column)}


def _check(value: Value) -> None:
    match value:
        case FormulaWithoutValue():
            raise CellError(
                "is a formula that nobody worked out: open the file in a spreadsheet program, save it, and try again"
            )
        case Merged(cells=cells):
            raise CellError(f"lies in the merged cells {cells}, which have one value between them: unmerge them")
        case timedelta() | time():
            raise CellError(
                "is a time of day in the sheet: format the column as text and write it with its unit (45 s)"
            )
        case date():
            raise CellError(
                f"is a date in the sheet ({value:%Y-%m-%d}): format the column as text and write the value anew"
            )
        case str() if value in _ERRORS:
            raise CellError(f"shows the error {value}")


def _read(reader: Reader, text: str, column: Column) -> Any:
    if isinstance(reader, Object) and not isinstance(reader, OneOrSpan):
        return _size(text, column)
    dimension = typed.dimension_of(reader)
    if dimension is None or (isinstance(reader, Either) and typed.value(reader, text) in _words_of(reader)):
        return typed.value(reader, text)
    with_units = typed.of_each_end(reader, text, lambda end: _quantity(dimension, end, column))
    return typed.value(reader, with_units)


def _words_of(reader: Either) -> tuple[str, ...]:
    return reader.first.words if isinstance(reader.first, Choice) else ()


def _quantity(dimension: Dimension, text: str, column: Column) -> str:
    """As a service reads it: with its own unit, or the header's behind a bare number."""
    unit = column.unit
    if typed.BARE.fullmatch(text):
        if unit is None:
            symbols = ", ".join(of.symbol for of in dimension.units)
            head = f"“{column.title} ({_USUAL.get(dimension.name, dimension.symbol)})”"
            raise CellError(
                f"is {text} without a unit: write the unit into the header ({head}) or the cell ({symbols})"
            )
        return f"{text} {unit.symbol}"
    if unit is not None and not _CLOCK.fullmatch(text):
        _same(dimension, text, unit)
    return text


# The unit that a header is shown with, where it is not the one used inside.
_USUAL: Mapping[str, str] = MappingProxyType({"length": "in", "temperature": "°F", "pressure": "psi"})


def _same(dimension: Dimension, text: str, unit: Unit) -> None:
    """A cell with a unit of its own, under a header with one. Raises CellError where they differ."""
    said = [dimension.unit(spelling.strip()) for spelling in _PARTS.findall(text)]
    # What is no unit at all is refused by whoever answers, with the units there are.
    if said and None not in said and said[-1] != unit:
        raise CellError(
            f"is “{text}” under a header that says {unit.symbol}: one of them is wrong, or the unit of this cell is"
            " another one; write the cell as the header has it"
        )


def _size(text: str, column: Column) -> dict[str, str]:
    """Width, then height: "8 x 10 in", "8 in x 10 in", "200×150" under a header with a unit."""
    parts = _BY.split(text)
    if len(parts) != 2 or not all(parts):
        raise CellError(f"has to be width x height, as “8 x 10 in”, not “{text}”; sizes of garments go under “sizes”")
    width, height = parts
    if column.unit is None and typed.BARE.fullmatch(width) and (match := _WITH_UNIT.fullmatch(height)):
        width = f"{width} {match.group(2)}"
    return {"width": _quantity(LENGTH, width, column), "height": _quantity(LENGTH, height, column)}


def _ends(text: str, *, is_age: bool) -> tuple[Any, Any]:
    """Both ends of "3-6", "S to XL", "from 3", "8": an age as a number, a size as it stands."""
    ends = _ENDS.split(text)
    if is_age:
        text = re.sub(r"\s*(?:years?|yrs?|y)\.?(?=\W|$)", "", text, flags=re.IGNORECASE).strip()
        ends = _ENDS.split(text)
        if (match := _OPEN_END.fullmatch(text)) and text != match.group(1):
            return typed.number(match.group(1), whole=False), None
        if not 1 <= len(ends) <= 2:
            raise CellError(f"has to be an age or two, as “3-6”, not “{text}”")
        numbers = [typed.number(end, whole=False) for end in ends]
        return numbers[0], numbers[-1]
    if not 1 <= len(ends) <= 2 or not all(ends):
        raise CellError(f"has to be a size or two, as “S-XL”, not “{text}”")
    return ends[0], ends[-1]
