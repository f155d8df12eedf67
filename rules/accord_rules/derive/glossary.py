"""Each fact as whoever writes a rule, or another fact, has to know it: what it is, whence it comes, who looks at it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from accord_rules.derive.graph import GRAPH, Graph
from accord_rules.documents import units
from accord_rules.documents.reading import Many, Object, Quantity, Reader, Whole, readers_of
from accord_rules.documents.writing import quantity
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS
from accord_rules.revision.condition import UNITLESS
from accord_rules.revision.facts import Ask, Assume, Fact, Of
from accord_rules.revision.sentences import write_value


@dataclass(frozen=True, slots=True)
class Measure:
    """What a number is of. ``unit``: the one that its value is in. ``example``: how the facts of an example write one.

    ``plain``: conditions and examples write it as a plain number; else conditions compare it with a limit.
    """

    dimension: str
    unit: str
    example: str
    plain: bool


@dataclass(frozen=True, slots=True)
class Reads:
    """What a fact is worked out from at first hand. ``inputs`` by their names in ``derive.sources``."""

    facts: tuple[str, ...]
    inputs: tuple[str, ...]
    limits: tuple[str, ...]
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleReader:
    """A rule of the book that has a fact in its condition or its sentences."""

    id: str
    level: str


@dataclass(frozen=True, slots=True)
class ReadBy:
    """Who looks at a fact at first hand. ``choices``: settings that are found by looking at it."""

    facts: tuple[str, ...]
    choices: tuple[str, ...]
    rules: tuple[RuleReader, ...]


@dataclass(frozen=True, slots=True)
class Unsaid:
    """What holds where the order leaves a fact unsaid. It is asked for if there is a ``question``, else assumed.

    ``value``: what is assumed, as an order takes it at ``pointer``; None where an order cannot say it, or where it
    hangs on what else is said. ``shown``: the same for people. ``why``: empty where nothing is ever assumed.
    With both a question and a reason it is asked where nothing sensible can be assumed, and assumed elsewhere.
    """

    pointer: str
    question: str
    value: Any
    shown: str
    why: str


@dataclass(frozen=True, slots=True)
class FactEntry:
    """One fact. ``words``: those that it may be, or hold; ``kinds``: the kinds of the book's entries among them."""

    id: str
    type: str
    scope: str
    description: str
    measure: Measure | None
    words: tuple[str, ...]
    kinds: tuple[str, ...]
    reads: Reads
    read_by: ReadBy
    unsaid: Unsaid | None


class Glossary(Mapping[str, FactEntry]):
    """Every fact by name, with the words and rules of a book; each is put together when it is looked up."""

    def __init__(self, book: Book, graph: Graph = GRAPH) -> None:
        self._book, self._graph = book, graph
        self._names = sorted(graph.facts)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)

    def __getitem__(self, name: str) -> FactEntry:
        graph, fact = self._graph, self._graph.facts[name]
        dimension, domain = fact.type.dimension, fact.type.domain
        readers = sorted(graph.readers[name])
        return FactEntry(
            id=name,
            type=fact.type.kind.value,
            scope=fact.scope.value,
            description=fact.about,
            measure=None if dimension is None else _measure(dimension),
            words=tuple(sorted(self._book.vocabulary.words(fact.type))) if domain else (),
            kinds=tuple(kind for kind in domain.split("|") if kind in KINDS) if isinstance(domain, str) else (),
            reads=Reads(*(graph.named(name, of) for of in (Of.FACT, Of.SOURCE, Of.LIMIT, Of.ENTRIES))),
            read_by=ReadBy(
                facts=tuple(each for each in readers if each in graph.facts),
                choices=tuple(each for each in readers if each in graph.sources),
                rules=self._rules.get(name, ()),
            ),
            unsaid=_unsaid(fact),
        )

    @cached_property
    def _rules(self) -> Mapping[str, tuple[RuleReader, ...]]:
        found: dict[str, tuple[RuleReader, ...]] = {}
        for rule in sorted(self._book.rules.values(), key=lambda each: each.id):
            for name in {*rule.condition.facts, *rule.because.facts, *rule.fix.facts}:
                found[name] = (*found.get(name, ()), RuleReader(rule.id, rule.level))
        return found


def _measure(dimension: units.Dimension) -> Measure:
    plain = dimension in UNITLESS
    return Measure(dimension.name, dimension.symbol, dimension.example, plain)


def _unsaid(fact: Fact) -> Unsaid | None:
    match fact.missing:
        case Ask(pointer=pointer, question=question):
            return Unsaid(pointer, question, None, "", "")
        case Assume(pointer=pointer, value=value, why=why, question=question):
            reason = why if isinstance(why, str) else _told(why)
            if callable(value):
                return Unsaid(pointer, question, None, _told(value), reason)
            return Unsaid(
                pointer, question, _as_taken(pointer, value), write_value(fact.type, value, units.METRIC), reason
            )
    return None


def _told(function: Any) -> str:
    """What a function says that it answers."""
    return " ".join((function.__doc__ or "").split())


def _as_taken(pointer: str, value: Any) -> Any:
    """A fact's value as an order takes it at a pointer; None if it does not."""
    reader = _reader_at(pointer)
    if isinstance(reader, Quantity) and isinstance(value, float):
        value = quantity(reader.dimension, value)
    elif isinstance(reader, Whole) and isinstance(value, float):
        value = int(value)
    elif isinstance(value, tuple):
        value = list(value)
    faults: list[Any] = []
    if reader is not None:
        reader.read(value, pointer, faults)
    return None if faults or reader is None else value


def _reader_at(pointer: str) -> Reader | None:
    """The reader of an order's field; None where the pointer leads to none."""
    reader: Reader = Object(Order)
    for step in pointer.split("/")[1:]:
        if isinstance(reader, Many):
            reader = reader.item
        elif isinstance(reader, Object) and step in readers_of(reader.into):
            reader, _ = readers_of(reader.into)[step]
        else:
            return None
    return reader
