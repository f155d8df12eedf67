from __future__ import annotations

from accord_service.answers import SourceEntryAnswer
from accord_service.endpoint import Asked, Example, endpoint
from accord_service.examples import first_of
from accord_service.problems import NotFound
from accord_service.writing import Answer


@endpoint(
    "GET",
    "/v1/sources/{source}",
    tag="Book",
    as_of=True,
    answers=SourceEntryAnswer,
    parameters={"source": "name of the source"},
    statuses=(404,),
    examples=(Example("A source", path=lambda settings: {"source": first_of(settings, "sources")}),),
)
def get_source(asked: Asked) -> Answer:
    """Give one source, how far it can be trusted, and the rules and limits that rest on it."""
    settings, name = asked.settings, asked.path["source"]
    if name not in settings.documents["sources"]:
        raise NotFound(f"The book has no source {name!r}.")
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "id": name,
            "entry": settings.documents["sources"][name],
            "rules": sorted(each for each, rule in settings.rules.items() if name in rule.sources),
            "limits": sorted(each for each, limit in settings.limits.items() if name in limit.sources),
        }
    )
