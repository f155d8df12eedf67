"""Ovens and wraps take only what they are made for. Common practice of press operators, no published source; the
diameters that mug elements close on are from memory of what is sold."""

from __future__ import annotations

from typing import Any

import pytest
from cases import decoration_case, order_document, pressing, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict

OVEN, WRAP, MUG_PRESS, CAP_PRESS = "tile-oven-wrap", "mug-oven-wrap", "mug-press", "cap-press"
TUMBLER_PRESS = "tumbler-press"
SHAPED = (OVEN, WRAP, MUG_PRESS, CAP_PRESS)
BLOCKS = {
    "goods-not-for-this-press",
    "flat-goods-on-shaped-press",
    "curved-goods-on-wrong-press",
    "cap-front-on-wrong-press",
}
HARD: dict[str, Any] = {"fibres": "", "coating": "dye-receptive", "mass_per_area": "", "thickness": "", "care": ""}
DYE = {"transfer": "dye-sublimation", "placement": "face", "size": {"width": "70 mm", "height": "50 mm"}}


def judged(authority: Authority, press: str, **parts: Any) -> Verdict:
    document = order_document(authority.book, press={"type": press}, **parts)
    return authority.validate(read(Order, document), shop_of(authority.book))


def blocked_by(verdict: Verdict) -> set[str]:
    return {finding.rule for finding in verdict.findings if finding.level == "blocks"}


def test_a_shirt_in_a_tile_oven_is_refused_with_what_the_oven_is_for(authority: Authority) -> None:
    verdict = judged(authority, OVEN)
    assert verdict.verdict == "rejected"
    findings = [finding for finding in verdict.findings if finding.rule == "goods-not-for-this-press"]
    assert len(findings) == 1
    (finding,) = findings
    assert "is of cloth" in finding.because
    assert "made for ceramic, glass or stone" in finding.because


@pytest.mark.parametrize(
    ("substrate", "fitting"),
    [
        ("woven", None),
        ("leather", None),
        ("hardboard", None),
        ("cork-sheet", None),
        ("paper-card", None),
        ("frp-panel", None),
        ("aluminium-sheet", None),
        ("structured-cap", CAP_PRESS),
        ("ceramic-tile", OVEN),
        ("slate", OVEN),
        ("glass-panel", OVEN),
    ],
)
def test_flat_goods_and_caps_fit_no_oven_or_wrap_but_their_own(
    substrate: str, fitting: str | None, authority: Authority
) -> None:
    item = HARD | {"substrate": substrate}
    judgements = {press: judged(authority, press, item=item, decoration=DYE) for press in SHAPED}
    open_to = [press for press, verdict in judgements.items() if not blocked_by(verdict) & BLOCKS]
    assert open_to == ([] if fitting is None else [fitting])


@pytest.mark.parametrize("substrate", ["ceramic-mug", "glass-tumbler", "enamel-mug", "stainless-tumbler"])
def test_round_ware_goes_into_wraps_of_its_width_and_nowhere_else(substrate: str, authority: Authority) -> None:
    item, round_print = HARD | {"substrate": substrate, "diameter": "75 mm"}, DYE | {"placement": "front"}
    types, shut = authority.book.catalogue["press_types"], BLOCKS | {"ware-outside-wraps-range"}
    open_to = [
        press for press in types if not blocked_by(judged(authority, press, item=item, decoration=round_print)) & shut
    ]
    assert set(open_to) == {MUG_PRESS, TUMBLER_PRESS, WRAP}


@pytest.mark.parametrize("press", SHAPED)
def test_a_piece_of_unknown_make_is_asked_about_and_never_passed(press: str, authority: Authority) -> None:
    document = {"item": {"colour": "white"}, "decorations": [DYE], "press": {"type": press}}
    verdict = authority.validate(read(Order, document), shop_of(authority.book))
    assert verdict.verdict == "undetermined"
    assert "/item/substrate" in {need.pointer for need in verdict.needs}


def test_an_unknown_family_leaves_it_open_whether_the_oven_takes_it(book: Book) -> None:
    case = decoration_case(book, item={"substrate": ""})
    oven = shop_of(book, presses=[{"id": "oven", "type": OVEN}, {"id": "bench", "type": "clamshell"}])
    made_for = [case.pressing_case(press)["fit.made_for"] for press in oven.presses]
    assert made_for == [None, True], "a plain platen takes whatever has its shape"


@pytest.mark.parametrize(
    ("press", "diameter_mm", "fits"),
    [
        (MUG_PRESS, 69, False),
        (MUG_PRESS, 70, True),
        (MUG_PRESS, 90, True),
        (MUG_PRESS, 91, False),
        (WRAP, 54, False),
        (WRAP, 55, True),
        (WRAP, 110, True),
        (WRAP, 111, False),
    ],
)
def test_a_wrap_closes_on_its_own_range_of_diameters(
    press: str, diameter_mm: int, fits: bool, authority: Authority
) -> None:
    item = HARD | {"substrate": "ceramic-mug", "diameter": f"{diameter_mm} mm"}
    verdict = judged(authority, press, item=item, decoration=DYE | {"placement": "front"})
    assert ("ware-outside-wraps-range" not in blocked_by(verdict)) is fits


def test_the_diameter_is_the_blanks_unless_it_is_described_and_else_a_usual_mugs(book: Book) -> None:
    bare = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care"), "")
    tumbler = bare | {"blank": "tumbler-steel-white"}
    assert pressing(book, item=tumbler, press={"type": MUG_PRESS})["item.diameter_mm"] == 75
    wide = tumbler | {"diameter": "3 in"}
    assert pressing(book, item=wide, press={"type": MUG_PRESS})["item.diameter_mm"] == pytest.approx(76.2)
    mug = HARD | {"substrate": "ceramic-mug"}
    assert pressing(book, item=mug, press={"type": MUG_PRESS})["item.diameter_mm"] == 82


def test_round_blanks_of_the_book_say_how_wide_they_are(book: Book) -> None:
    substrates = book.catalogue["substrates"]
    round_ware = {
        name: blank.diameter
        for name, blank in book.catalogue["blanks"].items()
        if substrates[blank.substrate].curved and substrates[blank.substrate].family != "cloth"
    }
    assert round_ware
    assert None not in round_ware.values()


def test_no_plan_puts_cloth_into_an_oven(authority: Authority) -> None:
    book = authority.book
    shop = shop_of(book, presses=[{"id": "oven", "type": OVEN}, {"id": "bench", "type": "clamshell"}])
    document = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"placement": "front"}]}
    recommendation = authority.recommend(read(Order, document), shop)
    assert recommendation.plans
    assert {plan.press for plan in recommendation.plans} == {"bench"}
