"""Which citations cannot be: a source named for what it says nothing of, a row seen better than its source."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import groupby
from operator import attrgetter
from typing import Any

from accord_rules.documents.files import EntryFault, fault_in
from accord_rules.documents.reading import Fault, escape
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import ANYTHING, KINDS, SOURCE_KINDS, SUBJECTS, MigrationCell, Source
from accord_rules.revision.markets import MarketRow
from accord_rules.revision.sourcing import (
    FIELDS,
    KIND_SEEN,
    STEPS,
    SourcedNumber,
    numbers_of,
    speaks_of_one,
    subjects_of_field,
    subjects_of_rule,
)

_FIELDS_TOLD_MOST = 4
_NEAREST_MOST = 3


def miscited(book: Book) -> Iterator[EntryFault]:
    """Every citation of a source for what it does not speak of, with the sources that do."""
    yield from _of_sources(book.sources)
    told: dict[tuple[str, str], set[str]] = {}
    for (kind, name), grouped in groupby(numbers_of(book.documents), key=attrgetter("kind", "id")):
        numbers = tuple(grouped)
        told[kind, name] = {number.field for number in numbers}
        for fault in _of_numbers(numbers, book.sources):
            yield fault_in(kind, name, fault)
    for kind in KINDS:
        for name, entry in book.documents[kind].items():
            for fault in _of_words(kind, entry, told.get((kind, name), set()), book.sources):
                yield fault_in(kind, name, fault)
    for rule in book.rules.values():
        for fault in _of_statement(rule.sources, subjects_of_rule(rule), "what this rule says", book.sources):
            yield fault_in("rules", rule.id, fault, rule.topic)
    for step in book.steps.values():
        for fault in _of_statement(step.sources, STEPS, "what steps say", book.sources):
            yield fault_in("steps", step.id, fault, step.stage)
    for name, market in book.catalogue["markets"].items():
        for matter, row in market.rows:
            for fault in _seen_better(f"/{matter}/seen", row, book.sources):
                yield fault_in("markets", name, fault)
    for name, cell in book.catalogue["migration"].items():
        for fault in _seen_better("/seen", cell, book.sources):
            yield fault_in("migration", name, fault)


def _of_sources(sources: Mapping[str, Source]) -> Iterator[EntryFault]:
    """Only a decision can be about anything: a text has its subjects."""
    for name, source in sources.items():
        if ANYTHING in source.speaks_of and source.kind != "choice":
            allowed = tuple(subject for subject in SUBJECTS if subject != ANYTHING)
            message = f"only a choice can speak of anything, and this is {source.kind}"
            fault = Fault("/speaks_of", message, allowed, refused=ANYTHING, code="contradiction")
            yield fault_in("sources", name, fault)


def _of_numbers(numbers: Iterable[SourcedNumber], sources: Mapping[str, Source]) -> Iterator[Fault]:
    """One fault a source and subjects, with the first of the numbers that it is cited for."""
    wrong: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for number in numbers:
        if not number.subjects:
            yield Fault(
                number.pointer, "is about nothing yet: give it a subject in revision/sourcing.py", code="required"
            )
            continue
        for name in number.sources:
            if not speaks_of_one(sources[name], number.subjects):
                wrong.setdefault((name, number.subjects), []).append(number.pointer)
    for (name, subjects), pointers in wrong.items():
        shown = ", ".join(pointers[:_FIELDS_TOLD_MOST])
        more = f" and {len(pointers) - _FIELDS_TOLD_MOST} more" if len(pointers) > _FIELDS_TOLD_MOST else ""
        yield _fault(pointers[0], name, subjects, f"{shown}{more}", sources)


def _of_words(
    kind: str, entry: Mapping[str, Any], numbers: Collection[str], sources: Mapping[str, Source]
) -> Iterator[Fault]:
    """Sources of single fields that hold no numbers; and those of an entry that speak of nothing in its kind."""
    for field, names in entry.get("sources_of", {}).items():
        subjects = subjects_of_field(kind, field)
        for name in names if field not in numbers else ():
            if subjects and not speaks_of_one(sources[name], subjects):
                yield _fault(f"/sources_of/{escape(field)}", name, subjects, field, sources)
    of_kind = tuple(dict.fromkeys(subject for subjects in FIELDS.get(kind, {}).values() for subject in subjects))
    for index, name in enumerate(entry.get("sources", ())):
        if of_kind and not speaks_of_one(sources[name], of_kind):
            yield _fault(f"/sources/{index}", name, of_kind, f"anything in {kind}", sources)


def _of_statement(
    cited: Iterable[str], subjects: tuple[str, ...], about: str, sources: Mapping[str, Source]
) -> Iterator[Fault]:
    for index, name in enumerate(cited):
        if not speaks_of_one(sources[name], subjects):
            yield _fault(f"/sources/{index}", name, subjects, about, sources)


def _fault(pointer: str, name: str, subjects: tuple[str, ...], what: str, sources: Mapping[str, Source]) -> Fault:
    """A source cited outside what it speaks of, and the best of those that speak of it."""
    able = [other for other, source in sources.items() if speaks_of_one(source, subjects)]
    best = sorted(able, key=lambda other: SOURCE_KINDS.index(sources[other].kind))
    own = sources[name].speaks_of
    message = (
        f"{name!r} cannot be the source of {what}: it speaks of {', '.join(own)} (sources.toml), "
        f"and this is about {' or '.join(subjects)}; nearest source: {' or '.join(best[:_NEAREST_MOST]) or 'none yet'}"
    )
    return Fault(pointer, message, code="contradiction")


def _seen_better(pointer: str, row: MarketRow | MigrationCell, sources: Mapping[str, Source]) -> Iterator[Fault]:
    """That a row or cell says it was seen better than any source it names; what nobody saw may rest on anything."""
    seen = KIND_SEEN[row.seen]
    best = min((sources[name].kind for name in row.sources), key=SOURCE_KINDS.index)
    if row.seen != "memory" and SOURCE_KINDS.index(seen) < SOURCE_KINDS.index(best):
        message = f"{row.seen!r} is better than its sources were seen: the best is {best}"
        yield Fault(pointer, message, code="contradiction")
