from __future__ import annotations

from accord_rules.revision.sourcing import facts_of, rows_sourced
from accord_service.api.answers import Rule, SourcedMarketRow
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.api.sourced import kinds_by_source, numbers_sourced
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
    """Give one rule: when it finds something, why, what to do, what it rests on, and orders that show it.

    Each of its numbers says what kind of source it rests on.
    """
    book, name = call.book, call.path["name"]
    if name not in book.rules:
        raise NotFound.in_book("rule", "rule", name, book.rules)
    rule = book.rules[name]
    numbers = numbers_sourced(book, rule.limits)
    rows = rows_sourced(facts_of(rule), book.catalogue["markets"], book.sources)
    named = (rule.sources, *(number.sources for number in numbers), *(row.sources for row in rows))
    rule_entry = Rule(
        book.revision,
        book.digest,
        id=rule.id,
        topic=rule.topic,
        level=rule.level,
        limits=rule.limits,
        sources=rule.sources,
        numbers=numbers,
        market_rows=tuple(SourcedMarketRow(row.market, row.matter, row.kind, row.sources) for row in rows),
        source_kinds=kinds_by_source(book, *named),
        entry=book.documents["rules"][name],
    )
    return Answer(rule_entry.document())
