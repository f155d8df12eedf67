"""Readers of what only answers hold: text that may be empty, figures without bounds, null where there is nothing.

What is asked is bounded and closed (``documents.reading``); what is answered is as long as it has to be.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import Fault, LeafError, Many, Object, Reader, Table, kind_of, unopened


@dataclass(frozen=True)
class String(Reader):
    """Any string, also an empty one."""

    def leaf(self, value: Any) -> str:
        if not isinstance(value, str):
            raise LeafError(f"must be a string, not {kind_of(value)}", code="wrong-type")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string"}


@dataclass(frozen=True)
class InstantString(String):
    """A point in time as RFC 3339 writes it."""

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date-time"}


@dataclass(frozen=True)
class Integer(Reader):
    """Any whole number."""

    def leaf(self, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise LeafError(f"must be a whole number, not {kind_of(value)}", code="wrong-type")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "integer"}


@dataclass(frozen=True)
class Figure(Reader):
    """Any finite number, written with ``decimals`` at most where they are given."""

    decimals: int | None = None

    def leaf(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            raise LeafError(f"must be a number, not {kind_of(value)}", code="wrong-type")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "number"}


@dataclass(frozen=True)
class Anything(Reader):
    """Any JSON value."""

    def leaf(self, value: Any) -> Any:
        return value

    def json_schema(self) -> dict[str, Any]:
        return {}


@dataclass(frozen=True)
class Free(Reader):
    """An object that is passed on as the document it is: of the shape of one of ``kinds``, or of any; then ``why``."""

    kinds: tuple[type, ...] = ()
    why: str = ""

    def leaf(self, value: Any) -> Mapping[str, Any]:
        if not isinstance(value, Mapping):
            raise LeafError(f"must be an object, not {kind_of(value)}", code="wrong-type")
        return value

    def json_schema(self) -> dict[str, Any]:
        kinds = [Object(kind).json_schema() for kind in dict.fromkeys(self.kinds)]
        if len(kinds) == 1:
            return kinds[0]
        return {"type": "object", "additionalProperties": {}, "anyOf": kinds} if kinds else unopened(self.why)


@dataclass(frozen=True)
class Nullable(Reader):
    """What ``inner`` reads, or null."""

    inner: Reader

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        return None if value is None else self.inner.read(value, pointer, faults)

    def json_schema(self) -> dict[str, Any]:
        inner = self.inner.json_schema()
        if isinstance(inner.get("type"), str) and "enum" not in inner:
            return inner | {"type": [inner["type"], "null"]}
        return {"anyOf": [inner, {"type": "null"}]} if inner else inner


STRING = String()
STRING_OR_NULL = Nullable(STRING)
INSTANT = InstantString()
INSTANT_OR_NULL = Nullable(INSTANT)
INTEGER = Integer()


def listed(item: Reader) -> Many:
    """A list as long as it has to be."""
    return Many(item, None)


def mapped(value: Reader) -> Table:
    """An object with free keys."""
    return Table(STRING, value, None, 0)


STRINGS = listed(STRING)
