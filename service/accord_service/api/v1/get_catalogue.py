from __future__ import annotations

from accord_rules.revision.catalogue import KINDS
from accord_service.api.answers import CatalogueAnswer
from accord_service.api.endpoint import Asked, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.wire import about
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/catalogue", tag="Book", as_of=True, answers=CatalogueAnswer, query=PageQuery)
def get_catalogue(asked: Asked) -> Answer:
    """List the kinds of entry in the book."""
    book = asked.book
    page = page_of(KINDS, asked.query, "/v1/catalogue", asked.kept_filters)
    entries = [{"kind": k, "about": about(KINDS[k]), "count": len(book.documents[k])} for k in page.ids]
    return Answer({"revision": book.revision, "digest": book.digest, "entries": entries, "next": page.next})
