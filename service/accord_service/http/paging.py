"""Lists in pages: a cursor is the id of the last entry seen, so pages hold while entries come and go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any
from urllib.parse import urlencode

from accord_rules.documents.reading import Name, Whole, optional
from accord_service.store import Page


@dataclass(frozen=True, slots=True)
class PageQuery:
    """Which page of a list, sorted by id."""

    after: str | None = optional(Name(), about="the last id of the page before; the first page when left out")
    limit: int = optional(Whole(1, 200), 50, about="entries a page; 50 when left out")


def page_of(ids: Iterable[str], query: PageQuery, address: str, filters: Mapping[str, Any] | None = None) -> Page[str]:
    """The ids of one page, and the address of the next one. ``filters`` are the query parameters to keep."""
    rest = iter(sorted(each for each in ids if query.after is None or each > query.after))
    shown = tuple(islice(rest, query.limit))
    if next(rest, None) is None:
        return Page(shown, None)
    kept = {name: value for name, value in (filters or {}).items() if value is not None}
    return Page(shown, f"{address}?{urlencode({**kept, 'after': shown[-1], 'limit': query.limit})}")
