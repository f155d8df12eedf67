"""The graph of facts: who reads what, from the declarations alone, and what is wrong with them.

Nodes are facts (``window.exists``) and sources (``/item/care``, ``chosen/time_s``); an edge says that one is worked out
from the other. Sources that are found by search stand on what the search looks at. What is blamed for an unknown fact,
and no part of its value, is no edge.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from accord_rules.derive.sources import ARRANGED, ARRANGEMENT, LOWERED, SAYABLE, SOURCES, Part, SourceField
from accord_rules.documents.spelling import did_you_mean
from accord_rules.revision.facts import SHIPPED, Fact, Of, Read, Register, assuming_of, reads_of


@dataclass(frozen=True)
class Graph:
    """``facts`` and ``sources`` by name; ``declared_wrong`` is what the register of the facts found."""

    facts: Mapping[str, Fact]
    sources: Mapping[str, SourceField]
    declared_wrong: tuple[str, ...] = ()

    @classmethod
    def of(cls, register: Register, sources: Mapping[str, SourceField] = SOURCES) -> Graph:
        return cls(MappingProxyType(register.facts), sources, tuple(register.faults))

    # -- who reads what ------------------------------------------------------------------------------------------

    def all_reads(self, name: str) -> tuple[Read, ...]:
        """What a fact declares to read, be it for its value or for what is assumed in its place."""
        fact = self.facts[name]
        return (
            *fact.reads.values(),
            *(read for function in assuming_of(fact.missing) for read in reads_of(function).values()),
        )

    def named(self, name: str, of: Of) -> tuple[str, ...]:
        """The facts, sources, limits or kinds of entries that a fact reads, each once, as declared."""
        return tuple(dict.fromkeys(named for read in self.all_reads(name) if read.of is of for named in read.names))

    @cached_property
    def limits(self) -> frozenset[str]:
        """Every limit that a fact reads."""
        return frozenset(limit for name in self.facts for limit in self.named(name, Of.LIMIT))

    @cached_property
    def reads(self) -> Mapping[str, tuple[str, ...]]:
        """By fact or source, the facts and sources that it is worked out from; those that are none are left out."""
        edges = {name: (*self.named(name, Of.FACT), *self.named(name, Of.SOURCE)) for name in self.facts}
        edges |= {name: source.reads for name, source in self.sources.items()}
        return MappingProxyType({name: tuple(filter(edges.__contains__, reads)) for name, reads in edges.items()})

    @cached_property
    def readers(self) -> Mapping[str, tuple[str, ...]]:
        """By fact or source, the facts and sources that are worked out from it at first hand."""
        readers: dict[str, list[str]] = {name: [] for name in self.reads}
        for name, reads in self.reads.items():
            for read in reads:
                readers[read].append(name)
        return MappingProxyType({name: tuple(names) for name, names in readers.items()})

    @cached_property
    def upstream(self) -> Mapping[str, frozenset[str]]:
        """By fact or source, all that it hangs on, at whatever remove."""
        return MappingProxyType({name: self._closed((name,), self.reads) - {name} for name in self.reads})

    def downstream(self, names: Iterable[str], held: Collection[str] = ()) -> frozenset[str]:
        """All that hangs on any of these facts or sources, and they themselves; not by way of what is ``held``."""
        return self._closed(names, self.readers, held)

    @cached_property
    def parts(self) -> Mapping[str, frozenset[Part]]:
        """By fact, the parts of a question that it hangs on.

        Chosen settings and the order of pressings count as given: whoever finds other ones makes another case.
        """
        first = {name: () if name in self.sources else reads for name, reads in self.reads.items()}
        return MappingProxyType(
            {
                name: frozenset(
                    self.sources[source].part for source in self._closed((name,), first) & self.sources.keys()
                )
                for name in self.facts
            }
        )

    def elsewhere(self, names: Iterable[str]) -> frozenset[str]:
        """What hangs on these sources of *another* decoration: by what facts read of the others, and by the order of
        pressings, for which settings may have been lowered too."""
        there = self.downstream(names)
        first = {source.name for source in self.sources.values() if source.of_others in there}
        arranged = {
            source.name
            for source in self.sources.values()
            if source.part in ARRANGEMENT and not there.isdisjoint(source.reads)
        }
        lowered = {f"chosen/{field}" for field in LOWERED} if not there.isdisjoint(ARRANGED) else set()
        return self.downstream(first | arranged | lowered)

    @staticmethod
    def _closed(
        names: Iterable[str], edges: Mapping[str, tuple[str, ...]], held: Collection[str] = ()
    ) -> frozenset[str]:
        closed: set[str] = set()
        waiting = list(names)
        while waiting:
            name = waiting.pop()
            if name not in closed and name not in held:
                closed.add(name)
                waiting += edges[name]
        return frozenset(closed)

    # -- what is wrong -------------------------------------------------------------------------------------------

    @cached_property
    def faults(self) -> tuple[str, ...]:
        """What is wrong with the declarations, each with file, line and fact; none where all is well."""
        return (*self.declared_wrong, *self._misnamed(), *self._circles())

    def misnamed_in_book(self, limits: Collection[str], kinds: Collection[str]) -> tuple[str, ...]:
        """The limits and kinds of entries that facts read and a book has not, with file, line and fact."""
        return tuple(
            f"{_where(fact)}: there is no {what} {name!r} in the book{did_you_mean(name, known)}"
            for fact in self.facts.values()
            for what, names, known in (
                ("limit", self.named(fact.name, Of.LIMIT), limits),
                ("kind of entry", self.named(fact.name, Of.ENTRIES), kinds),
                ("kind of entry", _kinds(fact), (*kinds, "none")),
            )
            for name in names
            if name not in known
        )

    def _misnamed(self) -> Iterator[str]:
        for fact in self.facts.values():
            for read in self.all_reads(fact.name):
                yield from (
                    f"{_where(fact)}: {why}" for name in read.names if (why := self._unreadable(fact, read, name))
                )
            pointer = fact.missing.pointer if fact.missing is not None else None
            if pointer is not None and pointer not in SAYABLE:
                near = did_you_mean(pointer, SAYABLE)
                yield f"{_where(fact)}: no order has {pointer!r}, where it would be said{near}"
            for name in fact.blamed:
                if name not in self.facts:
                    yield f"{_where(fact)}: there is no fact {name!r} to be blamed{did_you_mean(name, self.facts)}"
        for source in self.sources.values():
            for name in source.reads:
                if name not in self.facts and name not in self.sources:
                    known = (*self.facts, *self.sources)
                    yield f"derive/sources.py: source {source.name}: there is no {name!r}{did_you_mean(name, known)}"

    def _unreadable(self, fact: Fact, read: Read, name: str) -> str:
        """Why a fact may not read this one; empty if it may."""
        known: Mapping[str, Fact | SourceField] | None = {Of.FACT: self.facts, Of.SOURCE: self.sources}.get(read.of)  # type: ignore[assignment]
        if known is None:
            return ""
        if name not in known:
            return f"reads {read.of.value} {name!r}, and there is none{did_you_mean(name, known)}"
        scope = known[name].scope
        if scope.rank > fact.scope.rank:
            return (
                f"is of the {fact.scope.value} and reads {read.of.value} {name!r}, which is not known before"
                f" the {scope.value}"
            )
        return ""

    def _circles(self) -> Iterator[str]:
        """Facts that are worked out from themselves, each circle once."""
        named: set[frozenset[str]] = set()
        for name, fact in self.facts.items():
            if (ring := self._ring(name)) and frozenset(ring) not in named:
                named.add(frozenset(ring))
                yield f"{_where(fact)}: is worked out from itself: {' reads '.join(ring)}"

    def _ring(self, start: str) -> tuple[str, ...]:
        """The shortest way from a node back to itself; empty if there is none."""
        paths: list[tuple[str, ...]] = [(start,)]
        seen: set[str] = set()
        while paths:
            longer = []
            for path in paths:
                for name in self.reads[path[-1]]:
                    if name == start:
                        return (*path, start)
                    if name not in seen:
                        seen.add(name)
                        longer.append((*path, name))
            paths = longer
        return ()


def _kinds(fact: Fact) -> tuple[str, ...]:
    """The kinds of entries whose names are a fact's words."""
    domain = fact.type.domain
    return tuple(domain.split("|")) if isinstance(domain, str) else ()


def _where(fact: Fact) -> str:
    return f"{fact.place}: fact {fact.name}"


# Of the shipped facts: importing anything of ``derive`` declares them all.
GRAPH = Graph.of(SHIPPED)
