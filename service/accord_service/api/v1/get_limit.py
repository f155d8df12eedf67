from __future__ import annotations

from accord_service.answers import LimitEntryAnswer
from accord_service.endpoint import Asked, Example, endpoint
from accord_service.examples import first_of
from accord_service.problems import NotFound
from accord_service.writing import Answer


@endpoint(
    "GET",
    "/v1/limits/{limit}",
    tag="Book",
    as_of=True,
    answers=LimitEntryAnswer,
    parameters={"limit": "name of the limit"},
    statuses=(404,),
    examples=(Example("A limit", path=lambda settings: {"limit": first_of(settings, "limits")}),),
)
def get_limit(asked: Asked) -> Answer:
    """Give one limit: its value, which way is stricter, where it comes from and which rules use it."""
    settings, name = asked.settings, asked.path["limit"]
    if name not in settings.documents["limits"]:
        raise NotFound(f"The book has no limit {name!r}.")
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "id": name,
            "entry": settings.documents["limits"][name],
            "rules": sorted(rule.id for rule in settings.rules.values() if name in rule.limits),
        }
    )
