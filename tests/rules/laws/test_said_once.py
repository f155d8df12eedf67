"""Nothing is said twice: no two findings of an answer speak of one place by one threshold, and where a rule's say is
part of another's, only that one is told. Our own choice; common practice, no source."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from itertools import chain, combinations
from statistics import median
from typing import Any

import pytest
from cases import firing_orders, order_document, shop_of
from tests.rules.laws.questions import ORDERS, demo_questions
from tests.rules.laws.questions import questions as random_questions

from accord_rules.authority import Authority
from accord_rules.documents.files import BookError
from accord_rules.documents.reading import read
from accord_rules.load.examples import example_order
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Finding, Verdict


@pytest.fixture(scope="module")
def of_the_day(without_remedies: Authority) -> list[Verdict]:
    """What the demo's orders are answered."""
    return [without_remedies.validate(read(Order, document), shop) for document, shop in demo_questions()]


def answers(book: Book, authority: Authority) -> Iterator[Verdict]:
    """To random orders, and to all that makes a rule fire."""
    for how in ({}, {"odd": 0.1, "decorations": 2}, {"odd": 0.3}):
        for document, shop in random_questions(book, ORDERS, f"once {how}", **how):
            yield authority.validate(read(Order, document), shop)
    for _, order, shop in firing_orders(book):
        yield authority.validate(order, shop)


def same_threshold(book: Book, one: Finding, other: Finding) -> frozenset[str]:
    """The limits that both compare with; others are only named."""
    limits = (frozenset(book.rules[finding.rule].condition.limits) for finding in (one, other))
    return frozenset.intersection(*limits)


def test_no_two_findings_of_an_answer_share_place_and_threshold(
    book: Book, without_remedies: Authority, of_the_day: list[Verdict]
) -> None:
    pairs, twice = 0, set()
    for verdict in chain(of_the_day, answers(book, without_remedies)):
        for one, other in combinations(verdict.findings, 2):
            pairs += one.pointer == other.pointer
            if one.pointer == other.pointer and (shared := same_threshold(book, one, other)):
                twice.add((one.rule, other.rule, shared))
    assert twice == set()
    assert pairs > 200, "too few findings of one place to mean anything"


FLEECE = {"fibres": {"PES": 100}, "substrate": "fleece"}
TIRED = {"press": {"type": "hand-held", "id": "hand"}, "quantity": 60}


@pytest.mark.parametrize(
    ("order", "speaks", "silent"),
    [
        (TIRED, "hand-held-for-long-run", "long-run-by-hand"),
        (
            {"item": FLEECE, "decoration": {"transfer": "dye-sublimation", "settings": {"pressure": "firm"}}},
            "dye-on-pile",
            "pile-crushed",
        ),
        ({"item": FLEECE | {"substrate": "terry"}}, "film-on-pile", "pile-crushed"),
        (
            {"item": FLEECE | {"substrate": "terry", "finishes": ["raised-nap"]}},
            "film-on-pile",
            "raised-nap-under-film",
        ),
        (
            {"item": {"fibres": {"PP": 100}}, "decoration": {"transfer": "dye-sublimation"}},
            "dye-on-polypropylene",
            "no-temperature-fits",
        ),
        ({"item": {"fibres": {"CLF": 100}}}, "chlorofibre-never", "no-temperature-fits"),
        (
            {"item": {"finishes": ["flame-retardant"]}},
            "flame-retardant-finish-of-unknown-purpose",
            "flame-retardant-under-film",
        ),
    ],
)
def test_what_another_rule_says_as_well_is_not_said_again(
    order: dict[str, Any], speaks: str, silent: str, authority: Authority
) -> None:
    book = authority.book
    question = read(Order, order_document(book, **order))
    shop = shop_of(book)
    fired = {match.rule.id for match in authority.judge(question, shop).fired}
    assert {speaks, silent} <= fired, "or nothing would be left out"
    findings = {finding.rule for finding in authority.validate(question, shop).findings}
    assert speaks in findings
    assert silent not in findings


def test_a_short_run_by_hand_has_its_own_rule(authority: Authority) -> None:
    """From 26 pieces on the print suffers, from 51 on the hands do; the choice of the book."""
    book = authority.book
    order: dict[str, Any] = order_document(book, **(TIRED | {"quantity": 30}))
    findings = authority.validate(read(Order, order), shop_of(book)).findings
    assert "long-run-by-hand" in {finding.rule for finding in findings}


@pytest.mark.parametrize(
    ("rule", "name", "why"),
    [
        ("nylon-yellows", "no-temperature-fits", "graver level, blocks"),
        ("long-run-by-hand", "hand-held-for-long-run", "speaks instead of it"),
        ("film-on-pile", "hard-goods-stay-hot", "keeps people safe"),
        ("hand-held-for-long-run", "firm-pressure-unmetered", "stands beside no order"),
    ],
)
def test_a_rule_keeps_nothing_graver_or_safer_silent(rule: str, name: str, why: str, book: Book) -> None:
    documents = copy.deepcopy(dict(book.documents))
    documents["rules"][rule]["instead_of"] = [name]
    with pytest.raises(BookError) as error:
        from_documents(documents, 1)
    assert all(why in str(reason) for reason in error.value.reasons), error.value.reasons


def test_what_is_left_out_decides_as_before(book: Book, without_remedies: Authority) -> None:
    """A verdict comes from all that holds, told or not; what is told is never less grave."""
    for rule in book.rules.values():
        for name in rule.instead_of:
            assert book.keeps_people_safe(rule) or not book.keeps_people_safe(book.rules[name])
    left_out = 0
    drawn = ((read(Order, document), shop) for document, shop in random_questions(book, ORDERS, "left out", odd=0.3))
    speaking = (rule for rule in book.rules.values() if rule.instead_of)
    shown = (example_order(next(e for e in rule.fires if "facts" not in e), book) for rule in speaking)
    for order, shop in (*drawn, *shown):
        weighed, verdict = without_remedies.judge(order, shop), without_remedies.validate(order, shop)
        levels = {finding.level for finding in verdict.findings}
        for level in ("blocks", "requires"):
            if weighed.at(level) and (verdict.verdict != "rejected" or level == "blocks"):
                assert level in levels
        left_out += len({(m.rule.id, m.pointer) for m in weighed.at("blocks")}) > sum(
            finding.level == "blocks" for finding in verdict.findings
        )
    assert left_out


def test_half_of_the_accepted_orders_of_a_day_have_no_more_than_one_finding(of_the_day: list[Verdict]) -> None:
    """``pytest -s`` prints the figures."""
    counts: dict[str, list[int]] = {}
    for verdict in of_the_day:
        counts.setdefault(verdict.verdict, []).append(len(verdict.findings))
    for word, findings in counts.items():
        print(f"{word}: {len(findings)} orders, {median(findings):g} findings in the middle, {max(findings)} at most")
    assert len(counts["accepted"]) > 40
    assert median(counts["accepted"]) <= 1
