"""For whom a piece is: what is read out of a youngest age alone, an oldest alone, both, and none.

That an oldest age says nothing of how young the others are is plain reading: below three years it makes no difference,
else it is asked. The ages themselves: 16 CFR 1200.2 (children's product: 12 years or younger) and 1501
(small parts: under 3).
"""

from __future__ import annotations

from typing import Any

import pytest
from cases import order_document, shop_of, whole_case

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book

STONES = {"transfer": "stones-glass-lead-free"}
CRYSTAL = {"transfer": "stones-glass-crystal"}


def ages(youngest: int | None, oldest: int | None) -> dict[str, Any]:
    """A ``use`` laid on the quiet order's: an empty string takes an age out."""
    return {
        "age_from": "" if youngest is None else youngest,
        "age_to": "" if oldest is None else oldest,
    }


@pytest.mark.parametrize(
    ("youngest", "oldest", "judged_from", "child", "under_three", "words"),
    [
        (None, None, 18, False, False, "18 years and up"),
        (None, 2, 0, True, True, "any age up to 2 years"),
        (None, 3, None, True, None, "any age up to 3 years"),
        (None, 9, None, True, None, "any age up to 9 years"),
        (None, 12, None, True, None, "any age up to 12 years"),
        (None, 13, None, None, None, "any age up to 13 years"),
        (None, 40, None, None, None, "any age up to 40 years"),
        (2, None, 2, True, True, "2 years and up"),
        (3, None, 3, True, False, "3 years and up"),
        (13, None, 13, False, False, "13 years and up"),
        (0, 2, 0, True, True, "any age up to 2 years"),
        (6, 9, 6, True, False, "6 to 9 years"),
        (6, 6, 6, True, False, "6 years"),
        (13, 16, 13, False, False, "13 to 16 years"),
    ],
)
def test_ages_as_they_are_said(
    youngest: int | None,
    oldest: int | None,
    judged_from: float | None,
    child: bool | None,
    under_three: bool | None,
    words: str,
    book: Book,
) -> None:
    case = whole_case(book, use=ages(youngest, oldest))
    assert case["use.age_from"] == judged_from
    assert (case["use.child"], case["use.under_three"]) == (child, under_three)
    assert case["use.age_words"] == words


@pytest.mark.parametrize(("oldest", "judged_from"), [(9, 5), (40, 5), (4, None), (2, 0)])
def test_a_childrens_blank_says_the_youngest_unless_all_are_younger(
    oldest: int, judged_from: float | None, book: Book
) -> None:
    """The kids' tee is made from 5 years: said for up to 4, it is for somebody younger, and how young is asked."""
    item = {"blank": "tee-kids-white"}
    assert book.catalogue["blanks"]["tee-kids-white"].age_from == 5
    assert whole_case(book, item=item, use=ages(None, oldest))["use.age_from"] == judged_from


@pytest.mark.parametrize(
    ("decoration", "blocked_by"), [(STONES, "under-three-loose-parts"), (CRYSTAL, "childs-piece-with-crystal")]
)
def test_stones_on_a_piece_for_up_to_two_years_are_refused(
    decoration: dict[str, Any], blocked_by: str, authority: Authority
) -> None:
    book = authority.book
    document = order_document(book, decoration=decoration, use=ages(None, 2))
    verdict = authority.validate(read(Order, document), shop_of(book))
    assert verdict.verdict == "rejected"
    finding = next(finding for finding in verdict.findings if finding.rule == blocked_by)
    assert "for children (any age up to 2 years)" in finding.because
    assert "/use/age_from" not in {assumption.pointer for assumption in verdict.assumed}, (
        "whatever it is, nobody is older than two"
    )


def test_without_any_age_it_is_for_grown_ups_and_that_is_told(authority: Authority) -> None:
    book = authority.book
    document = order_document(book, decoration=STONES, use=ages(None, None))
    verdict = authority.validate(read(Order, document), shop_of(book))
    assert verdict.verdict != "rejected"
    (assumed,) = (assumption for assumption in verdict.assumed if assumption.pointer == "/use/age_from")
    assert (assumed.value, assumed.shown, assumed.why) == (18.0, "18", "for grown-ups unless said")


@pytest.mark.parametrize("oldest", [9, 40])
def test_how_young_the_youngest_is_gets_asked_where_an_oldest_age_leaves_it_open(
    oldest: int, authority: Authority
) -> None:
    """Never read as grown-ups, never refused unasked; answered, it settles."""
    book = authority.book
    document = order_document(book, decoration=STONES, use=ages(None, oldest))
    verdict = authority.validate(read(Order, document), shop_of(book))
    assert verdict.verdict == "undetermined"
    (need,) = (need for need in verdict.needs if need.pointer == "/use/age_from")
    assert need.question == "How old is the youngest who will use it, in years?"
    answers = {
        youngest: authority.validate(
            read(Order, order_document(book, decoration=STONES, use=ages(youngest, oldest))), shop_of(book)
        ).verdict
        for youngest in (1, oldest)
    }
    assert answers[1] == "rejected"
    assert answers[oldest] in ("accepted", "conditional")
