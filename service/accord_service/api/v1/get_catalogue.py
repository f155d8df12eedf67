from __future__ import annotations

from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS
from accord_service.api.answers import Catalogue, Kind
from accord_service.api.endpoint import Call, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.wire import about
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/catalogue", operation_id="listKinds", tag="Book", as_of=True, answers=Catalogue, query=PageQuery)
def get_catalogue(call: Call) -> Answer:
    """List the kinds of entry in the book."""
    book = call.book
    page = page_of(KINDS, call.query, "/v1/catalogue", call.kept_filters)
    entries = tuple(_kind(book, kind) for kind in page.items)
    return Answer(Catalogue(book.revision, book.digest, entries=entries, next=page.next).document())


def _kind(book: Book, kind: str) -> Kind:
    tables = book.documents[kind]
    with_sheet = sum("sheet" in table for table in tables.values()) if kind == "products" else None
    return Kind(kind, about(KINDS[kind]), len(tables), with_sheet)
