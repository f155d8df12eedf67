from __future__ import annotations

from accord_rules.revision.catalogue import KINDS
from accord_service.api.answers import CatalogueAnswer
from accord_service.api.endpoint import Asked, endpoint
from accord_service.http.wire import about
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/catalogue", tag="Book", as_of=True, answers=CatalogueAnswer)
def get_catalogue(asked: Asked) -> Answer:
    """List the kinds of entry in the book."""
    book = asked.book
    kinds = [{"kind": kind, "about": about(cls), "count": len(book.documents[kind])} for kind, cls in KINDS.items()]
    return Answer({"revision": book.revision, "digest": book.digest, "kinds": kinds})
