"""A job against its due time. The times are arithmetic; how much over is too much is this project's choice.

On the example shop's swing-away press a piece takes 22 s of handling. With a dwell of 15 s and a pre-press of 3 s that
is 40 s, so that ninety pieces take an hour.
"""

from __future__ import annotations

import pytest
from cases import Document, order_document, pressing, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book

NINETY = {"quantity": 90, "decoration": {"settings": {"time": "15 s", "pre_press": "3 s", "second_press": "0 s"}}}
DUE_RULES = {"due-time-not-makeable", "due-time-tight"}


def ninety(book: Book, due_in: str) -> Document:
    return order_document(book, due_in=due_in, **NINETY)


def test_ninety_pieces_take_an_hour(book: Book) -> None:
    assert pressing(book, **NINETY)["order.total_s"] == 3600


@pytest.mark.parametrize(
    ("due_in", "share", "verdict", "rule"),
    [
        ("2 h", "50 %", "accepted", None),
        ("75 min", "80 %", "accepted", None),
        ("74 min", "81 %", "conditional", "due-time-tight"),
        ("1 h", "100 %", "conditional", "due-time-tight"),
        ("40 min", "150 %", "conditional", "due-time-tight"),
        ("39 min", "154 %", "rejected", "due-time-not-makeable"),
        ("30 min", "200 %", "rejected", "due-time-not-makeable"),
        ("1 min", "6000 %", "rejected", "due-time-not-makeable"),
    ],
)
def test_what_is_due_decides(due_in: str, share: str, verdict: str, rule: str | None, authority: Authority) -> None:
    """``share``: of the hour's work in the time there is."""
    answer = authority.validate(read(Order, ninety(authority.book, due_in)), shop_of(authority.book))
    fired = [finding.rule for finding in answer.findings if finding.rule in DUE_RULES]
    assert fired == ([] if rule is None else [rule]), share
    assert answer.verdict == verdict


def test_the_numbers_are_told_and_what_would_help(authority: Authority) -> None:
    """In half an hour of the hour's work 45 of 90 pieces are pressed, and 36 with a fifth of it left for the rest."""
    answer = authority.validate(read(Order, ninety(authority.book, "30 min")), shop_of(authority.book))
    (finding,) = (finding for finding in answer.findings if finding.level == "blocks")
    assert "takes 1 h (pieces: 90), and the order is due in 30 min" in finding.because
    for help_ in (
        "a later time",
        "fewer pieces (about 36 can be pressed by then)",
        "between presses",
        "a faster press",
    ):
        assert help_ in finding.fix


def test_a_faster_press_that_makes_it_is_taken(authority: Authority) -> None:
    """By hand a piece takes far longer than at twin stations, where one is loaded while the other is pressed."""
    book = authority.book
    presses = [{"id": "hand", "type": "hand-held"}, {"id": "twin", "type": "pneumatic-twin"}]
    document = order_document(book, due_in="50 min", quantity=90, press="")
    verdicts = {
        tuple(press["id"] for press in only): authority.validate(read(Order, document), shop_of(book, presses=only))
        for only in ([presses[0]], [presses[1]], presses)
    }
    blocked = {ids: "due-time-not-makeable" in {f.rule for f in verdict.findings} for ids, verdict in verdicts.items()}
    assert blocked == {("hand",): True, ("twin",): False, ("hand", "twin"): False}


def test_no_plan_is_made_that_comes_far_too_late(authority: Authority) -> None:
    book = authority.book
    document = order_document(book, due_in="10 min", quantity=500)
    document["decorations"][0].pop("transfer")
    recommendation = authority.recommend(read(Order, document), shop_of(book))
    assert not recommendation.plans
    late = [out for out in recommendation.ruled_out if "due-time-not-makeable" in {f.rule for f in out.findings}]
    assert late


def test_with_the_transfer_open_it_asks_for_it(authority: Authority) -> None:
    document = order_document(authority.book, due_in="1 min", quantity=500)
    document["decorations"][0].pop("transfer")
    answer = authority.validate(read(Order, document), shop_of(authority.book))
    assert answer.verdict == "undetermined"
    decides = {need.pointer: need.decides for need in answer.needs}
    assert "due-time-not-makeable" in decides["/decorations/0/transfer"]
