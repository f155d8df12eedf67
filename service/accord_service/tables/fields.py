"""What of an order a column can hold: every field with one value, by its dotted path, with the reader that knows it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from accord_rules.documents import typed, units
from accord_rules.documents.reading import Either, Many, Object, OneOrSpan, Reader, Table, members_of
from accord_rules.orders.order import PRINTS_MOST, Order, Size

PRINTS = "decorations"
_FIRST = f"{PRINTS}.0."


@dataclass(frozen=True, slots=True)
class Span:
    """A column that holds both ends of something, as "3-6": ``least`` and ``most`` are the paths of the ends."""

    least: str
    most: str


@dataclass(frozen=True, slots=True)
class OrderField:
    """A place in an order that one cell can fill. ``path`` is dotted; a print's is that of the first print.

    ``reader`` is None for a span, whose ends have readers of their own.
    """

    path: str
    reader: Reader | None
    span: Span | None = None

    @property
    def is_of_a_print(self) -> bool:
        return self.path.startswith(_FIRST)

    @property
    def dimension(self) -> units.Dimension | None:
        """Of which kind of quantity it is; None where it is none."""
        match self.reader:
            case Object(into=into) if into is Size:
                return units.LENGTH
            case reader:
                return typed.dimension_of(reader)

    def path_of(self, number: int) -> str:
        """The dotted path for print ``number``, counted from 1."""
        return (
            self.path if number == 1 or not self.is_of_a_print else f"{PRINTS}.{number - 1}.{self.path[len(_FIRST) :]}"
        )

    def paths_of(self, number: int) -> tuple[str, ...]:
        """Every path that it fills."""
        return (self.path_of(number),) if self.span is None else (self.span.least, self.span.most)


SPANS: Mapping[str, Span] = MappingProxyType(
    {
        "use.age_from, use.age_to": Span("use.age_from", "use.age_to"),
        "use.size_from, use.size_to": Span("use.size_from", "use.size_to"),
    }
)


@cache
def fields() -> Mapping[str, OrderField]:
    """Every field by its path: quantities, words, names, numbers, flags, lists of these, sizes, shares of fibres."""
    found = {path: OrderField(path, reader) for path, reader in _inside(Object(Order), "")}
    spans = {path: OrderField(path, None, span) for path, span in SPANS.items()}
    return MappingProxyType({**found, **spans})


def _inside(reader: Reader, path: str) -> Iterator[tuple[str, Reader]]:
    match reader:
        case OneOrSpan(into=into):
            yield path, reader
            yield from _members(into, path)
        case Object(into=into):
            if into is Size:
                yield path, reader
            yield from _members(into, path)
        case Either(second=Object(into=into)):
            yield path, reader.first
            yield from _members(into, path)
        case Many(item=Object()):
            # Prints are counted by the header; other lists of objects (probe readings) are no work of a row.
            if path == PRINTS:
                yield from _inside(reader.item, f"{path}.0")
        case _:
            yield path, reader


def _members(into: type, path: str) -> Iterator[tuple[str, Reader]]:
    for member in members_of(into):
        yield from _inside(member.reader, f"{path}.{member.name}" if path else member.name)


def field_at(path: str) -> tuple[OrderField, int] | None:
    """The field of a dotted path and the number of its print, from 1; None where there is none.

    ``item.fibres.CO`` is the share of one fibre.
    """
    steps = path.split(".")
    number = 1
    if steps[0] == PRINTS and len(steps) > 2 and steps[1].isdecimal() and len(steps[1]) <= 2:
        number = int(steps[1]) + 1
        steps[1] = "0"
    of_first = ".".join(steps)
    if number > PRINTS_MOST:
        return None
    if (field := fields().get(of_first)) is not None:
        return field, number
    holder, _, key = of_first.rpartition(".")
    match fields().get(holder):
        case OrderField(reader=Table(value=reader)) if key:
            return OrderField(of_first, reader), number
        case _:
            return None
