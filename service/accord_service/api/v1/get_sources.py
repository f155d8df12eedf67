from __future__ import annotations

from accord_service.api.answers import ListedSource, Sources
from accord_service.api.endpoint import Call, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/sources", operation_id="listSources", tag="Book", as_of=True, answers=Sources, query=PageQuery)
def get_sources(call: Call) -> Answer:
    """List where the book's numbers come from, page by page."""
    book = call.book
    sources = book.documents["sources"]
    page = page_of(sources, call.query, "/v1/sources", call.kept_filters)
    entries = tuple(ListedSource(name, sources[name]) for name in page.items)
    return Answer(Sources(book.revision, book.digest, entries=entries, next=page.next).document())
