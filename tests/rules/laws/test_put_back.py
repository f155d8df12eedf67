"""Laws of what an answer takes for granted and asks: said in the order as the answer writes it, it is read, and what
was taken for granted changes nothing.

Over the demo's orders, the rules' own examples and random orders. No source: these are promises of this project.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator

import pytest
from tests.rules.laws.questions import ORDERS, SEED, Document, Question, demo_questions, questions, with_answer
from tests.tiers import NIGHTLY

from accord_rules.authority import Authority
from accord_rules.derive import FACT_TYPES
from accord_rules.documents.reading import read, reader_at
from accord_rules.documents.writing import written
from accord_rules.load.examples import example_order
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.facts import declared
from accord_rules.verdict import Verdict


def example_questions(book: Book) -> Iterator[Question]:
    """Of each rule the first order that makes it fire; by night also the first that keeps it silent."""
    for rule in book.rules.values():
        for examples in (rule.fires, rule.silent) if NIGHTLY else (rule.fires,):
            order, shop = example_order(next(example for example in examples if "facts" not in example), book)
            yield written(order), shop


@pytest.fixture(scope="module")
def answered(book: Book, without_remedies: Authority) -> list[tuple[Document, Shop, Verdict]]:
    asked_orders = [
        *demo_questions(),
        *example_questions(book),
        *questions(book, ORDERS // 2, "put back", odd=0.2, decorations=2, open_settings=True),
        *questions(book, ORDERS, "put back, odd", odd=1.0, decorations=3),
    ]
    return [(order, shop, without_remedies.validate(read(Order, order), shop)) for order, shop in asked_orders]


def outcome(authority: Authority, order: Document, shop: Shop) -> tuple[str, frozenset[tuple[str, str]]]:
    """The verdict, and what was found where. Raises DocumentError."""
    weighed = authority.judge(read(Order, order), shop)
    return weighed.verdict, frozenset((fired_rule.rule.id, fired_rule.pointer) for fired_rule in weighed.fired)


def test_what_was_assumed_can_be_said_and_changes_nothing(
    answered: list[tuple[Document, Shop, Verdict]], authority: Authority, without_remedies: Authority
) -> None:
    kinds: Counter[str] = Counter()
    for order, shop, verdict in answered[:: 1 if NIGHTLY else 3]:
        before, whole = outcome(authority, order, shop), order
        for assumption in verdict.assumed:
            filled = with_answer(order, assumption.pointer, assumption.value)
            assert outcome(authority, filled, shop) == before, f"ACCORD_SEED={SEED} {assumption}: {json.dumps(order)}"
            whole = with_answer(whole, assumption.pointer, assumption.value)
            kinds[assumption.pointer.rsplit("/", 1)[-1]] += 1
        assert outcome(authority, whole, shop) == before, f"ACCORD_SEED={SEED}: {json.dumps(order)}"
        left = {assumption.pointer for assumption in without_remedies.validate(read(Order, whole), shop).assumed}
        assert left.isdisjoint(assumption.pointer for assumption in verdict.assumed), "it is not assumed any more"
    assert len(kinds) > 12, "too few kinds of assumption to mean anything"
    fields = ("mirrored", "care", "age_from", "light", "size", "finishes")
    assert min(kinds[field] for field in fields) > (10 if NIGHTLY else 3)


def test_whatever_is_allowed_answers_a_need(
    answered: list[tuple[Document, Shop, Verdict]], authority: Authority
) -> None:
    answers: Counter[str] = Counter()
    for order, shop, verdict in answered:
        for need in verdict.needs:
            assert need.type == reader_at(Order, need.pointer).kind
            for value in need.allowed:
                outcome(authority, with_answer(order, need.pointer, value), shop)
                answers[need.type] += 1
    assert {"name", "word"} <= set(answers)
    assert sum(answers.values()) > 200


def test_each_fact_asks_and_assumes_where_an_order_has_a_field() -> None:
    missing = [fact.missing for fact in declared().values() if fact.missing is not None]
    assert len(missing) > 25
    assert all(reader_at(Order, ask.pointer.replace("{i}", "0")).kind for ask in missing)
    assert set(FACT_TYPES) == set(declared())
