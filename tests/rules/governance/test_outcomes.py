"""Outcomes: the credible interval against scipy and closed forms, and the draft that a poor one makes."""

from __future__ import annotations

from math import exp, log

import pytest
from scipy.integrate import quad
from scipy.special import betaln

from accord_rules.authority import Authority
from accord_rules.governance.changes import check
from accord_rules.governance.effect import effect
from accord_rules.governance.outcomes import (
    Cell,
    OutcomeCounts,
    PoorBelow,
    ShopCounts,
    draft_proposal,
    poor,
    rule_name,
    summary,
    widely_seen,
)
from accord_rules.load.examples import example_order
from accord_rules.revision.book import Book

CELL = Cell("cut-film", "knit", "hand-held")
SHOPS = {"north": ShopCounts(6, 2, 4), "south": ShopCounts(2, 15, 3)}


@pytest.mark.parametrize(
    ("good", "failed", "low", "high"),
    [
        # Nothing known: uniform, 5 % on either side.
        (0, 0, 0.05, 0.95),
        # Closed forms: Beta(n + 1, 1) has the quantile p ** (1 / (n + 1)), Beta(1, n + 1) the mirrored one.
        (9, 0, 0.05 ** (1 / 10), 0.95 ** (1 / 10)),
        (0, 9, 1 - 0.95 ** (1 / 10), 1 - 0.05 ** (1 / 10)),
        # The incomplete beta function's table, I_x(2, 2) = x² (3 - 2x): 5 % at 0.1353 (computed by hand).
        (1, 1, 0.13535, 0.86465),
        # Through F: for Beta(11, 11) the ends are F / (1 + F) with the upper 5 % point F(22, 22) = 2.0478 of Fisher's
        # tables (from memory: 2.05).
        (10, 10, 1 - 2.0478 / 3.0478, 2.0478 / 3.0478),
    ],
)
def test_intervals_are_those_of_closed_forms_and_tables(good: int, failed: int, low: float, high: float) -> None:
    interval = summary(OutcomeCounts(good, failed))
    assert (interval.low, interval.high) == (pytest.approx(low, abs=2e-4), pytest.approx(high, abs=2e-4))


@pytest.mark.parametrize(("good", "failed"), [(3, 17), (12, 8), (40, 1), (200, 55)])
def test_the_interval_holds_ninety_percent_of_the_density(good: int, failed: int) -> None:
    """By integrating the likelihood itself, not by the distribution that was asked for the quantiles."""
    interval = summary(OutcomeCounts(good, failed))

    def density(share: float) -> float:
        return exp(good * log(share) + failed * log(1 - share) - betaln(good + 1, failed + 1))

    peak = good / (good + failed)
    inside, _ = quad(density, interval.low, interval.high, points=[peak])
    below, _ = quad(density, 1e-12, interval.low)
    assert inside == pytest.approx(0.90, abs=1e-6)
    assert below == pytest.approx(0.05, abs=1e-6)


def test_more_pieces_make_it_narrower_and_failures_lower() -> None:
    few, many, worse = (summary(OutcomeCounts(*n)) for n in ((8, 2), (80, 20), (70, 30)))
    assert few.high - few.low > many.high - many.low
    assert worse.high < many.high
    assert few.likely == many.likely == 0.8
    assert summary(OutcomeCounts(0, 0)).likely is None
    assert OutcomeCounts(1, 2) + OutcomeCounts(3, 4) == OutcomeCounts(4, 6)
    with pytest.raises(ValueError, match="below 0"):
        summary(OutcomeCounts(-1, 3))


def test_poor_needs_enough_pieces_and_an_upper_end_below_the_share() -> None:
    assert not poor(summary(OutcomeCounts(0, 5))), "five pieces are too few"
    assert not poor(summary(OutcomeCounts(17, 6))), "may still be four in five"
    assert poor(summary(OutcomeCounts(10, 10)))
    assert not poor(summary(OutcomeCounts(10, 10)), PoorBelow(0.5, 20))
    assert poor(summary(OutcomeCounts(0, 5)), PoorBelow(0.8, 5))


@pytest.mark.parametrize(
    ("shops", "seen"),
    [
        ({}, False),
        ({"a": ShopCounts(0, 60, 5)}, False),
        ({"a": ShopCounts(0, 60, 5), "b": ShopCounts(9, 0, 9)}, False),  # good pieces back no failures
        ({"a": ShopCounts(0, 60, 5), "b": ShopCounts(4, 1, 2)}, False),  # four in five are as expected
        ({"a": ShopCounts(0, 60, 1), "b": ShopCounts(0, 9, 1)}, False),  # two orders
        ({"a": ShopCounts(0, 60, 2), "b": ShopCounts(3, 1, 1)}, True),
    ],
)
def test_one_shop_or_one_job_is_not_enough(shops: dict[str, ShopCounts], seen: bool) -> None:
    assert widely_seen(shops) is seen


def test_a_poor_one_drafts_a_watched_rule_that_loads_and_turns_nothing(book: Book) -> None:
    interval = summary(OutcomeCounts(8, 17))
    drafted = draft_proposal(CELL, interval, SHOPS, book)
    assert "17 of 25 pieces failed" in drafted.reason
    assert "8 good, 17 failed" in drafted.evidence
    south, north = (drafted.evidence.index(f"{shop} reported") for shop in ("south", "north"))
    assert south < north, "the most failures first"
    assert "south reported 2 good and 15 failed, of 3 recorded orders." in drafted.evidence
    new = check(book.documents, drafted.changes, 2)
    name = rule_name(CELL, book)
    assert new.rules[name].status == "watch"
    shown = effect(book, new, [], 60)
    assert (shown.decision.kind, shown.decision.exact, shown.flips, shown.loosens_safety) == ("equal", True, (), ())
    assert shown.decision.because == (
        f"Rule {name} is only watched, so it is counted, shown in no answer, and turns no verdict; enforced, it would"
        " find something in 0 of 0 recorded orders.",
    )
    order, shop = example_order(new.rules[name].fires[0], new)
    watching = Authority(new, 1)
    try:
        assert name not in {finding.rule for finding in watching.validate(order, shop).findings}
        assert watching.watched == {name: 1}
    finally:
        watching.close()
    assert draft_proposal(CELL, interval, SHOPS, new).changes == ()


def test_every_cell_of_the_book_can_be_drafted(book: Book) -> None:
    """One cell for each substrate, press type and transfer: names are short enough and the examples hold."""
    interval = summary(OutcomeCounts(2, 30))
    substrates, transfers, presses = (list(book.catalogue[k]) for k in ("substrates", "products", "press_types"))
    changes = {
        (change.kind, change.id): change
        for n in range(max(len(substrates), len(transfers), len(presses)))
        for change in draft_proposal(
            Cell(transfers[n % len(transfers)], substrates[n % len(substrates)], presses[n % len(presses)]),
            interval,
            SHOPS,
            book,
        ).changes
    }
    assert len(check(book.documents, changes.values(), 2).rules) == len(book.rules) + len(changes) - 1
    with pytest.raises(KeyError):
        draft_proposal(Cell("no-such", "knit", "hand-held"), interval, SHOPS, book)
