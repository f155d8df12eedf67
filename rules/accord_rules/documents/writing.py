"""Dataclasses that ``reading`` read, back as the documents they stand for, with units: reading them gives the same."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Either, Many, Object, Quantity, Reader, Table, readers_of


def written(value: Any) -> dict[str, Any]:
    """An order, shop or part of one as a document; what is not said is left out."""
    document: dict[str, Any] = {}
    of: type = type(value)
    for name, (reader, _) in readers_of(of).items():
        each = getattr(value, name)
        if each is not None:
            document[name] = _written(reader, each)
    return document


def _written(reader: Reader, value: Any) -> Any:
    match reader:
        case Quantity(dimension=dimension) if isinstance(value, (int, float)):
            return quantity(dimension, value)
        case Either(first=first, second=second):
            is_second = dataclasses.is_dataclass(value) if isinstance(second, Object) else isinstance(value, float)
            return _written(second if is_second else first, value)
        case Many(item=item):
            return [_written(item, each) for each in value]
        case Table(value=inner) if isinstance(value, Mapping):
            return {key: _written(inner, each) for key, each in value.items()}
        case Object():
            return written(value)
    return value


def quantity(dimension: units.Dimension, value: float) -> str:
    """A quantity in the first unit in which reading it gives the very same value, else in the inside unit, rounded."""
    for unit in dimension.units:
        text = f"{_short(unit.outside(value))} {unit.symbol}"
        if value == 0 and unit.offset == 0:
            return text
        try:
            if units.parse(dimension, text) == value:
                return text
        except units.UnitError:
            continue  # so small in this unit that six decimals leave nothing
    return f"{_short(value)} {dimension.symbol}"


def _short(number: float) -> str:
    """As many decimals as a document may have, without idle zeros."""
    text = f"{number:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
