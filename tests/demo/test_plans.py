"""The fifty plans by hand: each can be read, says its numbers, and belongs to an order that can be read.

Source of the plans: common practice; each names its own. What the program prints is held against them by acts.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache

import pytest

from accord_rules.authority import Authority
from accord_rules.orders.order import Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from demo import expected, written_plans

ACTS = written_plans.read_acts()
NAMES = written_plans.names()
# Common practice: how the carrier of such a peel leaves the print; dye paper and face-down pieces leave it hot.
PEELED = {
    "hot": {"peel-hot", "paper-off", "lift-off", "sheets-apart"},
    "warm": {"peel-warm"},
    "cold": {"peel-cold"},
    "none": {"peel-none"},
}
# Steps that no plan by hand has, since none of the fifty comes to them.
IN_NO_PLAN = {
    "clear-of-old-print",
    "fit-plate",
    "gang",
    "glue-holds-by-the-front",
    "gloves-ready",
    "lean-full-weight",
    "measure-platen",
    "measure-room",
    "pre-press-said-none",
    "pressure-by-word",
    "second-press-said-none",
    "shield-earlier-print",
    "shield-from-lower-platen",
}
# No plan by hand was written for these yet: each is handled as the one beside it, whose plan stands for it.
LIKE_FAMILY = {
    "chenille-patch": "heat-seal-patch",
    "flock-transfer": "plastisol-athletic",
    "foil-powder-film": "powder-film",
    "glitter-powder-film": "powder-film",
    "hybrid-transfer": "powder-film",
    "leather-patch": "leatherette-patch",
    "mending-patch": "heat-seal-patch",
    "printed-patch": "heat-seal-patch",
    "raised-powder-film": "powder-film",
    "sequin-motif": "hot-fix-stones",
    "tpu-emblem": "leatherette-patch",
    "water-based-transfer": "pigment-release-paper",
}
LIKE_PRESS = {
    "cap-press-automatic": "cap-press",
    "carousel": "pneumatic-twin",
    "draw-automatic": "draw",
    "electric-press": "pneumatic-single",
    "household-iron": "hand-held",
    "hydraulic-press": "pneumatic-single",
    "pen-press": "mug-press",
    "plate-press": "swing-away",
    "shoe-press": "clamshell",
    "tumbler-press": "mug-press",
}
# Acts that no step of the book does; nothing printed is held to them.
STEPLESS = {"age-parts", "sheets-two"}
CLOSED = {"close", "close-air", "close-slow", "close-gently", "close-drawer", "close-hand", "close-mug", "close-oven"}
FOREIGN = {"metric": re.compile(r"\d ?(°F|in|ft|lb)\b"), "us-customary": re.compile(r"\d ?(?:°C|mm|cm|m|kg|K)\b")}

plan_of = cache(lambda name: written_plans.read_plan(name, ACTS))


@pytest.fixture(scope="module")
def shops() -> dict[str, Shop]:
    return expected.read_shops()


def test_there_are_fifty_each_with_its_order() -> None:
    assert [name[:3] for name in NAMES] == [f"{number:03}" for number in range(1, 51)]
    assert tuple(sorted(file.stem for file in written_plans.PLANS.glob("*.json"))) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_plan_and_order_are_of_one_shop_and_press(name: str, shops: dict[str, Shop]) -> None:
    plan, order = plan_of(name), written_plans.read_order(name)
    assert plan.shop in shops
    if isinstance(order.press, Press):
        assert order.press.type == plan.press
    else:
        assert order.press == plan.press
        assert plan.press in {press.id for press in shops[plan.shop].presses}
    decorations = {setting.decoration or 0 for setting in plan.settings}
    assert decorations <= set(range(len(order.decorations)))
    # A lower layer that is only tacked gets its dwell with the layer on it, so every decoration has some pressing.
    assert decorations == set(range(len(order.decorations)))


@pytest.mark.parametrize("name", NAMES)
def test_steps_say_what_the_head_says(name: str) -> None:
    """Display where the press is set, time where it is closed, and the peel's own act, pressing by pressing."""
    plan = plan_of(name)
    displays = " ".join(step.text for step in plan.steps if step.act == "set-press")
    assert [setting for setting in plan.settings if not written_plans.says(displays, setting.display)] == []
    for part in plan.parts[1:]:
        setting = part.setting
        assert setting is not None
        closing = [step for step in part.steps if step.act in CLOSED]
        assert any(setting.time in step.essentials or in_minutes(setting, step) for step in closing), setting
        if setting.pressing != "reverse":
            assert {step.act for step in part.steps} & PEELED[setting.peel], setting


