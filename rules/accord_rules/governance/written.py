"""Dataclasses that ``reading`` read, back as the documents they stand for, with units: reading them gives the same."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from accord_rules.reading import Either, Many, Object, Quantity, Reader, Table, readers_of


def written(value: Any) -> dict[str, Any]:
    """An order, shop or part of one as a document; what is not said is left out."""
    document = {}
    for name, (reader, _) in readers_of(type(value)).items():
        each = getattr(value, name)
        if each is not None:
            document[name] = _written(reader, each)
    return document


def _written(reader: Reader, value: Any) -> Any:
    match reader:
        case Quantity(dimension=dimension) if isinstance(value, (int, float)):
            return f"{_plain(value)} {dimension.symbol}"
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


def _plain(number: float) -> str:
    """As short as says it all, and never with an exponent."""
    text = repr(float(number))
    if "e" in text:
        text = f"{number:.12f}".rstrip("0").rstrip(".")
    return text.removesuffix(".0")
