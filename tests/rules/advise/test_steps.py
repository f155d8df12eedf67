"""Steps of plans: which stand in which plan, in what order, and that what a finding asks of the hands is among them.

What the hands do is common practice, no source; that a demanded step is always there is this project's own promise.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from cases import Document, order_document, pressing, sentence, shop_of, stand_in_order

from accord_rules.advise.stack import stacks
from accord_rules.advise.steps import steps
from accord_rules.authority import Authority
from accord_rules.documents.files import shipped
from accord_rules.documents.reading import read
from accord_rules.load.examples import case_of, example_order
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Scope
from accord_rules.revision.rule import Rule
from accord_rules.verdict import STAGES, Plan, PlannedStep
from accord_rules.weigh.scales import Fired, Weighed
from demo import expected

PRESS_WAYS = {
    "press-main",
    "press-by-hand",
    "press-two-buttons",
    "press-drawer",
    "press-wrap",
    "press-barrel",
    "press-oven",
    "press-in-fields",
    "tack",
}
# Rules that ask for something of whoever takes the order: a paper, an answer, another artwork, another time.
OF_THE_OFFICE = {
    "blank-shows-in-white",
    "childs-fitted-sleepwear-untested",
    "childs-hard-goods-untested",
    "childs-piece-of-pvc",
    "childs-piece-with-magnet",
    "childs-piece-with-metal-studs",
    "childs-print-untested",
    "childs-stones-declared-only",
    "cord-in-childs-hood",
    "decorated-ware-untested",
    "due-time-tight",
    "dye-faded-on-half-polyester",
    "dye-white-shows-ground",
    "flame-retardant-finish-of-unknown-purpose",
    "pendant-gives-off-nickel",
    "placement-not-of-garments",
    "placement-not-of-hard-goods",
    "plug-fuse-not-said",
    "print-near-drinking-rim",
    "several-colours-one-film",
    "skin-contact-phthalates-eu",
    "studs-give-off-nickel",
    "toy-not-for-children",
    "toy-print-undeclared",
    "toy-small-parts-unwarned",
    "workwear-of-protective-cloth",
    "toy-untested",
    "waist-cord-too-long-for-law",
    "wash-life-below-disinfection",
    "white-from-clear-sheet",
    "white-missing-in-film",
}
METAL = {"substrate": "aluminium-sheet", "fibres": "", "coating": "dye-receptive", "thickness": "1 mm"}
BOARD = {"substrate": "hardboard", "fibres": "", "coating": "dye-receptive", "thickness": "3 mm"}
TILE = {"substrate": "ceramic-tile", "fibres": "", "coating": "dye-receptive", "thickness": "6 mm"}
DYE = {"transfer": "dye-sublimation", "placement": "face"}
NOTHING_FIRED = Weighed()


def names(planned: tuple[PlannedStep, ...]) -> set[str]:
    return {step.id for step in planned}


def steps_of(book: Book, **parts: Any) -> tuple[PlannedStep, ...]:
    return steps(pressing(book, **parts), NOTHING_FIRED)


# -- all plans of the demo ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo_plans(authority: Authority) -> list[tuple[str, Shop, Plan]]:
    """The best plan of every third order of the demo that has one, on any press of its own shop."""
    shops, planned = expected.read_shops(), []
    for name, wanted in list(expected.read_expected().items())[::3]:
        shop = shops[wanted["shop"]]
        order = replace(expected.read_order(name), press=None)
        planned += [(name, shop, plan) for plan in authority.recommend(order, shop, most=1).plans]
    assert len(planned) > 15
    return planned


def test_stages_come_in_the_order_of_the_hands_and_each_print_is_pressed_once(
    demo_plans: list[tuple[str, Shop, Plan]],
) -> None:
    for name, _, plan in demo_plans:
        for decoration in plan.decorations:
            places = [STAGES.index(step.stage) for step in decoration.steps]
            assert places == sorted(places), name
            assert len(names(decoration.steps)) == len(decoration.steps), name
            assert len(names(decoration.steps) & PRESS_WAYS) == 1, (name, decoration.steps)


def test_every_sentence_is_whole(demo_plans: list[tuple[str, Shop, Plan]]) -> None:
    """No gap where a number should be, no degrees that the shop does not read."""
    for name, shop, plan in demo_plans:
        for step in (step for decoration in plan.decorations for step in decoration.steps):
            assert step.text.endswith("."), (name, step)
            assert not any(gap in step.text for gap in ("not said", "None", "{", "}", "  ")), (name, step)
            assert ("°C" if shop.units.temperature == "°F" else "°F") not in step.text, (name, step)


def test_what_findings_ask_of_the_hands_is_in_the_plan(
    authority: Authority, demo_plans: list[tuple[str, Shop, Plan]]
) -> None:
    met = set()
    for name, shop, plan in demo_plans:
        demanded = {
            fired.rule.step
            for fired in authority.judge(read(Order, dict(plan.order)), shop).fired
            if fired.rule.step is not None
        }
        there = {step.id for decoration in plan.decorations for step in decoration.steps}
        assert demanded <= there, (name, demanded - there)
        met |= demanded
    assert len(met) >= 3, met


def test_nothing_of_washing_is_said_of_what_is_not_washed(demo_plans: list[tuple[str, Shop, Plan]], book: Book) -> None:
    washed = 0
    for name, _, plan in demo_plans:
        blank = book.catalogue["blanks"].get(plan.order["item"].get("blank"))
        if blank is None:
            continue
        there = {step.id for decoration in plan.decorations for step in decoration.steps}
        says_wash = bool(there & {"wash", "tumble-low", "no-tumbling", "iron-inside", "iron-under-paper", "no-iron"})
        assert says_wash is (book.catalogue["substrates"][blank.substrate].washable), (name, there)
        washed += says_wash
    assert washed


# -- what rules ask for ------------------------------------------------------------------------------------------------


def test_every_rule_that_requires_something_names_its_step_or_is_for_the_office(book: Book) -> None:
    without = {rule.id for rule in book.rules.values() if rule.level == "requires" and rule.step is None}
    assert without == OF_THE_OFFICE


def with_steps(book: Book) -> list[Rule]:
    return [rule for rule in book.rules.values() if rule.step is not None]


def test_a_step_that_a_finding_names_is_always_in_the_plan(book: Book) -> None:
    """Over all rules that name one, on a plain tee, whose plan has hardly any of them by itself."""
    plain = pressing(book)
    unasked = names(steps(plain, NOTHING_FIRED))
    brought = {rule.step for rule in with_steps(book)} - unasked
    assert len(brought) > 15
    for rule in with_steps(book):
        assert rule.step in names(steps(plain, Weighed((Fired(rule, plain),))))


def test_the_step_holds_where_its_rule_finds_something(book: Book) -> None:
    """For each such rule on its own examples: its sentence has all its numbers."""
    for rule in with_steps(book):
        example = next(example for example in rule.fires if "facts" not in example)
        case = case_of(Scope.PRESSING, *example_order(example, book), book)
        text = sentence(steps(case, Weighed((Fired(rule, case),))), str(rule.step))
        assert "not said" not in text, (rule.id, text)


def test_a_finding_about_the_order_brings_its_step_once(book: Book) -> None:
    """In a book whose rule on dark undyed cloth, which is of the order alone, asks for a step that no tee has."""
    documents = {kind: dict(entries) for kind, entries in shipped().items()}
    documents["rules"]["undyed-but-dark"] = documents["rules"]["undyed-but-dark"] | {"step": "glass-toughened"}
    authority = Authority(from_documents(documents, tried=documents), 1)
    document = two_prints() | {"item": {"blank": "tee-heavy-black", "dye": "undyed"}}
    (plan, *_) = authority.recommend(read(Order, document), shop_of(book)).plans
    brought = [names(decoration.steps) & {"glass-toughened"} for decoration in plan.decorations]
    authority.close()
    assert [bool(there) for there in brought] == [index == plan.sequence[0] for index in range(2)]


# -- once a job --------------------------------------------------------------------------------------------------------


def two_prints() -> Document:
    return {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [
            {"transfer": "film-soft-matte", "placement": place, "size": {"width": "60 mm", "height": "60 mm"}}
            for place in ("front", "back")
        ],
        "press": "bench",
        "use": {"age_from": 18},
    }


def test_what_is_done_once_a_job_stands_once(authority: Authority, book: Book) -> None:
    (plan, *_) = authority.recommend(read(Order, two_prints()), shop_of(book)).plans
    first, last = (names(plan.decorations[index].steps) for index in plan.sequence)
    begin = {"goods-against-ticket", "label-says-fibres", "extractor-on", "set-press"}
    end = {"press-off", "wash", "tumble-low", "iron-inside"}
    assert begin <= first
    assert begin.isdisjoint(last)
    assert end <= last
    assert end.isdisjoint(first)
    assert "set-press-again" in last - first


# -- conditions that are open ------------------------------------------------------------------------------------------


def test_an_open_step_is_printed_only_where_it_says_so(book: Book) -> None:
    """Whether the tile is coated is not said: a sheet under the pre-press does no harm, and is printed."""
    item = TILE | {"coating": ""}
    case = pressing(book, item=item, decoration={"placement": "face", "settings": {"pre_press": "5 s"}})
    assert case["set.pre_press_covered"] is None
    there = names(steps(case, NOTHING_FIRED))
    assert "pre-press-covered" in there
    assert "coated-face" not in there, "open too, and left out"
    printed_open = {step.id for step in book.steps.values() if step.printed_open}
    assert printed_open == {"pre-press-covered", "iron-sign"}


# -- faces, pieces, sheets ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "faces"),
    [
        ({}, ["adhesive side down", "printable face up"]),
        ({"decoration": {"transfer": "plastisol-hot-split"}}, ["ink side down", "printable face up"]),
        ({"decoration": {"transfer": "inkjet-paper-dark"}}, ["face up", "printable face up"]),
        ({"decoration": {"transfer": "heat-seal-patch"}}, ["glue side down", "printable face up"]),
        ({"item": TILE, "decoration": DYE}, ["coated face down", "printed side up"]),
        ({"item": METAL, "decoration": DYE}, ["coated face down", "printed side up"]),
        ({"item": BOARD, "decoration": DYE}, ["printed side down", "coated face up"]),
    ],
)
def test_the_stack_says_which_face_lies_where(parts: Document, faces: list[str], book: Book) -> None:
    """From the heated platen down. Heat crosses 1 mm of metal at once; through 3 mm of board it takes 87 s to nine
    tenths (L²/a, from the handbook's conductivity), longer than the dwell: so board lies face up."""
    (layers,) = (stack.layers for stack in stacks(pressing(book, **parts)) if stack.pressing == "main")
    assert [layer.face for layer in layers if layer.face] == faces
    assert layers[0].what.endswith("platen")
    assert layers[-1].what == "lower platen"


def test_the_piece_named_is_the_piece_ordered(book: Book) -> None:
    blank: Document = dict.fromkeys(("substrate", "fibres", "coating", "dye", "mass_per_area", "thickness", "care"), "")
    item = blank | {"blank": "tee-heavy-white", "colour": "navy", "features": "", "finishes": ""}
    assert "heavy cotton tee, white, colour navy" in sentence(steps_of(book, item=item), "goods-against-ticket")
    item |= {"colour": "white"}
    assert "heavy cotton tee, white, quantity 1" in sentence(steps_of(book, item=item), "goods-against-ticket")


def test_a_missing_paper_is_said(book: Book) -> None:
    shop = shop_of(book, stock={"consumables": ["ptfe-sheet", "heat-tape", "felt-pad"]})
    there = steps(pressing(book, shop=shop, item=TILE, decoration=DYE), NOTHING_FIRED)
    assert sentence(there, "stop-without-blot").startswith("Stop here without uncoated paper:")
    assert names(there).isdisjoint({"paper-on-bed", "turn-onto-paper"})


@pytest.mark.parametrize("name", ["collar", "sleeves", "seams"])
def test_collar_and_seams_are_kept_off_whether_or_not_the_order_lists_them(name: str, book: Book) -> None:
    assert name in sentence(steps_of(book), "lay-out")


def test_lengths_come_in_the_shops_units(book: Book) -> None:
    """80 mm is 3.15 in, by arithmetic: 3 1/8 in on a rule divided into sixteenths."""
    there = steps_of(book, shop=shop_of(book, unit_system="us-customary"))
    assert "3 1/8 in below the collar seam" in sentence(there, "adhesive-down")


def test_a_hand_held_press_is_dressed_leaned_on_and_put_away(book: Book) -> None:
    there = steps_of(book, press={"type": "hand-held"})
    assert stand_in_order(there, "firm-table", "press-by-hand", "into-stand", "press-unplugged")
    assert {"press-main", "press-off", "leave-soft-print"}.isdisjoint(names(there))


def test_stones_said_to_be_peeled_hot_are_peeled_as_they_bear_it(book: Book) -> None:
    there = steps_of(book, decoration={"transfer": "hot-fix-stones", "settings": {"peel": "hot"}})
    assert "peel-as-transfer-says" in names(there)
    assert "peel-hot" not in names(there)


# -- aftercare ---------------------------------------------------------------------------------------------------------


def test_the_strictest_print_decides_how_the_piece_is_looked_after(authority: Authority, book: Book) -> None:
    """Cut film: 24 h, tumble low. Film for nylon: 48 h, no tumbling, no iron (plans of practitioners, from memory)."""
    document = two_prints()
    document["decorations"][1]["transfer"] = "film-nylon-standard"
    (plan, *_) = authority.recommend(read(Order, document), shop_of(book)).plans
    last = plan.decorations[plan.sequence[-1]].steps
    assert "first wash after 48 h, at 40 °C at most" in sentence(last, "wash")
    assert names(last) >= {"no-tumbling", "no-iron"}
    assert names(last).isdisjoint({"tumble-low", "iron-inside"})


@pytest.mark.parametrize(("share", "warmest"), [({"CO": 100}, "40 °C"), ({"WO": 100}, "30 °C")])
def test_wool_is_washed_cool_whatever_the_print_bears(share: Document, warmest: str, book: Book) -> None:
    document = order_document(book, item={"fibres": share})
    case = case_of(Scope.PRESSING, read(Order, document), shop_of(book), book)
    assert f"at {warmest} at most" in sentence(steps(case, NOTHING_FIRED), "wash")
