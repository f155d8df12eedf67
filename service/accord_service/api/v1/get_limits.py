from __future__ import annotations

from accord_service.api.answers import Limits, ListedLimit
from accord_service.api.endpoint import Call, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/limits", operation_id="listLimits", tag="Book", as_of=True, answers=Limits, query=PageQuery)
def get_limits(call: Call) -> Answer:
    """List the limits that rules compare with, page by page."""
    book = call.book
    limits = book.documents["limits"]
    page = page_of(limits, call.query, "/v1/limits", call.kept_filters)
    entries = tuple(ListedLimit(name, limits[name]) for name in page.items)
    return Answer(Limits(book.revision, book.digest, entries=entries, next=page.next).document())