def in_minutes(setting: written_plans.Setting, step: written_plans.Step) -> bool:
    """Ovens are timed in minutes."""
    return f"{int(setting.time.removesuffix(' s')) // 60} min" in step.essentials


@pytest.mark.parametrize("name", NAMES)
def test_second_pressing_says_its_time(name: str) -> None:
    plan = plan_of(name)
    times = [setting.time for setting in plan.settings if setting.pressing == "again"]
    again = [step for step in plan.steps if step.act == "press-again"]
    assert len(again) == len(times)
    assert all(time in step.essentials for time, step in zip(times, again, strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_numbers_are_in_the_shops_units(name: str, shops: dict[str, Shop]) -> None:
    plan = plan_of(name)
    foreign = FOREIGN[shops[plan.shop].unit_system]
    assert [step.text for step in plan.steps if foreign.search(step.text)] == []


@pytest.mark.parametrize("name", NAMES)
def test_job_is_opened_and_closed(name: str) -> None:
    """Common practice: what stands in every plan, whatever is pressed, and in this order."""
    acts = [step.act for step in plan_of(name).steps]
    always = ["goods", "workplace", "set-press", "print-reads", "first-piece", "first-wrong", "watch", "press-off"]
    assert [act for act in dict.fromkeys(acts) if act in always] == [act for act in always if act in acts]
    assert set(always) - set(acts) <= {"print-reads", "watch"}
    assert acts[-1] in {"wash", "wipe", "no-wash"}


def test_every_act_is_done_in_some_plan() -> None:
    assert {step.act for name in NAMES for step in plan_of(name).steps} == set(ACTS)


def test_every_step_that_does_an_act_is_in_the_book(book: Book) -> None:
    steps = book.steps
    named = {step for act in ACTS.values() for step in act.steps}
    named |= {step for pressed_by in written_plans.PRESSED_BY.values() for step in pressed_by}
    assert named <= set(steps), named - set(steps)
    stop = {name for name in steps if name.startswith("stop-without")}
    assert set(steps) - named - stop == IN_NO_PLAN
    assert {name for name, act in ACTS.items() if not act.steps} == STEPLESS


def test_every_family_and_press_type_has_a_plan(book: Book, shops: dict[str, Shop]) -> None:
    catalogue = book.catalogue
    types, families = set(), set()
    for name in NAMES:
        order, shop = written_plans.read_order(name), shops[plan_of(name).shop]
        owned = {press.id: press.type for press in shop.presses}
        assert order.press is not None
        types.add(order.press.type if isinstance(order.press, Press) else owned[order.press])
        for decoration in order.decorations:
            product = catalogue["products"].get(str(decoration.transfer))
            families.add(product.family if product is not None else decoration.transfer)
    for planned, stand_ins, kind in ((types, LIKE_PRESS, "press_types"), (families, LIKE_FAMILY, "transfers")):
        assert planned | set(stand_ins) == set(catalogue[kind])
        assert not planned & set(stand_ins), "it has a plan of its own"
        assert set(stand_ins.values()) <= planned
    prints, presses = catalogue["transfers"], catalogue["press_types"]
    for print_, like in ((prints[name], prints[other]) for name, other in LIKE_FAMILY.items()):
        assert (print_.carrier, print_.mirrored) == (like.carrier, like.mirrored), print_.title
        assert set(print_.peel) & set(like.peel), print_.title
    for press, like in ((presses[name], presses[other]) for name, other in LIKE_PRESS.items()):
        assert (press.shape, press.closing, press.heated) == (like.shape, like.closing, like.heated), press.title


# --- reading ---

HEAD = "title  t\nshop   s\npress  p\nmain   150 °C, 10 s, firm, cold\nsource s\n\n"
BODY = "check goods  *All* there.\n-- main\nstack a | b | c | d\npress close  Close *10 s*.\npeel  peel-cold  *Cold*.\n"


def test_a_whole_plan_is_read() -> None:
    plan = written_plans.parse_plan(HEAD + BODY, ACTS, "x")
    assert plan.settings == (written_plans.Setting("main", None, "150 °C", "10 s", "firm", "cold"),)
    assert plan.steps[1] == written_plans.Step("press", "close", "Close 10 s.", ("10 s",))
    assert plan.parts[1].stack == ("a", "b", "c", "d")


@pytest.mark.parametrize(
    ("original", "instead", "complaint"),
    [
        ("shop   s\n", "", "lacks shop"),
        ("shop   s\n", "shop   s\nshop   s\n", "stands twice"),
        ("shop   s\n", "shop   s\ncolour red\n", "begins with none of"),
        ("150 °C, 10 s", "150, 10 s", "not a pressing's"),
        ("firm, cold", "hard, cold", "not a pressing's"),
        ("source s\n", "again  150 °C, 5 s, firm, cold\nsource s\n", "differ about the second pressing"),
        ("source s\n", "reverse 150 °C, 5 s, firm, cold\nsource s\n", "the parts are"),
        ("check goods", "check clean", "has no check clean"),
        ("check goods", "dry goods", "has no dry goods"),
        ("*All*", "All", "marks nothing"),
        ("*All*", "*All* *there", "left open"),
        ("stack a | b | c | d\n", "", "one stack"),
        ("stack a | b | c | d\n", "stack a | b |  | d\n", "one stack"),
        ("-- main\n", "", "the parts are"),
        ("-- main\n", "-- main 0\n", "the parts are"),
        ("peel  peel-cold  *Cold*.\n", "place lay-down  *Down*.\n", "place lay-down comes after press close"),
    ],
)
def test_faults_are_told(original: str, instead: str, complaint: str) -> None:
    text = HEAD + BODY
    assert text.count(original) == 1
    with pytest.raises(written_plans.PlanError, match=complaint):
        written_plans.parse_plan(text.replace(original, instead), ACTS, "x")


# --- comparing ---

MAPPED = {
    "goods": written_plans.Act("check", "", ()),
    "close": written_plans.Act("press", "", ("press-close",)),
    "peel-cold": written_plans.Act("peel", "", ("peel-cold", "peel-slow")),
}
WRITTEN = written_plans.parse_plan(HEAD + BODY, ACTS, "x").parts
CLOSE = written_plans.PrintedStep("press-close", "press", "Close for 12 s.")
PEEL = written_plans.PrintedStep("peel-slow", "peel", "Peel cold.")


def test_nothing_is_told_where_all_is_said() -> None:
    assert written_plans.differences(WRITTEN, [CLOSE, PEEL], MAPPED) == ()


def test_missing_early_and_unsaid_are_told() -> None:
    assert written_plans.differences(WRITTEN, [CLOSE], MAPPED) == ("peel peel-cold is missing: Cold.",)
    assert written_plans.differences(WRITTEN, [PEEL, CLOSE], MAPPED) == ("peel peel-cold comes too early: Peel cold.",)
    slow = written_plans.PrintedStep("press-close", "press", "Close for 20 s.")
    assert written_plans.differences(WRITTEN, [slow, PEEL], MAPPED) == ("press close lacks '10 s': Close for 20 s.",)


def test_several_steps_may_do_one_act() -> None:
    late = written_plans.PrintedStep("peel-cold", "peel", "Low and slow.")
    assert written_plans.differences(WRITTEN, [CLOSE, late, PEEL], MAPPED) == ()
    assert written_plans.differences(WRITTEN, [CLOSE, late], MAPPED) == ("peel peel-cold lacks 'Cold': Low and slow.",)


def test_order_is_free_within_a_stage() -> None:
    body = BODY.replace("check goods  *All* there.\n", "check goods  *All* there.\ncheck weed  *Weeded*.\n")
    parts = written_plans.parse_plan(HEAD + body, ACTS, "x").parts
    acts = {act: written_plans.Act("check", "", (act,)) for act in ("goods", "weed")}
    acts |= {act: written_plans.Act("", "", ()) for act in ("close", "peel-cold")}
    goods = written_plans.PrintedStep("goods", "check", "All is there.")
    weed = written_plans.PrintedStep("weed", "check", "Weed the film.")
    assert written_plans.differences(parts, [weed, goods], acts) == ()


def test_acts_without_a_step_are_left_out() -> None:
    assert written_plans.differences(WRITTEN, [CLOSE], MAPPED | {"peel-cold": written_plans.Act("peel", "", ())}) == ()


@pytest.mark.parametrize(
    ("text", "essential", "near"),
    [
        ("Set 185 °C.", "183 °C", True),
        ("Set 190 °C.", "183 °C", False),
        ("Set 183 °F.", "183 °C", False),
        ("Wait 120 s.", "2 min", True),
        ("Wait 3 min.", "2 min", False),
        ("Wait 5 min 20 s.", "320 s", True),
        ("Wait 5 min 20 s.", "20 s", False),
        ("Overlap 30 mm.", "30 mm", True),
        ("Overlap 31 mm.", "30 mm", False),
        ("Ink side down.", "ink", True),
        ("Paper down.", "ink", False),
        ("Weed the film.", "weeded", True),
        ("Lay uncoated paper over.", "Plain paper", True),
        ("Lay coated paper over.", "Plain paper", False),
        ("Let it cool, never in water.", "no water", True),
        ("Do not pre-press it.", "No pre-press", True),
        ("A dip into lukewarm water, nothing cold.", "no water", False),
        ("Nothing cold. Rinse it with water.", "no water", False),
        ("Iron the inside only.", "no iron", True),
    ],
)
def test_near_enough_is_said(text: str, essential: str, near: bool) -> None:
    assert written_plans.says(text, essential) is near


# --- what the book says of the orders today ---


def test_no_order_is_refused_or_left_open_but_those_noted(authority: Authority, shops: dict[str, Shop]) -> None:
    noted = tomllib.loads((written_plans.PLANS / "refused.toml").read_text(encoding="utf-8"))
    verdicts = {name: authority.validate(written_plans.read_order(name), shops[plan_of(name).shop]) for name in NAMES}
    refused = {
        name: sorted({finding.rule for finding in verdict.findings if finding.level == "blocks"})
        for name, verdict in verdicts.items()
        if verdict.verdict in {"rejected", "undetermined"}
    }
    assert refused == {name: entry["rules"] for name, entry in noted.items()}
    assert all(entry["why"].strip() for entry in noted.values())


STANDS = re.compile(r"(to be mended|either way works): \w.+")


def test_what_is_printed_differs_from_the_plans_only_as_reviewed(authority: Authority, shops: dict[str, Shop]) -> None:
    """All fifty, step by step; what stands is in reviewed.toml with its reason."""
    reviewed = written_plans.read_reviewed()
    differing = {}
    for name in NAMES:
        plan = plan_of(name)
        (printed,) = authority.recommend(written_plans.read_order(name), shops[plan.shop], most=1).plans
        sentences = written_plans.differences(plan.parts, written_plans.printed(printed), ACTS)
        if sentences:
            differing[name] = set(sentences)
    assert differing == {name: set(entries) for name, entries in reviewed.items()}
    assert [why for entries in reviewed.values() for why in entries.values() if not STANDS.fullmatch(why)] == []


def test_no_more_differences_stand_than_were_read() -> None:
    """This project's own aim; it only comes down."""
    assert sum(len(entries) for entries in written_plans.read_reviewed().values()) <= 21


def test_a_pressing_beside_the_main_one_is_one_sentence() -> None:
    text = HEAD.replace("main ", "tack   140 °C, 3 s, firm, cold\nmain ") + BODY.replace(
        "-- main", "-- tack\nstack e | f | g | h\npress close  Close *3 s*.\n-- main"
    )
    parts = written_plans.parse_plan(text, ACTS, "x").parts
    assert written_plans.differences(parts, [CLOSE, PEEL], MAPPED) == ("pressing tack is missing: e | f | g | h",)
    tack = written_plans.PrintedStep("film-first", "place", "Press it for 3 s at 142 °C.")
    assert written_plans.differences(parts, [tack, CLOSE, PEEL], MAPPED) == ()
    hot = written_plans.PrintedStep("film-first", "place", "Press it for 3 s at 150 °C.")
    assert written_plans.differences(parts, [hot, CLOSE, PEEL], MAPPED) == (
        "pressing tack lacks '140 °C': Press it for 3 s at 150 °C.",
    )


def test_what_is_done_once_may_be_printed_with_a_later_print() -> None:
    body = BODY.replace("check goods  *All* there.\n", "check goods  *All* there.\ncheck weed  *Weeded*.\n")
    parts = written_plans.parse_plan(HEAD + body, ACTS, "x").parts
    acts = MAPPED | {"weed": written_plans.Act("check", "", ("weed",))}
    weed = written_plans.PrintedStep("weed", "check", "Weed the film.")
    assert written_plans.differences(parts, [CLOSE, PEEL, weed], acts) == ()


# Steps that lay a sheet between print and heat, and how they name it.
COVERING = {
    "cover": re.compile(r"Cover with (.+), larger than the (?:platen|clamp|heater|sleeve)\."),
    "cover-what-marks": re.compile(r"Lay (.+) over it, larger than the (?:platen|clamp|heater|sleeve):"),
    "cover-round": re.compile(r"Lay (.+) round the wrapped print,"),
}


@pytest.mark.parametrize("name", NAMES)
def test_what_a_step_covers_with_is_in_the_stack(name: str, authority: Authority, shops: dict[str, Shop]) -> None:
    """Steps and stack are of one plan, so that they must say the same."""
    assert COVERING.keys() <= authority.book.steps.keys()
    planned = authority.recommend(written_plans.read_order(name), shops[plan_of(name).shop], most=1).plans[0]
    for decoration in planned.decorations:
        layers = {layer.what for stack in decoration.stacks for layer in stack.layers}
        for step in decoration.steps:
            if step.id in COVERING:
                match = COVERING[step.id].match(step.text)
                assert match is not None, step.text
                assert match.group(1) in layers, step.text
