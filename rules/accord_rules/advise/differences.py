"""What is different between two orders, field by field."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import escape
from accord_rules.documents.writing import written
from accord_rules.orders.order import Order
from accord_rules.verdict import FieldChange


def changes(before: Order, after: Order, preferences: units.UnitPreferences) -> tuple[FieldChange, ...]:
    """The fields that differ, each by its JSON Pointer; None where one of the two does not say it."""
    return tuple(_differing(written(before, preferences), written(after, preferences), ""))


# Shares of one whole: to change one of them says nothing without the others.
_WHOLE = ("/item/fibres",)


def _differing(before: Any, after: Any, pointer: str) -> Iterator[FieldChange]:
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping) and pointer not in _WHOLE:
        for key in dict.fromkeys((*before, *after)):
            yield from _differing(before.get(key), after.get(key), f"{pointer}/{escape(key)}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for index, (was, now) in enumerate(zip(before, after, strict=True)):
            yield from _differing(was, now, f"{pointer}/{index}")
    else:
        yield FieldChange(pointer, before, after)
