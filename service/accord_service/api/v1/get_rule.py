from __future__ import annotations

from accord_service.api.answers import Rule
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/rules/{name}",
    operation_id="readRule",
    tag="Book",
    as_of=True,
    answers=Rule,
    parameters={"name": "id of the rule"},
    examples=(Example("A rule", path=lambda book: {"name": first_of(book, "rules")}),),
)
def get_rule(call: Call) -> Answer:
    """Give one rule: when it finds something, why, what to do, what it rests on, and orders that show it."""
    book, name = call.book, call.path["name"]
    if name not in book.rules:
        raise NotFound.in_book("rule", "rule", name, book.rules)
    rule = book.rules[name]
    rule_entry = Rule(
        book.revision,
        book.digest,
        id=rule.id,
        topic=rule.topic,
        level=rule.level,
        limits=rule.limits,
        sources=rule.sources,
        entry=book.documents["rules"][name],
    )
    return Answer(rule_entry.document())
