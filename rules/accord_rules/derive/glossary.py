"""Each fact as whoever writes a rule, or another fact, has to know it: what it is, whence it comes, who looks at it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from accord_rules.derive.graph import GRAPH, Graph
from accord_rules.documents import units
from accord_rules.documents.answers import STRING, STRINGS, Anything, Nullable, listed
from accord_rules.documents.reading import Choice, Fault, Flag, Object, reader_at, required
from accord_rules.documents.writing import Documented, written_for
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS
from accord_rules.revision.condition import UNITLESS
from accord_rules.revision.facts import Ask, Assume, Fact, Kind, Of, Scope
from accord_rules.revision.sentences import write_value
from accord_rules.verdict import LEVELS


@dataclass(frozen=True, slots=True)
class Measure(Documented):
    """What a number is of."""

    dimension: str = required(STRING, "the dimension, as limits name it")
    unit: str = required(STRING, "the unit that its value is in; empty where it has none")
    example: str = required(STRING, "how the facts of a rule's example write one")
    plain: bool = required(
        Flag(), "whether conditions may compare it with a bare number; if not, with a limit or a fact"
    )


@dataclass(frozen=True, slots=True)
class Reads(Documented):
    """What a fact is worked out from at first hand."""

    facts: tuple[str, ...] = required(STRINGS, "ids of facts")
    inputs: tuple[str, ...] = required(
        STRINGS,
        "fields of the order, by JSON Pointer ({i}: the decoration in question, {j}: the others); of shop, house rules,"
        " press, the settings chosen and the order of pressings, by name",
    )
    limits: tuple[str, ...] = required(STRINGS, "ids of limits")
    kinds: tuple[str, ...] = required(STRINGS, "kinds of the catalogue whose entries are looked through")


@dataclass(frozen=True, slots=True)
class RuleReader(Documented):
    """A rule that has a fact in its condition or its sentences."""

    id: str = required(STRING, "id of the rule")
    level: str = required(Choice(LEVELS), "what it finds")


@dataclass(frozen=True, slots=True)
class ReadBy(Documented):
    """Who looks at a fact at first hand."""

    facts: tuple[str, ...] = required(STRINGS, "ids of the facts that are worked out from it")
    choices: tuple[str, ...] = required(
        STRINGS, "settings, and places in the order of pressings, that are found by looking at it"
    )
    rules: tuple[RuleReader, ...] = required(
        listed(Object(RuleReader)), "rules of the book; house rules are their shop's own and not told here"
    )
    steps: tuple[str, ...] = required(STRINGS, "ids of the steps of plans that ask for it or name it")


@dataclass(frozen=True, slots=True)
class Unsaid(Documented):
    """What holds where the order leaves a fact unsaid: it is assumed, asked for, or asked for where nothing sensible
    can be assumed."""

    pointer: str = required(STRING, "JSON Pointer to where the order would say it")
    question: str = required(STRING, "what is asked; empty where it is never asked for")
    value: Any = required(
        Nullable(Anything()),
        "what is assumed, as an order takes it; null where that hangs on what else is said, or no order can say it",
    )
    shown: str = required(STRING, "what is assumed, for people")
    why: str = required(STRING, "why that is assumed; empty where nothing is")


@dataclass(frozen=True, slots=True)
class FactEntry(Documented):
    """One fact: a word of the language that rules are written in."""

    id: str = required(STRING, "its name, as conditions and sentences write it")
    type: str = required(
        Choice(tuple(kind.value for kind in Kind)),
        "what it is; text may stand in sentences only, and data is for other facts alone",
    )
    scope: str = required(
        Choice(tuple(scope.value for scope in Scope)), "what has to be settled before it can be known"
    )
    description: str = required(STRING, "what it says")
    measure: Measure | None = required(Nullable(Object(Measure)), "for numbers: what they measure; else null")
    words: tuple[str, ...] = required(STRINGS, "the words that it may be one of, or a set of")
    kinds: tuple[str, ...] = required(STRINGS, "the kinds of the catalogue whose ids are among these words")
    reads: Reads = required(Object(Reads), "what it is worked out from")
    read_by: ReadBy = required(Object(ReadBy), "who looks at it")
    unsaid: Unsaid | None = required(
        Nullable(Object(Unsaid)), "what holds if unsaid; null where it follows from others"
    )


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
                facts=tuple(reader for reader in readers if reader in graph.facts),
                choices=tuple(choice for choice in readers if choice in graph.sources),
                rules=self._rules.get(name, ()),
                steps=self._steps.get(name, ()),
            ),
            unsaid=_unsaid(fact),
        )

    @cached_property
    def _rules(self) -> Mapping[str, tuple[RuleReader, ...]]:
        readers: dict[str, tuple[RuleReader, ...]] = {}
        for rule in sorted(self._book.rules.values(), key=lambda rule: rule.id):
            for name in {*rule.condition.facts, *rule.because.facts, *rule.fix.facts}:
                readers[name] = (*readers.get(name, ()), RuleReader(rule.id, rule.level))
        return readers

    @cached_property
    def _steps(self) -> Mapping[str, tuple[str, ...]]:
        readers: dict[str, tuple[str, ...]] = {}
        for step in sorted(self._book.steps.values(), key=lambda step: step.id):
            for name in {*step.condition.facts, *step.text.facts}:
                readers[name] = (*readers.get(name, ()), step.id)
        return readers


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
    reader = reader_at(Order, pointer)
    taken = written_for(reader, value)
    faults: list[Fault] = []
    reader.read(taken, pointer, faults)
    return None if faults else taken
