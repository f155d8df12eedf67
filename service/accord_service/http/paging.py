"""Lists in pages, all alike: ``limit`` and ``cursor`` are asked, ``entries`` and the address of the ``next`` answered.

A cursor says where the page before ended, so pages hold while entries come and go.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from accord_rules.documents.reading import Fault, Text, Whole, optional
from accord_service.http.problems import BadQuery
from accord_service.store import Page, number_of

_NONE: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class PageQuery:
    """Which page of a list."""

    cursor: str | None = optional(Text(400), about="from the address of the page; the first page when left out")
    limit: int = optional(Whole(1, 200), 50, about="entries a page; 50 when left out")


def page_of(ids: Iterable[str], query: PageQuery, address: str, filters: Mapping[str, Any] = _NONE) -> Page[str]:
    """The ids of one page, sorted, and the address of the next one. ``filters`` are the query parameters to keep.

    Raises BadQuery for a cursor that no page of this list gave.
    """
    after = None if query.cursor is None else _id_in(address, query.cursor)
    rest = iter(sorted(id_ for id_ in ids if after is None or id_ > after))
    shown = tuple(islice(rest, query.limit))
    cursor = None if next(rest, None) is None else cursor_after(address, shown[-1])
    return Page(shown, next_address(address, cursor, query, filters))


def cursor_after(address: str, id_: str) -> str:
    """The cursor of the page that follows an id.

    The id may be gone by then, so that a made-up cursor shows by its sum alone.
    """
    return f"{id_}~{hashlib.sha256(f'{address} {id_}'.encode()).hexdigest()[:8]}"


def _id_in(address: str, cursor: str) -> str:
    """The id that a cursor stands behind. Raises BadQuery."""
    id_ = cursor.rpartition("~")[0]
    with bad_cursor():
        if cursor != cursor_after(address, id_):
            raise ValueError("not a cursor that a page gave")
    return id_


def next_address(address: str, cursor: str | None, query: PageQuery, filters: Mapping[str, Any] = _NONE) -> str | None:
    """Where the next page is, relative to the service; None on the last."""
    if cursor is None:
        return None
    parameters = {name: value for name, value in filters.items() if value is not None}
    parameters |= {"cursor": cursor, "limit": query.limit}
    return f"{address}?{urlencode(parameters)}"


def number_in(query: PageQuery) -> int | None:
    """The number that a cursor of a numbered list is; None on the first page. Raises BadQuery."""
    if query.cursor is None:
        return None
    number = number_of(query.cursor)
    with bad_cursor():
        if number is None:
            raise ValueError("not a cursor that a page gave")
    return number


@contextmanager
def bad_cursor() -> Iterator[None]:
    """The refusal of a cursor that no page gave, as a problem."""
    try:
        yield
    except ValueError as error:
        raise BadQuery(faults=[Fault("/cursor", f"is {error}", code="bad-format")]) from None
