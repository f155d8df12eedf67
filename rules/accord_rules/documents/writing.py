"""Dataclasses with readers (``documents.reading``) back as documents, and quantities as text: the one writer.

Orders and shops come back with units, so that reading them gives the same; answers as plain JSON data in the order in
which their fields are declared, so that the same answer always has the same bytes.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from operator import attrgetter
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.answers import Figure, Free, Nullable
from accord_rules.documents.reading import Either, Many, Object, OneOrSpan, Quantity, Reader, Table, Whole, members_of

Write = Callable[[Any], Any]
Preferences = units.UnitPreferences | None
_SAME = 1e-9  # quantities no further apart, in the inside unit, are one quantity


def written(value: Any, preferences: Preferences = None) -> dict[str, Any]:
    """A dataclass with readers as a document; what is None is left out, unless its reader knows null.

    With a shop's ``preferences`` in its units, and without what says no more than the field's default.
    """
    document: dict[str, Any] = {}
    of: type = type(value)
    for member in _members(of, preferences):
        part = member.value_of(value)
        if part is None:
            if member.keeps_null:
                document[member.name] = None
        elif preferences is None or not member.is_default(part):
            document[member.name] = part if member.write is None else member.write(part)
    return document


class Documented:
    """A dataclass that gives its own document."""

    __slots__ = ()

    def document(self) -> dict[str, Any]:
        """Plain JSON data, as the fields' readers and their order have it."""
        return written(self)


@dataclass(frozen=True, slots=True)
class _Written:
    """How one field is written; ``write`` is None where its value goes into the document as it is."""

    name: str
    value_of: Callable[[Any], Any]
    write: Write | None
    keeps_null: bool
    default: Any

    def is_default(self, value: Any) -> bool:
        """An empty list said of an item is not the same as none said."""
        return self.default is not dataclasses.MISSING and self.default is not None and bool(value == self.default)


@cache
def _members(cls: type, preferences: Preferences) -> tuple[_Written, ...]:
    return tuple(
        _Written(
            member.name,
            attrgetter(".".join(member.path)),
            _writer(member.reader, preferences),
            isinstance(member.reader, Nullable),
            member.default,
        )
        for member in members_of(cls)
    )


def _writer(reader: Reader, preferences: Preferences) -> Write | None:
    """What writes a value that ``reader`` reads; None for one that is written as it is."""
    match reader:
        case Nullable(inner=inner):
            return _or_null(_writer(inner, preferences))
        case Quantity(dimension=dimension):
            return lambda value: value if isinstance(value, str) else quantity(dimension, value, preferences)
        case Whole():
            return int  # facts count in floats
        case Figure(decimals=int(decimals)):
            return lambda value: round(value, decimals)
        case Either(first=first, second=second):
            return _word_or(_writer(first, preferences), _writer(second, preferences))
        case Many(item=item):
            return _list_of(_writer(item, preferences))
        case Table(value=value):
            return _table_of(_writer(value, preferences))
        case OneOrSpan(dimension=dimension):
            return lambda span: _one_or_span(dimension, span, preferences)
        case Object():
            return lambda value: written(value, preferences)
        case Free():
            return dict
    return None


def written_for(reader: Reader, value: Any) -> Any:
    """A value in inside units as a document has it where ``reader`` reads it: reading it gives the very same."""
    write = _writer(reader, None)
    return value if write is None else write(value)


def _or_null(write: Write | None) -> Write | None:
    return write and (lambda value: None if value is None else write(value))


def _word_or(first: Write | None, second: Write | None) -> Write:
    """Of two readers the first reads words."""

    def write(value: Any) -> Any:
        chosen = first if isinstance(value, str) else second
        return value if chosen is None else chosen(value)

    return write


def _one_or_span(dimension: units.Dimension, span: Any, preferences: Preferences) -> Any:
    if span.least == span.most:
        return quantity(dimension, span.least, preferences)
    return written(span, preferences)


def _list_of(write: Write | None) -> Write:
    return list if write is None else lambda values: [write(value) for value in values]


def _table_of(write: Write | None) -> Write:
    return dict if write is None else lambda table: {key: write(value) for key, value in table.items()}


def quantity(dimension: units.Dimension, value: float, preferences: Preferences = None) -> str:
    """A quantity with its unit, so that reading it gives ``value`` again.

    In the shop's unit with as few decimals as will do; without ``preferences``, or where the shop's unit takes too
    many, in the first unit that gives the very same value. Where none does, in the inside unit with six decimals.
    """
    for unit, text in _candidates(dimension, value, preferences):
        if value == 0 and unit.offset == 0:
            return f"0 {unit.symbol}"
        try:
            if abs(units.parse(dimension, text) - value) <= (0.0 if preferences is None else _SAME):
                return text
        except units.UnitError:
            continue  # too few decimals can round to a value that no workshop can mean
    return f"{units.shortest(value)} {dimension.symbol}"


def _candidates(dimension: units.Dimension, value: float, preferences: Preferences) -> Iterator[tuple[units.Unit, str]]:
    if preferences is not None:
        unit = preferences.unit(dimension)
        yield from ((unit, f"{unit.outside(value):.{decimals}f} {unit.symbol}") for decimals in range(7))
    yield from ((unit, f"{units.shortest(unit.outside(value))} {unit.symbol}") for unit in dimension.units)


def plain(value: Any) -> Any:
    """A dataclass tree as JSON data in inside units, None left out: equal meanings give equal bytes."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = ((f.name, getattr(value, f.name)) for f in dataclasses.fields(value))
        return {name: plain(element) for name, element in fields if element is not None}
    if isinstance(value, Mapping):
        return {key: plain(element) for key, element in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(element) for element in value]
    return value
