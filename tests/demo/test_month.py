"""A hundred orders of a real month: the verdict, for the reason, with the heat that three decorators would sign.

Source: common practice, no source. ``demo/month.toml`` was written and put into history before one of the orders was
ever sent; it keeps what was expected first, and counts honestly what changed since.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Mapping
from statistics import median
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.orders.shop import Shop
from accord_rules.verdict import LEVELS, VERDICTS
from demo import expected

PAGE: dict[str, Any] = tomllib.loads((expected.DEMO / "month.toml").read_text(encoding="utf-8"))
MONTH: dict[str, dict[str, Any]] = {name: entry for name, entry in PAGE.items() if isinstance(entry, dict)}
EXPECTED = expected.read_expected()
# Where the expectation was wrong, or the rules still are, the reasons and words first written are no longer looked for.
HOLDING = [name for name, entry in MONTH.items() if entry.get("wrong") in (None, "rules")]
PLANNED = [name for name in HOLDING if {"heat", "dwell", "shows"} & set(MONTH[name])]
ROUNDING_C = 0.6  # a whole degree of a display in °F


@pytest.fixture(scope="module")
def shops() -> dict[str, Shop]:
    return expected.read_shops()


def test_it_is_a_month_of_four_shops_and_a_stall() -> None:
    verdicts = Counter(entry["verdict"] for entry in MONTH.values())
    assert len(MONTH) == 100
    assert set(verdicts) == set(VERDICTS)
    assert verdicts["accepted"] > 50
    assert {EXPECTED[name]["shop"] for name in MONTH} == {wanted["shop"] for wanted in EXPECTED.values()}


@pytest.mark.parametrize("name", MONTH)
def test_what_was_expected_first_holds_or_says_who_was_wrong(name: str) -> None:
    first, now = MONTH[name], EXPECTED[name]
    wrong = first.get("wrong")
    assert (wrong is not None) == ("judged" in first) == ("first_answer" in first)
    assert first.get("first_answer") != first["verdict"]
    assert (now["verdict"] == first["verdict"]) == (wrong in (None, "rules"))
    assert ("revised" in now) == (wrong == "expectation")
    assert now.get("should_be") == (first["verdict"] if wrong == "rules-still" else None)


def test_what_changed_is_counted() -> None:
    wrong = Counter(entry["wrong"] for entry in MONTH.values() if "wrong" in entry)
    assert {key: value for key, value in PAGE.items() if key not in MONTH} == {
        "differed": wrong.total(),
        "rules_mended": wrong["rules"],
        "rules_still_wrong": wrong["rules-still"],
        "expectations_changed": wrong["expectation"],
        "words_changed": sum("said_first" in entry for entry in MONTH.values()),
    }


@pytest.mark.parametrize("name", [name for name in HOLDING if {"reasons", "says", "asks"} & set(MONTH[name])])
def test_the_reason_is_the_decorators(name: str, authority: Authority, shops: Mapping[str, Shop]) -> None:
    wanted = MONTH[name]
    answer = authority.validate(expected.read_order(name), shops[EXPECTED[name]["shop"]])
    said = [f"{finding.because} {finding.fix}" for finding in answer.findings]
    text = " ".join([*said, *(need.question for need in answer.needs)])
    assert set(wanted.get("reasons", ())) <= {finding.rule for finding in answer.findings}
    assert set(wanted.get("asks", ())) <= {need.pointer for need in answer.needs}
    assert [words for words in wanted.get("says", ()) if not re.search(words, text, re.IGNORECASE)] == []


@pytest.mark.parametrize("name", PLANNED)
def test_a_decorator_would_sign_heat_time_and_care(name: str, authority: Authority, shops: Mapping[str, Shop]) -> None:
    wanted = MONTH[name]
    plan = authority.recommend(expected.read_order(name), shops[EXPECTED[name]["shop"]]).plans[0]
    first = plan.decorations[0].explained
    if "heat" in wanted:
        least_c, most_c = (units.parse(units.TEMPERATURE, text) for text in wanted["heat"])
        assert least_c - ROUNDING_C <= first.temperature_c <= most_c + ROUNDING_C
    if "dwell" in wanted:
        least_s, most_s = (units.parse(units.TIME, text) for text in wanted["dwell"])
        assert least_s <= first.time_s <= most_s
    text = " ".join(step.text for decoration in plan.decorations for step in decoration.steps)
    assert [words for words in wanted.get("shows", ()) if not re.search(words, text, re.IGNORECASE)] == []


def test_an_accepted_order_is_told_one_thing_at_most_as_a_rule() -> None:
    told = [
        sum(len(EXPECTED[name].get(level, ())) for level in LEVELS)
        for name in MONTH
        if EXPECTED[name]["verdict"] == "accepted"
    ]
    assert median(told) <= 1
