"""A rule that makes questions dear is refused with the figures, before it is taken.

The figures: an order of 12 prints on 40 presses is what readers allow at most. A rule that blocks every setting of heat
and dwell has some 60 to 155 settings tried for a print on a press, the book alone one to three (counted).
"""

from __future__ import annotations

import re
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.governance import effort as efforts
from accord_rules.governance.changes import ChangeError, EntryChange
from accord_rules.governance.effort import Effort, effort, refuse_dear_changes, refuse_dear_house
from accord_rules.governance.house import HouseAuthority, HouseError, read_house
from accord_rules.load.loader import read_rule
from accord_rules.revision.book import Book
from accord_rules.weigh.scales import WEIGHINGS_MOST

RULE: dict[str, Any] = {
    "level": "blocks",
    "title": "Nothing that is set will do",
    "about": "settings",
    "because": "The house says so.",
    "fix": "Ask the house.",
    "sources": ["project-choice"],
    "fires": [{}],
    "silent": [{}],
}
HOT = "set.surface_c > limit('people.touch_hold_most')"
# Over many settings, of which one is enough: once every set of up to four of 36 was listed, 66,711 of them.
MANY = (
    f"{HOT} and (set.time_said or set.pressure_said or set.peel_ok or set.cover_missing or set.pad_missing"
    " or set.tape_missing or set.pre_press_s >= limit('prepress.time_least'))"
)
HOSTILE = {
    "many settings": MANY,
    "heat and dwell": f"{HOT} and set.time_s >= limit('prepress.time_least')",
    "dwell": "set.time_s >= limit('prepress.time_least')",
}
INNOCENT = {
    "one kind of goods": "item.textile",
    "hot on cloth": "item.textile and set.surface_c > limit('fumes.pvc_most')",
    "a long pre-press": "item.textile and set.pre_press_s > limit('prepress.time_least')",
}


@pytest.fixture(scope="module")
def authority(book: Book) -> Any:
    shared = Authority(book)
    yield shared
    shared.close()


def house(**whens: str) -> Any:
    return read_house({"rules": {f"house.{name}": RULE | {"when": when} for name, when in whens.items()}})


@pytest.mark.parametrize("when", HOSTILE.values(), ids=list(HOSTILE))
def test_a_rule_that_blocks_whatever_the_settings_is_refused_with_the_figures(
    authority: Authority, book: Book, when: str
) -> None:
    with pytest.raises(HouseError) as refused:
        refuse_dear_house(authority, house(x=when), book.example_shop)
    (refusal,) = refused.value.refusals
    assert (refusal.pointer, refusal.code) == ("/rules/house.x", "too-dear")
    after, before, most = (
        int(number.replace(",", ""))
        for number in re.findall(r"([\d,]+) weighings, and ([\d,]+) without them; at most ([\d,]+)", refusal.message)[0]
    )
    # Nine weighings a print and press where the fibres are not the named blank's, which is then judged for both.
    assert before <= 3500 < most == WEIGHINGS_MOST < after
    assert "12 prints on 40 presses" in refusal.message


@pytest.mark.parametrize("when", INNOCENT.values(), ids=list(INNOCENT))
@pytest.mark.parametrize("level", ["blocks", "requires"])
def test_an_innocent_rule_is_taken(authority: Authority, book: Book, when: str, level: str) -> None:
    rules = read_house({"rules": {"house.x": RULE | {"when": when, "level": level}}})
    refuse_dear_house(authority, rules, book.example_shop)


def test_a_rule_that_only_asks_for_something_is_taken_whatever_it_looks_at(authority: Authority, book: Book) -> None:
    """What is required is done; only what blocks has other settings looked for."""
    rules = read_house({"rules": {"house.x": RULE | {"when": HOSTILE["heat and dwell"], "level": "requires"}}})
    refuse_dear_house(authority, rules, book.example_shop)


def test_what_two_rules_do_together_is_what_counts(authority: Authority, book: Book) -> None:
    """Each leaves the other's settings, both together leave none."""
    long = "set.time_s >= limit('prepress.time_least')"
    with pytest.raises(HouseError) as refused:
        refuse_dear_house(authority, house(a=f"{HOT} and {long}", b=f"{HOT} and not ({long})"), book.example_shop)
    assert [refusal.pointer for refusal in refused.value.refusals] == ["/rules"]


def test_the_count_is_the_same_each_time(authority: Authority, book: Book) -> None:
    """Whatever was asked before, and however busy the machine."""

    def counted() -> Effort:
        own = HouseAuthority(authority, house(x=HOSTILE["heat and dwell"]))
        try:
            return effort(authority, own, [own.book.rules["house.x"]], book.example_shop)
        finally:
            own.close()

    first = counted()
    assert first == counted()
    assert first.before < first.after


def test_what_takes_longer_than_weighings_tell_is_refused_by_the_clock(
    authority: Authority, book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(efforts, "TRIAL_CPU_S", -1.0)
    with pytest.raises(HouseError, match="CPU seconds"):
        refuse_dear_house(authority, house(x="item.textile"), book.example_shop)


def test_a_change_of_the_book_is_held_to_the_same(book: Book) -> None:
    table = RULE | {"topic": "handling", "when": HOSTILE["heat and dwell"]}
    rule = read_rule("nothing-will-do", table, book.vocabulary, book.sources, book.steps)
    new = replace(book, rules=MappingProxyType({**book.rules, rule.id: rule}))
    change = EntryChange("rules", rule.id, table)
    with pytest.raises(ChangeError) as refused:
        refuse_dear_changes(book, new, [change])
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/changes/0", "too-dear")]


def test_changes_that_touch_no_rule_are_not_tried(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(efforts, "Authority", None)
    refuse_dear_changes(book, book, [EntryChange("sources", "x", {})])


def test_the_book_itself_would_be_taken(authority: Authority, book: Book) -> None:
    """As far from what is refused as the promise of a second and a half for a question has it."""
    told = effort(authority, authority, (), book.example_shop)
    assert not told.too_dear
    assert told.after == told.before < WEIGHINGS_MOST // 2
