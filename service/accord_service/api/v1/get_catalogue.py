from __future__ import annotations

from accord_rules.catalogue import KINDS
from accord_service.answers import CatalogueAnswer
from accord_service.endpoint import Asked, endpoint
from accord_service.wire import about
from accord_service.writing import Answer


@endpoint("GET", "/v1/catalogue", tag="Book", as_of=True, answers=CatalogueAnswer)
def get_catalogue(asked: Asked) -> Answer:
    """List the kinds of entry in the book."""
    settings = asked.settings
    kinds = [{"kind": kind, "about": about(cls), "count": len(settings.documents[kind])} for kind, cls in KINDS.items()]
    return Answer({"revision": settings.revision, "digest": settings.digest, "kinds": kinds})
