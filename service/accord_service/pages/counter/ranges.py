"""What is still allowed for what an order leaves open, as the counter shows it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from accord_service.pages.counter.fields import label_of
from accord_service.pages.counter.query import pointer_of

_RANGES = ("temperature", "time", "pressure", "gauge", "peel", "cover", "pad", "tape")
Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Allowed:
    """What may still stand in one field on one press."""

    field: str
    label: str
    text: str


@dataclass(frozen=True, slots=True)
class AllowedOnPress:
    """What is still allowed on one press; ``transfers``: of which the ranges are, print by print."""

    press: str
    rows: tuple[Allowed, ...]

    @property
    def said(self) -> tuple[tuple[str, str], ...]:
        """The same as words and values."""
        return tuple((row.label, row.text) for row in self.rows)


def ranges_told(envelope: Document, prints: int) -> tuple[AllowedOnPress, ...]:
    """An answer of POST /v1/envelope, press by press."""
    return tuple(
        AllowedOnPress(
            on["press"], tuple(row for index, of in enumerate(on["decorations"]) for row in _allowed(of, index, prints))
        )
        for on in envelope["on"]
    )


def _allowed(of: Document, index: int, prints: int) -> Iterator[Allowed]:
    base = f"decorations.{index}"
    for key in _RANGES:
        ranges = of[key]
        if not ranges:
            continue
        field = f"{base}.settings.{'pressure' if key == 'gauge' else key}"
        label = label_of(pointer_of(field), prints)
        label = f"{label} on the gauge" if key == "gauge" else label
        yield Allowed(field, label, _either(_span(part) for part in ranges))
    for size in of["size"] or ():
        text = f"at most {size['width']} wide and {size['height']} high"
        yield Allowed(f"{base}.size.width", label_of(f"/decorations/{index}/size/width", prints), text)


def _span(part: Any) -> str:
    if isinstance(part, str):
        return part
    return str(part["least"]) if part["least"] == part["most"] else f"{part['least']} to {part['most']}"


def _either(texts: Iterable[str]) -> str:
    *first, last = texts
    return f"{', '.join(first)} or {last}" if first else last
