"""What lies between platen and piece: no plan presses bare on a print or a coating, and pads go by what they are for.

Common practice of press operators, no published source: bare pressing of a print takes it along; a pillow, not any pad,
lifts a print clear of a zip; the dark inkjet sheet lies face up with its backing off, under a cover.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from cases import Document, order_document, pressing, sentence, shop_of, stand_in_order

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Plan, PlannedStep

BARE = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care", "colour"), "")
COATED_BOARD = BARE | {"blank": "hardboard-coaster"}
RAW_BOARD = {"substrate": "timber", "fibres": "", "thickness": "12 mm"}
DYE = {"transfer": "dye-sublimation", "placement": "face", "size": {"width": "80 mm", "height": "80 mm"}}
SILICONE = "silicone-coated release paper"
BARE_PRE_PRESS, COVERED_PRE_PRESS = "pre-press-bare", "pre-press-covered"


def stocked(book: Book, *consumables: str) -> Shop:
    return shop_of(book, stock={"consumables": list(consumables)})


def plans(authority: Authority, document: Document, shop: Shop | None = None) -> tuple[Plan, ...]:
    return authority.recommend(read(Order, document), shop or shop_of(authority.book)).plans


def first_steps(authority: Authority, shop: Shop | None = None, **parts: Any) -> tuple[PlannedStep, ...]:
    recommended = plans(authority, order_document(authority.book, **parts), shop)
    assert recommended
    return recommended[0].decorations[0].steps


def pre_press(steps: tuple[PlannedStep, ...]) -> str:
    """Which of the ways to pre-press the plan has: bare or covered."""
    (name,) = (step.id for step in steps if step.id in (BARE_PRE_PRESS, COVERED_PRE_PRESS))
    return name


# -- pre-press -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "way"),
    [
        ({}, BARE_PRE_PRESS),
        ({"item": RAW_BOARD, "decoration": {"placement": "face"}}, COVERED_PRE_PRESS),
        ({"item": {"fibres": {"PES": 100}}}, COVERED_PRE_PRESS),
        ({"item": {"already": ["cut-film"]}}, COVERED_PRE_PRESS),
        ({"item": COATED_BOARD, "decoration": DYE}, COVERED_PRE_PRESS),
        (
            {
                "item": {"fibres": {"PES": 100}, "coating": "polyurethane"},
                "decoration": {"transfer": "low-temperature-blocker-film"},
            },
            COVERED_PRE_PRESS,
        ),
    ],
    ids=["plain tee", "raw timber", "synthetic cloth", "tee with a print", "coated board", "coated cloth"],
)
def test_what_a_bare_platen_spoils_is_pre_pressed_under_a_sheet(
    parts: dict[str, Any], way: str, authority: Authority
) -> None:
    """Prints and coatings come off, synthetic cloth glazes, wood scorches."""
    steps = first_steps(authority, **parts)
    assert pre_press(steps) == way
    assert (SILICONE in sentence(steps, way)) is (way == COVERED_PRE_PRESS)


def two_prints(placements: tuple[str, str], **second: Any) -> Document:
    decorations: list[Document] = [
        {"transfer": "film-soft-matte", "placement": place, "size": {"width": "60 mm", "height": "60 mm"}}
        for place in placements
    ]
    decorations[1] |= second
    return {"item": {"blank": "tee-heavy-white"}, "decorations": decorations, "press": "bench"}


@pytest.mark.parametrize(
    ("placements", "second", "under_the_platen"),
    [
        (("front", "left-chest"), {}, True),
        (("front", "front"), {"over": 0}, True),
        (("front", "sleeve"), {}, False),
        (("front", "back"), {}, False),
    ],
)
def test_after_the_first_print_the_piece_carries_one(
    placements: tuple[str, str], second: dict[str, Any], under_the_platen: bool, authority: Authority
) -> None:
    """The sleeve lies beside the front, the back turns it under: there the platen misses the first print,
    but the base may lie against it."""
    (plan, *_) = plans(authority, two_prints(placements, **second))
    first, later = (plan.decorations[index].steps for index in plan.sequence)
    assert (pre_press(first), pre_press(later)) == (BARE_PRE_PRESS, COVERED_PRE_PRESS)
    names = {step.id for step in later}
    assert ("cover" in names) is under_the_platen
    assert ("sheet-on-bed" in names) is not under_the_platen
    below = [layer.what for layer in plan.decorations[plan.sequence[1]].stacks[-1].layers][-2:]
    assert (below == [SILICONE, "lower platen"]) is not under_the_platen
    assert plan.verdict == "accepted"


def test_which_one_carries_a_print_hangs_on_the_order_of_pressings(authority: Authority) -> None:
    """Plastisol at its heat would harm the low-heat film, so it is pressed first although it is asked second."""
    document = two_prints(("front", "left-chest"), transfer="plastisol-hot-split-soft")
    document["decorations"][0]["transfer"] = "film-low-heat-soft"
    (plan, *_) = plans(authority, document)
    assert plan.sequence == (1, 0)
    assert [pre_press(planned.steps) for planned in plan.decorations] == [COVERED_PRE_PRESS, BARE_PRE_PRESS]


@pytest.mark.parametrize(
    ("fibres", "cautioned"),
    [
        ({"PES": 100}, True),
        ({"PES": 80, "CO": 20}, True),
        ({"PES": 65, "CO": 35}, False),
        ({"PES": 50, "CO": 50}, False),
    ],
)
def test_dark_blends_are_told_of_shine_only_where_it_stays(
    fibres: dict[str, float], cautioned: bool, authority: Authority
) -> None:
    """Everyday dark poly-cotton has no finding of it, and its pre-press is covered all the same. From memory."""
    item = {"fibres": fibres, "colour": "#101018", "dye": "disperse"}
    order = order_document(authority.book, item=item, decoration={"transfer": "cut-film"})
    verdict = authority.validate(read(Order, order), shop_of(authority.book))
    assert ("press-marks-on-dark-synthetics" in {finding.rule for finding in verdict.findings}) is cautioned
    assert pre_press(first_steps(authority, item=item)) == COVERED_PRE_PRESS


@pytest.mark.parametrize("item", [{"already": ["cut-film"]}, COATED_BOARD], ids=["print", "coating"])
def test_without_a_sheet_the_pre_press_is_a_must_to_mend(item: dict[str, Any], authority: Authority) -> None:
    book = authority.book
    decoration = DYE if item is COATED_BOARD else {}
    document = order_document(book, item=item, decoration=decoration)
    bare_shop = stocked(book, "plain-paper", "heat-tape")
    verdict = authority.validate(read(Order, document), bare_shop)
    (finding,) = (finding for finding in verdict.findings if finding.rule == "pre-press-bare-on-print")
    assert finding.level == "requires"
    assert SILICONE in finding.fix
    stop = sentence(first_steps(authority, bare_shop, item=item, decoration=decoration), "stop-without-pre-press-sheet")
    assert stop.startswith(f"Stop here without {SILICONE} or PTFE-coated glass-cloth sheet:")
    equipped = authority.validate(read(Order, document), stocked(book, "plain-paper", "silicone-paper", "heat-tape"))
    assert "pre-press-bare-on-print" not in {finding.rule for finding in equipped.findings}


# -- the pressing itself, and a second one ---------------------------------------------------------------------------


def test_a_print_from_before_is_covered_in_the_pressing_too(book: Book) -> None:
    case = pressing(book, item={"already": ["plastisol-cold-peel"]})
    assert (case["set.meets_print"], case["set.cover"], case["set.print_bare"]) == (True, "silicone-paper", False)
    plain = pressing(book)
    assert (plain["set.meets_print"], plain["set.cover"], plain["set.print_bare"]) == (False, "none", False)


def test_what_sticks_to_films_is_not_the_first_choice_over_one(book: Book) -> None:
    """Uncoated paper is the dye's usual cover; over an old film a non-stick sheet takes its place where it can."""
    parts: dict[str, Any] = {"item": {"fibres": {"PES": 100}}, "decoration": {"transfer": "dye-sublimation"}}
    assert pressing(book, **parts)["set.cover"] == "plain-paper"
    parts["item"] = parts["item"] | {"already": ["cut-film"]}
    assert pressing(book, **parts)["set.cover"] == "silicone-paper"
    assert pressing(book, shop=stocked(book, "plain-paper"), **parts)["set.cover"] == "plain-paper"


