from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, Fault, Name, optional
from accord_rules.verdict import LEVELS
from accord_service.api.answers import ListedRule, Rules
from accord_service.api.endpoint import Call, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.problems import BadQuery
from accord_service.http.writing import Answer


@dataclass(frozen=True, slots=True)
class RulesQuery(PageQuery):
    """Which rules."""

    topic: str | None = optional(Name(), about="only rules of this topic")
    level: str | None = optional(Choice(LEVELS), about="only rules of this level")


@endpoint("GET", "/v1/rules", operation_id="listRules", tag="Book", as_of=True, answers=Rules, query=RulesQuery)
def get_rules(call: Call) -> Answer:
    """List the rules, page by page; of one topic or level if wished."""
    book, query = call.book, call.query
    topics = sorted({rule.topic for rule in book.rules.values()})
    if query.topic is not None and query.topic not in topics:
        message, refused = f"{query.topic!r} is not a topic of the book", query.topic
        raise BadQuery(faults=[Fault("/topic", message, tuple(topics), code="not-in-book", refused=refused)])
    wanted = [
        name
        for name, rule in book.rules.items()
        if query.topic in (None, rule.topic) and query.level in (None, rule.level)
    ]
    page = page_of(wanted, query, "/v1/rules", {**call.kept_filters, "topic": query.topic, "level": query.level})
    rules = [book.rules[name] for name in page.items]
    entries = tuple(ListedRule(rule.id, rule.topic, rule.level, rule.title) for rule in rules)
    return Answer(Rules(book.revision, book.digest, entries=entries, next=page.next).document())
