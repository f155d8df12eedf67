from __future__ import annotations

from accord_service.answers import RuleAnswer
from accord_service.endpoint import Asked, Example, endpoint
from accord_service.examples import first_of
from accord_service.problems import NotFound
from accord_service.writing import Answer


@endpoint(
    "GET",
    "/v1/rules/{rule}",
    tag="Book",
    as_of=True,
    answers=RuleAnswer,
    parameters={"rule": "id of the rule"},
    statuses=(404,),
    examples=(Example("A rule", path=lambda settings: {"rule": first_of(settings, "rules")}),),
)
def get_rule(asked: Asked) -> Answer:
    """Give one rule: when it finds something, why, what to do, what it rests on, and orders that show it."""
    settings, name = asked.settings, asked.path["rule"]
    if name not in settings.rules:
        raise NotFound(f"The book has no rule {name!r}.")
    rule = settings.rules[name]
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "id": rule.id,
            "topic": rule.topic,
            "level": rule.level,
            "limits": list(rule.limits),
            "sources": list(rule.sources),
            "entry": settings.documents["rules"][name],
        }
    )
