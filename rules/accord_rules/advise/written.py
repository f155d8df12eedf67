"""Orders as the documents they were read from, and what is different between two of them."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any

from accord_rules.advise.wording import exact
from accord_rules.documents import units
from accord_rules.documents.reading import Either, Many, Object, Quantity, Reader, Table, escape, readers_of
from accord_rules.orders.order import Order
from accord_rules.verdict import Change


def order_document(order: Order, preferences: units.UnitPreferences) -> dict[str, Any]:
    """The order as a document that reads as the same order again, in the shop's units; what is not said left out."""
    written: dict[str, Any] = _written(Object(type(order)), order, preferences)
    return written


def _written(reader: Reader, value: Any, preferences: units.UnitPreferences) -> Any:
    match reader:
        case Object(into):
            return {
                field.name: _written(readers_of(into)[field.name][0], said, preferences)
                for field in dataclasses.fields(into)
                if (said := getattr(value, field.name)) is not None and not _is_default(field, said)
            }
        case Many(item):
            return [_written(item, each, preferences) for each in value]
        case Table(key, each):
            return {_written(key, k, preferences): _written(each, v, preferences) for k, v in value.items()}
        case Either(_, first, second):
            return _written(first if isinstance(value, str) else second, value, preferences)
        case Quantity(dimension):
            return exact(dimension, value, preferences)
    return value


def _is_default(field: Any, value: Any) -> bool:
    """Whether leaving it out says the same; an empty list said of an item is not the same as none said."""
    return field.default is not dataclasses.MISSING and field.default is not None and bool(value == field.default)


def changes(before: Order, after: Order, preferences: units.UnitPreferences) -> tuple[Change, ...]:
    """The fields that differ, each by its JSON Pointer; None where one of the two does not say it."""
    return tuple(_differing(order_document(before, preferences), order_document(after, preferences), ""))


# Shares of one whole: to change one of them says nothing without the others.
_WHOLE = ("/item/fibres",)


def _differing(before: Any, after: Any, pointer: str) -> Iterator[Change]:
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping) and pointer not in _WHOLE:
        for key in dict.fromkeys((*before, *after)):
            yield from _differing(before.get(key), after.get(key), f"{pointer}/{escape(key)}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for index, (one, other) in enumerate(zip(before, after, strict=True)):
            yield from _differing(one, other, f"{pointer}/{index}")
    else:
        yield Change(pointer, before, after)