def test_a_print_said_to_be_pressed_bare_is_a_must_and_a_step(authority: Authority) -> None:
    parts: dict[str, Any] = {"item": {"already": ["cut-film"]}, "decoration": {"settings": {"cover": "none"}}}
    document = order_document(authority.book, **parts)
    verdict = authority.validate(read(Order, document), shop_of(authority.book))
    (finding,) = (finding for finding in verdict.findings if finding.rule == "print-bare-under-platen")
    assert (verdict.verdict, finding.level) == ("conditional", "requires")
    step = sentence(first_steps(authority, **parts), "shield-earlier-print")
    assert step == f"Lay {SILICONE} over the print that is there already: the platen must not touch it."


@pytest.mark.parametrize("cover", [{"cover": "none"}, {}], ids=["said to have none", "not said"])
def test_a_second_press_names_what_covers_the_print(cover: dict[str, str], authority: Authority) -> None:
    """Plain film needs no cover of its own, and with its carrier off it is bare all the same."""
    decoration = {"settings": {"second_press": "5 s"} | cover}
    step = sentence(first_steps(authority, decoration=decoration), "press-again")
    assert step == f"Cover again with {SILICONE} and press a second time for 5 s; take the sheet off cold."


def test_a_second_press_without_any_sheet_is_a_must(authority: Authority) -> None:
    book = authority.book
    document = order_document(book, decoration={"settings": {"second_press": "5 s"}})
    verdict = authority.validate(read(Order, document), stocked(book, "heat-tape"))
    assert "second-press-bare" in {finding.rule for finding in verdict.findings if finding.level == "requires"}
    assert verdict.verdict == "conditional"


