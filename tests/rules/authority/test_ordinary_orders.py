"""Ordinary work passes: everyday pieces at everyday settings, and what is said of a shop but not of its orders.

Blanks, transfers and settings are common practice, no source. ``pytest -s`` prints which rule speaks for each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from cases import shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.rule import AUTHORITIES, last_word
from accord_rules.verdict import Verdict

Document = Mapping[str, Any]
BLANKS = (
    "tee-heavy-white",
    "tee-heavy-black",
    "tee-heather-grey",
    "tee-65-35-white",
    "tee-50-50-black",
    "polo-cotton-navy",
    "hoodie-cotton-black",
    "sweatshirt-cotton-grey",
    "tote-cotton-natural",
    "tote-canvas-black",
)
USUAL = {
    "cut-film": {"temperature": "153 °C", "time": "12 s", "pressure": "medium", "peel": "warm"},
    "powder-film": {"temperature": "152 °C", "time": "14 s", "pressure": "medium", "peel": "cold"},
    "plastisol-hot-split": {"temperature": "183 °C", "time": "10 s", "pressure": "firm", "peel": "hot"},
}
SIZE = {"width": "200 mm", "height": "200 mm"}
LEFT_CHEST = {"polo-cotton-navy"}
READINGS = [
    {"display": f"{display} °C", "surface": [f"{display - below} °C" for below in (3, 2, 4)]}
    for display in (130, 150, 180)
]
MEASURED = {"id": "bench", "type": "swing-away", "calibration": READINGS}
# What may speak, and why: two iron dots and 180 °C are noted. Plastisol drives dye out of half-polyester cloth: there
# the colours of the print are asked for, and a light one is refused.
SPOKEN = {
    ("tee-65-35-white", "plastisol-hot-split"): ("above-care-label",),
    ("hoodie-cotton-black", "plastisol-hot-split"): ("above-care-label",),
    ("sweatshirt-cotton-grey", "plastisol-hot-split"): ("above-care-label",),
    ("tee-50-50-black", "plastisol-hot-split"): ("above-care-label",),
}


def ordinary(blank: str, transfer: str) -> Document:
    size = {"width": "90 mm", "height": "90 mm"} if blank in LEFT_CHEST else SIZE
    placement = "left-chest" if blank in LEFT_CHEST else "front"
    decoration = {"transfer": transfer, "placement": placement, "size": size, "settings": USUAL[transfer]}
    return {"item": {"blank": blank}, "press": "bench", "decorations": [decoration]}


def verdicts(authority: Authority, shop: Shop) -> Iterator[tuple[tuple[str, str], Verdict]]:
    for blank in BLANKS:
        for transfer in USUAL:
            yield (blank, transfer), authority.validate(read(Order, ordinary(blank, transfer)), shop)


@pytest.mark.parametrize("press", ["swing-away", "clamshell"])
def test_ordinary_orders_on_a_measured_press_have_no_finding(press: str, authority: Authority) -> None:
    shop = shop_of(authority.book, presses=[MEASURED | {"type": press}])
    spoken = {}
    for case, verdict in verdicts(authority, shop):
        rules = tuple(finding.rule for finding in verdict.findings)
        print(f"{case[0]:24} {case[1]:20} {verdict.verdict:10} {', '.join(rules)}")
        if rules or verdict.verdict != "accepted":
            spoken[case] = rules
    assert spoken == SPOKEN
    assert len(BLANKS) * len(USUAL) - len(spoken) == 26


@pytest.mark.parametrize(
    ("palette", "answer", "blocked_by"),
    [
        (None, "undetermined", ()),
        (["white"], "rejected", ("dye-bleeds-into-light-film",)),
        (["black"], "accepted", ()),
    ],
)
def test_plastisol_on_dark_half_polyester_hangs_on_the_colour_of_the_print(
    palette: list[str] | None, answer: str, blocked_by: tuple[str, ...], authority: Authority
) -> None:
    """At plastisol's 180 °C the dye of half-polyester cloth stains a light print, and a dark one does not show it;
    who has not said which is asked. Common practice, no source."""
    order = dict(ordinary("tee-50-50-black", "plastisol-hot-split"))
    if palette is not None:
        order["decorations"] = [order["decorations"][0] | {"artwork": {"palette": palette}}]
    verdict = authority.validate(read(Order, order), shop_of(authority.book, presses=[MEASURED]))
    assert verdict.verdict == answer
    assert tuple(finding.rule for finding in verdict.findings if finding.level == "blocks") == blocked_by
    wanted = {"/decorations/0/artwork/palette"} if answer == "undetermined" else set()
    assert {need.pointer for need in verdict.needs if "dye-bleeds-into-light-film" in need.decides} == wanted


@pytest.mark.parametrize("press", ["hand-held", "clamshell"])
def test_what_holds_of_a_press_whatever_is_pressed_is_no_finding_of_an_order(press: str, authority: Authority) -> None:
    shop = shop_of(authority.book, presses=[{"id": "press", "type": press}])
    order = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "film-soft-matte", "size": SIZE}]}
    verdict = authority.validate(read(Order, order), shop)
    assert (verdict.verdict, verdict.findings) == ("accepted", ())


def test_a_shop_is_told_once_of_each_press(authority: Authority) -> None:
    presses = [MEASURED, {"id": "hand", "type": "hand-held"}]
    told = authority.of_shop(shop_of(authority.book, presses=presses))
    by_press: dict[str, set[str]] = {}
    for finding in told:
        by_press.setdefault(finding.pointer, set()).add(finding.rule)
        assert finding.level in ("cautions", "notes")
    assert by_press == {
        "/presses/0": {"circuit-not-said", "firm-pressure-unmetered"},
        "/presses/1": {
            "circuit-not-said",
            "display-not-calibrated",
            "hand-held-must-not-slide",
            "hand-held-needs-own-settings",
        },
    }


# 3000 W on 13 A at 230 V draw 100.3 %; 2800 W draw 93.6 %; on three phases of 16 A at 400 V, 11085 W are the whole.
@pytest.mark.parametrize(
    ("market", "power", "circuit", "refused", "told"),
    [
        ("us", "1440 W", {"rating": "15 A", "voltage": "120 V"}, False, True),
        ("us", "1450 W", {"rating": "15 A", "voltage": "120 V"}, True, False),
        ("uk", "2800 W", {"rating": "13 A", "voltage": "230 V"}, False, True),
        ("eu", "2800 W", {"rating": "13 A", "voltage": "230 V"}, False, True),
        ("uk", "3000 W", {"rating": "13 A", "voltage": "230 V"}, True, False),
        ("uk", "1800 W", {"rating": "13 A", "voltage": "230 V"}, False, False),
        ("eu", "11 kW", {"rating": "16 A", "voltage": "400 V"}, True, False),
        ("eu", "11 kW", {"rating": "16 A", "voltage": "400 V", "three_phase": True}, False, True),
        ("eu", "11.1 kW", {"rating": "16 A", "voltage": "400 V", "three_phase": True}, True, False),
    ],
)
def test_circuits_by_market_and_phases(
    market: str, power: str, circuit: Document, refused: bool, told: bool, authority: Authority
) -> None:
    """Four fifths for loads that last: NEC 210.20(A), from memory; elsewhere the rating, common practice, no source."""
    press = MEASURED | {"type": "large-format", "power": power, "circuit": circuit}
    shop = shop_of(authority.book, market=market, presses=[press])
    order = ordinary("tee-heavy-white", "cut-film")
    assert (authority.validate(read(Order, order), shop).verdict == "rejected") is refused
    assert ("circuit-nearly-full" in {finding.rule for finding in authority.of_shop(shop)}) is told


def test_a_rejected_order_says_what_rejects_it_and_what_keeps_people_safe(authority: Authority, book: Book) -> None:
    item = {"blank": "tee-sport-black"}
    decoration = {"transfer": "cut-film", "artwork": {"palette": ["white"]}, "settings": {"temperature": "165 °C"}}
    shop = shop_of(book, presses=[MEASURED], standing=[])
    verdict = authority.validate(read(Order, {"item": item, "decorations": [decoration]}), shop)
    assert verdict.verdict == "rejected"
    levels = {finding.rule: finding.level for finding in verdict.findings}
    assert "blocks" in levels.values()
    assert "extraction-for-film" in levels, "what keeps people safe stays"
    lower = [rule for rule, level in levels.items() if level != "blocks"]
    assert all(book.keeps_people_safe(book.rules[rule]) for rule in lower)
    judged = authority.judge(read(Order, {"item": item, "decorations": [decoration]}), shop)
    assert {fired.rule.id for fired in judged.fired} - set(levels), "or there was nothing to keep silent"


def test_who_has_the_last_word_is_said_once_an_answer(authority: Authority, book: Book) -> None:
    order = {
        "item": {"blank": "tee-kids-white"},
        "use": {"age_from": 2, "age_to": 4, "kinds": ["sleepwear"]},
        "decorations": [{"transfer": "stones-glass-crystal"}, {"transfer": "film-soft-matte", "placement": "back"}],
    }
    stock = {
        "products": ["stones-glass-crystal", "film-soft-matte"],
        "consumables": list(book.catalogue["consumables"]),
    }
    verdict = authority.validate(read(Order, order), shop_of(book, stock=stock))
    deferring = [finding for finding in verdict.findings if book.rules[finding.rule].defers_to is not None]
    assert len(deferring) > 1, "or it would be said once anyway"
    words = "Local law, licensed practice and the maker's sheet decide."
    assert [finding.fix.endswith(f" {words}") for finding in deferring] == [True] + [False] * (len(deferring) - 1)
    assert str(verdict.findings).count(words) == 1
    assert all(finding.fix for finding in verdict.findings)


def test_whoever_decides_beside_the_law_is_named_in_the_same_sentence(authority: Authority, book: Book) -> None:
    """Film on children's wear in a room without extraction, on a circuit that is too small: law, workplace and code."""
    order = {
        "item": {"blank": "tee-kids-white"},
        "use": {"age_from": 6, "age_to": 9},
        "decorations": [{"transfer": "cut-film"}],
    }
    circuit = {"rating": "10 A", "voltage": "120 V"}
    shop = shop_of(book, presses=[MEASURED | {"power": "1800 W", "circuit": circuit}], standing=["heat-gloves"])
    verdict = authority.validate(read(Order, order), shop)
    assert {book.rules[finding.rule].defers_to for finding in verdict.findings} >= set(AUTHORITIES)
    words = "Local law, licensed practice, the maker's sheet, the local code and a licensed electrician decide."
    assert str(verdict.findings).count(" decide.") == str(verdict.findings).count(words) == 1


def test_no_rule_says_in_its_own_words_who_has_the_last_one(book: Book) -> None:
    """The sentences have one home, so that they can be said once."""
    assert {rule.defers_to for rule in book.rules.values()} == {None, *AUTHORITIES}
    assert [
        id_ for id_, rule in book.rules.items() if any(last_word([name]) in rule.fix.text for name in AUTHORITIES)
    ] == []
