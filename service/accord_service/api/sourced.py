"""What answers say of how well numbers are sourced."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from accord_rules.revision.book import Book
from accord_rules.revision.sourcing import SourcedLimit, limits_sourced
from accord_service.api.answers import SourcedNumber


def numbers_sourced(book: Book, names: Iterable[str]) -> tuple[SourcedNumber, ...]:
    """Limits by name, in this order, each with what kind of source it rests on."""
    return tuple(number_of(book, limit) for limit in limits_sourced(names, book.limits, book.sources))


def number_of(book: Book, sourced: SourcedLimit) -> SourcedNumber:
    """One limit as answers tell it."""
    limit = book.limits[sourced.id]
    return SourcedNumber(sourced.id, limit.title, limit.amount, sourced.kind, sourced.sources)


def kinds_by_source(book: Book, *named: Iterable[str]) -> Mapping[str, str]:
    """Each source that is named, with its kind."""
    return {name: book.sources[name].kind for name in sorted({name for names in named for name in names})}
