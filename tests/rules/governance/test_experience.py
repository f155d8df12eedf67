"""Reported outcomes in the ranking of plans: they move plans, take none away, and change nothing while there are none.

Source of the intervals: Beta(good + 1, failed + 1), computed; of the weight in the ranking: this project's choice.
"""

from __future__ import annotations

import pytest

from accord_rules.advise.plans import NO_EXPERIENCE, Experience
from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.governance.outcomes import OutcomeCounts, summary
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import PLANS_MOST, Plan, Recommendation

ASKED = read(
    Order,
    {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [
            {"placement": "front", "size": {"width": "200 mm", "height": "200 mm"}, "artwork": {"colours": 1}}
        ],
    },
)


def experience(good: int, failed: int) -> Experience:
    counted = summary(OutcomeCounts(good, failed))
    return Experience(good, failed, counted.low, counted.high)


@pytest.fixture(scope="module")
def shop(book: Book) -> Shop:
    document = book.documents["base_example"]["shop"]
    return read(Shop, document)


@pytest.fixture(scope="module")
def plain(authority: Authority, shop: Shop) -> Recommendation:
    return authority.recommend(ASKED, shop)


def cell(plan: Plan, substrate: str = "knit") -> tuple[str, str, str]:
    return (plan.decorations[0].family, substrate, "swing-away")


def ids(recommendation: Recommendation) -> list[str]:
    return [plan.verdict_id for plan in recommendation.plans]


def test_there_is_something_to_rank(plain: Recommendation) -> None:
    assert 3 <= len(plain.plans) <= PLANS_MOST
    assert len({plan.decorations[0].family for plan in plain.plans}) > 1


def test_without_outcomes_nothing_changes(authority: Authority, shop: Shop, plain: Recommendation) -> None:
    assert authority.recommend(ASKED, shop, NO_EXPERIENCE) == plain


def test_outcomes_of_other_goods_change_nothing(authority: Authority, shop: Shop, plain: Recommendation) -> None:
    elsewhere = {cell(plain.plans[0], substrate="ceramic"): experience(0, 50)}
    assert authority.recommend(ASKED, shop, elsewhere) == plain


def test_poor_outcomes_move_a_plan_down_and_hide_none(authority: Authority, shop: Shop, plain: Recommendation) -> None:
    best = plain.plans[0]
    moved = authority.recommend(ASKED, shop, {cell(best): experience(2, 40)})
    assert set(ids(moved)) == set(ids(plain))
    assert moved.plans[0].decorations[0].family != best.decorations[0].family
    assert [plan.rank for plan in moved.plans] == list(range(1, len(moved.plans) + 1))


def test_outcomes_are_named_in_the_reasons(authority: Authority, shop: Shop, plain: Recommendation) -> None:
    best = plain.plans[0]
    reported = authority.recommend(ASKED, shop, {cell(best): experience(57, 3)})
    again = next(plan for plan in reported.plans if plan.verdict_id == best.verdict_id)
    assert any("57 of 60 reported pieces came out good" in reason for reason in again.reasons)
    assert not any("reported pieces" in reason for reason in best.reasons)


def test_a_single_failure_weighs_next_to_nothing() -> None:
    """Beta(1, 2): 95 % of it lies below 1 - sqrt(0.05) = 0.776, which is close to the 0.8 expected."""
    assert experience(0, 1).high == pytest.approx(1 - 0.05**0.5)
    assert -0.15 < experience(0, 1).marks < 0


def test_marks_rise_with_good_pieces_and_fall_with_failed_ones() -> None:
    assert experience(0, 0).marks == 0
    assert experience(8, 2).marks == 0
    assert experience(200, 0).marks > experience(50, 0).marks > 0
    assert experience(0, 50).marks < experience(10, 10).marks < 0
