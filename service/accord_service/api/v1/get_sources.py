from __future__ import annotations

from accord_service.answers import SourcesAnswer
from accord_service.endpoint import Asked, endpoint
from accord_service.paging import PageQuery, page_of
from accord_service.writing import Answer


@endpoint("GET", "/v1/sources", tag="Book", as_of=True, answers=SourcesAnswer, query=PageQuery)
def get_sources(asked: Asked) -> Answer:
    """List where the book's numbers come from, page by page."""
    settings = asked.settings
    sources = settings.documents["sources"]
    page = page_of(sources, asked.query, "/v1/sources", asked.kept_filters)
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "entries": [{"id": each, "entry": sources[each]} for each in page.ids],
            "next": page.next,
        }
    )
