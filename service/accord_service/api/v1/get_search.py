from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import Choice, Text, Whole, optional
from accord_rules.revision.book import Book
from accord_rules.revision.search import KINDS, Hit
from accord_service.api.answers import SearchHit, SearchResults, SpellingTaken
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.http.writing import Answer

WORDS_MOST = 200


@dataclass(frozen=True, slots=True)
class SearchQuery:
    """What is looked for."""

    q: str = optional(Text(WORDS_MOST), "", about="what it is about, in people's words; nothing is found without it")
    kind: str | None = optional(Choice(KINDS), about="only entries of this kind")
    limit: int = optional(Whole(1, 100), 20, about="entries at most; 20 when left out")


def _shown(book: Book) -> Mapping[str, Any]:
    return _results(book, SearchQuery(q="dtf on nylon", limit=3)).document()


@endpoint(
    "GET",
    "/v1/search",
    operation_id="searchBook",
    tag="Book",
    as_of=True,
    answers=SearchResults,
    query=SearchQuery,
    examples=(Example("Three for dtf on nylon", answer=_shown),),
)
def get_search(call: Call) -> Answer:
    """Find the rules, limits, transfers and all else that a few words of the trade are about, best first.

    Words that people use for things are known, and slips of the finger put right; ``instead`` says which words were not
    known.
    """
    return Answer(_results(call.book, call.query).document())


def _results(book: Book, query: Any) -> SearchResults:
    found = book.index.find(query.q, KINDS if query.kind is None else (query.kind,), query.limit)
    return SearchResults(
        book.revision,
        book.digest,
        query=query.q,
        total=found.total,
        instead=tuple(SpellingTaken(word, taken) for word, taken in found.instead),
        entries=tuple(_told(book, hit) for hit in found.hits),
    )


def _told(book: Book, hit: Hit) -> SearchHit:
    level = book.rules[hit.id].level if hit.kind == "rules" else None
    return SearchHit(kind=hit.kind, id=hit.id, title=hit.title, level=level, excerpt=hit.excerpt)
