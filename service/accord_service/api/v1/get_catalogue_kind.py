from __future__ import annotations

from accord_rules.documents.files import entry_of
from accord_rules.revision.catalogue import KINDS
from accord_service.api.answers import CatalogueKind, ListedEntry
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/catalogue/{kind}",
    operation_id="listEntries",
    tag="Book",
    as_of=True,
    answers=CatalogueKind,
    query=PageQuery,
    parameters={"kind": "kind of entry"},
    choices={"kind": tuple(KINDS)},
    examples=(Example("Fibres", path=lambda book: {"kind": "fibres"}),),
)
def get_catalogue_kind(call: Call) -> Answer:
    """List the entries of one kind, page by page."""
    book, kind = call.book, call.path["kind"]
    if kind not in KINDS:
        raise NotFound.in_book("kind", "kind of entry", kind, KINDS)
    page = page_of(book.documents[kind], call.query, f"/v1/catalogue/{kind}", call.kept_filters)
    entries = tuple(ListedEntry(name, entry_of(book.documents, kind, name)) for name in page.items)
    kind_page = CatalogueKind(book.revision, book.digest, kind=kind, entries=entries, next=page.next)
    return Answer(kind_page.document())
