from __future__ import annotations

from collections import Counter

from accord_rules.revision import rule as rules
from accord_rules.revision.book import Book
from accord_rules.revision.sourcing import facts_of, rows_sourced
from accord_rules.revision.spoken import lines_of
from accord_service.api.answers import RelatedRule, Rule, SourcedMarketRow
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.api.sourced import kinds_by_source, numbers_sourced
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer

RELATED_MOST = 8


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
        in_words=lines_of(rule.condition.tree, book.catalogue),
        related=_related(book, rule),
        entry=book.documents["rules"][name],
    )
    return Answer(rule_entry.document())


def _related(book: Book, rule: rules.Rule) -> tuple[RelatedRule, ...]:
    """The rules whose conditions have most facts in common with this one's; a fact that many read counts little."""
    readers = Counter(fact for other in book.rules.values() for fact in other.condition.facts)
    shared = {
        other.id: sorted(other.condition.facts & rule.condition.facts)
        for other in book.rules.values()
        if other is not rule
    }
    nearest = sorted(shared, key=lambda name: (-sum(1 / readers[fact] for fact in shared[name]), name))
    return tuple(
        RelatedRule(name, book.rules[name].level, book.rules[name].title, tuple(shared[name]))
        for name in nearest[:RELATED_MOST]
        if shared[name]
    )
