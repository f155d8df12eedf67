"""Entries of the book as people read them: each value in one line, and where two states of an entry differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.counted import counted

Document = Mapping[str, Any]


def amount(limit: Document, key: str = "value") -> str:
    """A limit's value with its unit, which the book leaves out only where the dimension is a plain number."""
    value = limit[key]
    if isinstance(value, str):
        return value
    return f"{plain_number(value)} {units.DIMENSIONS[limit['dimension']].symbol}".rstrip()


def recorded_since(effect: Document) -> str:
    """What was recorded since an effect was asked for, in a sentence; empty for nothing, and where that is not told."""
    many = effect.get("recorded_since")
    if not many:
        return ""
    were = "was" if many == 1 else "were"
    return (
        f"{counted(many, 'order')} {were} recorded since this effect was asked for, and it says nothing of"
        f" {'it' if many == 1 else 'them'}: opened again, it is worked out with all."
    )


def plain_number(value: float) -> str:
    """A number as people read it: all its figures, as many decimals as a document may have, and no idle zeros."""
    return units.shortest(value)


def with_units(kind: str, entry: Document) -> Document:
    """A limit with the unit that its plain numbers stand for; any other entry as it is."""
    if kind != "limits" or "dimension" not in entry:
        return entry
    return {**entry, **{key: amount(entry, key) for key in ("value", "step") if key in entry}}


def leaves(value: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Each value in an entry with where it stands, as people read it; lists of plain values are one."""
    if isinstance(value, Mapping):
        for key, element in value.items():
            yield from leaves(element, f"{place}.{key}".strip("."))
    elif isinstance(value, list) and any(isinstance(element, Mapping | list) for element in value):
        for number, element in enumerate(value, start=1):
            yield from leaves(element, f"{place} {number}")
    else:
        yield place, written(value)


def in_words(place: str) -> str:
    """A place in an entry: ``fires 1.facts`` is "fires 1 › facts"."""
    return place.replace("_", " ").replace(".", " › ") or "the entry"


def written(value: Any) -> str:
    """A value of the book as people read it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(written, value)) or "none"
    if isinstance(value, float):
        return plain_number(value)
    return " ".join(str(value).replace("\\\n", " ").split())


def differences(old: Any, new: Any, place: str = "") -> Iterator[tuple[str, str, str]]:
    """Where two documents differ: the place, and both values as people read them; a dash where there is none."""
    if old == new:
        return
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys((*old, *new)):
            yield from differences(old.get(key), new.get(key), f"{place}.{key}".strip("."))
    elif isinstance(old, list) and isinstance(new, list):
        yield from _of_lists(old, new, place)
    else:
        yield place, _flat(old), _flat(new)


def _of_lists(old: Sequence[Any], new: Sequence[Any], place: str) -> Iterator[tuple[str, str, str]]:
    """What went out of a list beside what came into it: where one is put in, those after it are no other for standing
    one place further down."""
    gone = [element for element in old if element not in new]
    come = [element for element in new if element not in old]
    for was, becomes in zip_longest(gone, come):
        yield place, _flat(was), _flat(becomes)
    if not gone and not come:
        yield place, f"{_flat([*old])} (in this order)", f"{_flat([*new])} (in this order)"


def _has_tables(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(element, Mapping | list) for element in value)


def _flat(value: Any) -> str:
    if value is None:
        return "-"
    if not isinstance(value, Mapping) and not _has_tables(value):
        return written(value)
    return "; ".join(f"{name} {text}".strip() for name, text in leaves(value))
