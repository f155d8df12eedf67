from __future__ import annotations

from accord_rules.revision.catalogue import KINDS
from accord_service.api.answers import Catalogue, Kind
from accord_service.api.endpoint import Asked, endpoint
from accord_service.http.wire import about
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/catalogue", tag="Book", as_of=True, answers=Catalogue)
def get_catalogue(asked: Asked) -> Answer:
    """List the kinds of entry in the book."""
    book = asked.book
    kinds = tuple(Kind(kind, about(cls), len(book.documents[kind])) for kind, cls in KINDS.items())
    return Answer(Catalogue(book.revision, book.digest, kinds=kinds).document())