def test_no_plan_of_the_book_presses_bare_on_a_print(authority: Authority) -> None:
    """Every stocked transfer on a tee that carries a film: whatever is planned, something keeps the platen off it."""
    book = authority.book
    everything = shop_of(book, stock={"products": list(book.catalogue["products"])})
    document = {
        "item": {"blank": "tee-heavy-white", "already": ["cut-film"]},
        "decorations": [{"placement": "front", "size": {"width": "80 mm", "height": "80 mm"}}],
    }
    steps = [plan.decorations[0].steps for plan in plans(authority, document, everything)]
    assert len(steps) > 3
    names = [{step.id for step in planned} for planned in steps]
    assert all("cover" in planned and BARE_PRE_PRESS not in planned for planned in names)


# -- the dark inkjet sheet -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("peel", ["", "cold"])
def test_the_dark_sheet_lies_face_up_without_its_backing_and_nothing_is_peeled(peel: str, authority: Authority) -> None:
    settings = {"settings": {"peel": peel}} if peel else {}
    steps = first_steps(
        authority,
        item={"colour": "black"},
        decoration={"transfer": "inkjet-dark-opaque", "artwork": {"mirrored": ""}} | settings,
    )
    assert stand_in_order(steps, "backing-off", "face-up", "cover", "press-main", "lift-cover-cold")
    assert SILICONE in sentence(steps, "lift-cover-cold")
    assert not any("peel the carrier" in step.text.lower() or "mirror image" in step.text for step in steps)


def test_the_dark_sheet_lifted_hot_wants_a_sheet_that_says_so(authority: Authority) -> None:
    decoration = {"transfer": "inkjet-dark-opaque", "settings": {"peel": "hot"}}
    document = order_document(authority.book, item={"colour": "black"}, decoration=decoration)
    verdict = authority.validate(read(Order, document), shop_of(authority.book))
    (finding,) = (finding for finding in verdict.findings if finding.rule == "peel-not-usual")
    assert finding.level == "requires"
    assert finding.fix.endswith("else peel cold.")


# -- pads ------------------------------------------------------------------------------------------------------------

PADS = ("felt-pad", "silicone-pad", "conductive-silicone-pad", "lower-platen-cover", "pressing-board", "foam-pillow")


@pytest.mark.parametrize("order", [PADS, PADS[::-1]], ids=["pillow last", "pillow first"])
def test_a_pillow_raises_the_print_whatever_stands_first_in_stock(order: tuple[str, ...], book: Book) -> None:
    case = pressing(book, shop=stocked(book, *order), item={"features": ["zip"]})
    assert (case["set.pad"], case["set.padded"]) == ("foam-pillow", True)


@pytest.mark.parametrize("pad", PADS)
def test_only_what_is_made_to_raise_counts_as_raising(pad: str, book: Book) -> None:
    case = pressing(book, item={"features": ["zip"]}, decoration={"settings": {"pad": pad}})
    assert case["set.padded"] is (pad == "foam-pillow")


