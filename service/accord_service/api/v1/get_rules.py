from __future__ import annotations

from dataclasses import dataclass

from accord_rules.reading import Choice, Fault, Name, optional
from accord_rules.verdict import LEVELS
from accord_service.answers import RulesAnswer
from accord_service.endpoint import Asked, endpoint
from accord_service.paging import PageQuery, page_of
from accord_service.problems import BadQuery
from accord_service.writing import Answer


@dataclass(frozen=True, slots=True)
class RulesQuery(PageQuery):
    """Which rules."""

    topic: str | None = optional(Name(), about="only rules of this topic")
    level: str | None = optional(Choice(LEVELS), about="only rules of this level")


@endpoint("GET", "/v1/rules", tag="Book", as_of=True, answers=RulesAnswer, query=RulesQuery)
def get_rules(asked: Asked) -> Answer:
    """List the rules, page by page; of one topic or level if wished."""
    settings, query = asked.settings, asked.query
    topics = sorted({rule.topic for rule in settings.rules.values()})
    if query.topic is not None and query.topic not in topics:
        raise BadQuery(faults=[Fault("/topic", "is not a topic of the book", tuple(topics))])
    wanted = [
        each
        for each, rule in settings.rules.items()
        if query.topic in (None, rule.topic) and query.level in (None, rule.level)
    ]
    page = page_of(wanted, query, "/v1/rules", {**asked.kept_filters, "topic": query.topic, "level": query.level})
    rules = [settings.rules[each] for each in page.ids]
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "entries": [{"id": r.id, "topic": r.topic, "level": r.level, "title": r.title} for r in rules],
            "next": page.next,
        }
    )
