from __future__ import annotations

from accord_rules.catalogue import KINDS
from accord_service.answers import CatalogueKindAnswer
from accord_service.book import entry_of
from accord_service.endpoint import Asked, Example, endpoint
from accord_service.paging import PageQuery, page_of
from accord_service.problems import NotFound
from accord_service.writing import Answer


@endpoint(
    "GET",
    "/v1/catalogue/{kind}",
    tag="Book",
    as_of=True,
    answers=CatalogueKindAnswer,
    query=PageQuery,
    parameters={"kind": "kind of entry: " + ", ".join(KINDS)},
    statuses=(404,),
    examples=(Example("Fibres", path=lambda settings: {"kind": "fibres"}),),
)
def get_catalogue_kind(asked: Asked) -> Answer:
    """List the entries of one kind, page by page."""
    settings, kind = asked.settings, asked.path["kind"]
    if kind not in KINDS:
        raise NotFound(f"The book has no kind {kind!r}; it has {', '.join(KINDS)}.")
    page = page_of(settings.documents[kind], asked.query, f"/v1/catalogue/{kind}", asked.kept_filters)
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "kind": kind,
            "entries": [{"id": each, "entry": entry_of(settings, kind, each)} for each in page.ids],
            "next": page.next,
        }
    )