def test_a_thin_pillow_does_not_lift_a_print_above_a_zip(book: Book) -> None:
    """The limit is a choice: a zip stands up 3 to 5 mm, and a pillow gives by about half under the platen."""
    least = book.limit_values["press.pillow_thickness_least"]
    sheets = dict(book.catalogue["consumables"])
    for thickness_mm, fits in ((least, True), (least - 1.0, False)):
        sheets["foam-pillow"] = replace(sheets["foam-pillow"], thickness=thickness_mm)
        changed = replace(book, catalogue=dict(book.catalogue) | {"consumables": sheets})
        case = pressing(changed, item={"features": ["zip"]})
        assert (case["set.pad"] == "foam-pillow") is fits


@pytest.mark.parametrize(
    ("features", "rule", "level"),
    [(["zip"], "hard-fitting-under-platen", "requires"), (["seam"], "raised-cloth-under-platen", "cautions")],
)
def test_a_missing_pillow_is_named(features: list[str], rule: str, level: str, authority: Authority) -> None:
    book = authority.book
    document = order_document(book, item={"features": features})
    without = stocked(book, *(pad for pad in PADS if pad != "foam-pillow"))
    (finding,) = (
        finding for finding in authority.validate(read(Order, document), without).findings if finding.rule == rule
    )
    assert finding.level == level
    assert "foam pillow in a PTFE-coated cover" in finding.fix
    with_pillow = authority.validate(read(Order, document), stocked(book, *PADS))
    assert rule not in {finding.rule for finding in with_pillow.findings}


@pytest.mark.parametrize(("features", "rule"), [(["zip"], "print-across-zip"), (["placket"], "print-across-fitting")])
def test_a_pillow_does_not_excuse_a_print_across_a_fitting(
    features: list[str], rule: str, authority: Authority
) -> None:
    """It lifts the cloth beside a zip, not a print that bridges it: common practice, no source."""
    size = {"width": "10 in", "height": "10 in"}
    front = order_document(authority.book, item={"features": features}, decoration={"size": size})
    chest = order_document(authority.book, item={"features": features}, decoration={"placement": "left-chest"})
    shop = stocked(authority.book, *PADS)
    assert rule in {finding.rule for finding in authority.validate(read(Order, front), shop).findings}
    assert rule not in {finding.rule for finding in authority.validate(read(Order, chest), shop).findings}


def test_a_cap_over_its_form_takes_no_pillow(book: Book) -> None:
    cap = BARE | {"blank": "cap-polyester-white", "features": ""}
    case = pressing(book, item=cap, decoration={"placement": "crown"}, press={"type": "cap-press"})
    assert "seam" in case["item.features"]
    assert case["set.pad"] == "none"


@pytest.mark.parametrize("order", [PADS, PADS[::-1]], ids=["felt first", "felt last"])
def test_brittle_goods_lie_on_what_takes_up_unevenness(order: tuple[str, ...], book: Book) -> None:
    """Dye names its pads for glass; toner names none, and glass is as brittle under it."""
    glass = BARE | {"substrate": "glass-panel", "coating": "none", "colour": "#F7F7F7"}
    toner = {"transfer": "toner-two-step-hard-goods", "placement": "face"}
    case = pressing(book, shop=stocked(book, *order), item=glass, decoration=toner)
    assert (case["set.pad"], case["set.pad_missing"]) == ("felt-pad", False)
    bare = pressing(book, shop=stocked(book, "foam-pillow", "conductive-silicone-pad"), item=glass, decoration=toner)
    assert (bare["set.pad"], bare["set.pad_missing"]) == ("none", True)
    assert "felt pad" in bare["set.pad_words"]


@pytest.mark.parametrize(
    ("stock", "tape"),
    [(("glass-cloth-tape", "heat-tape"), "heat-tape"), (("glass-cloth-tape",), "none")],
    ids=["both", "the mending tape alone"],
)
def test_a_carrier_is_held_with_tape_made_to_hold_it(stock: tuple[str, ...], tape: str, book: Book) -> None:
    """The glass-cloth tape mends covers: it is too thick and stiff to hold paper to a piece."""
    parts: dict[str, Any] = {"item": {"fibres": {"PES": 100}}, "decoration": {"transfer": "dye-sublimation"}}
    case = pressing(book, shop=stocked(book, "plain-paper", *stock), **parts)
    assert (case["set.tape"], case["set.tape_missing"]) == (tape, tape == "none")


def test_every_sheet_of_the_book_says_what_it_is_for(book: Book) -> None:
    purposes = {name: entry.purposes for name, entry in book.catalogue["consumables"].items()}
    assert purposes
    # A shrink sleeve is chosen by hand alone: the wrap of silicone fits straight ware better.
    assert {name for name, words in purposes.items() if not words} == {"shrink-sleeve"}
