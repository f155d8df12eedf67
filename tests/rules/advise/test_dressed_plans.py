"""What a plan's hands do before the heat and behind it: common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest
from cases import order_document, sentence, shop_of, stand_in_order

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.sheet import PRESSINGS
from accord_rules.orders.shop import Shop
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.verdict import Plan, PlannedDecoration

TILE = {"substrate": "ceramic-tile", "fibres": "", "coating": "dye-receptive", "thickness": "6 mm"}
GLASS = {"substrate": "glass-panel", "fibres": "", "coating": "dye-receptive", "thickness": "4 mm"}
DYED = {"transfer": "dye-sublimation", "placement": "face"}


def shop_with(authority: Authority, *without: str) -> Shop:
    """The example shop with everything in stock but these consumables."""
    book = authority.book
    consumables = [name for name in book.catalogue["consumables"] if name not in without]
    return shop_of(book, stock={"products": list(book.catalogue["products"]), "consumables": consumables})


def first_plan(authority: Authority, shop: Shop, **parts: Any) -> Plan:
    document = order_document(authority.book, **parts)
    (plan, *_) = authority.recommend(read(Order, document), shop).plans
    return plan


def test_a_piece_is_dressed_before_any_heat(authority: Authority) -> None:
    """The pillow lies inside it and what stands up is off the edge before the pre-press, not after it."""
    item = {"features": ["button"]}
    steps = first_plan(authority, shop_with(authority), item=item).decorations[0].steps
    assert stand_in_order(steps, "lay-out", "pillow-inside", "metal-outside", "pre-press-bare")
    assert "button" in sentence(steps, "lay-out")


def test_a_pillow_lies_beneath_the_only_layer_there_is(authority: Authority) -> None:
    """A banner has no inside; common practice, no source."""
    banner = {"kind": "homeware", "substrate": "canvas", "fibres": {"CO": 100}, "features": ["eyelets", "seam"]}
    flat = {"kind": "homeware", "substrate": "canvas", "fibres": {"CO": 100}, "features": ["button"]}
    for item, where in (
        ({"features": ["button"]}, "inside the piece under the print area"),
        (flat, "under the piece, below the print area"),
        (banner, "inside the piece under the print area"),  # sewn to a hollow
    ):
        decoration = {"placement": "front" if "kind" not in item else "face"}
        planned = first_plan(authority, shop_with(authority), item=item, decoration=decoration)
        assert where in sentence(planned.decorations[0].steps, "pillow-inside")


@pytest.mark.parametrize(
    ("transfer", "carrier"),
    [
        ("cut-film", "the clear carrier it was cut and weeded on"),
        ("powder-film", "the clear film it is printed on"),
        ("hot-fix-stones", "the clear sticky film that holds the pieces"),
        ("plastisol-athletic", "its paper carrier"),
    ],
)
def test_a_stack_says_what_carries_the_print(transfer: str, carrier: str, authority: Authority) -> None:
    planned = first_plan(authority, shop_with(authority), decoration={"transfer": transfer})
    (stack,) = (stack for stack in planned.decorations[0].stacks if stack.pressing == "main")
    assert carrier in [layer.what for layer in stack.layers]


@pytest.mark.parametrize("transfer", ["stones-glass-lead-free", "patch-embroidered"])
def test_stones_and_patches_are_pressed_again_from_the_reverse(transfer: str, authority: Authority) -> None:
    plan = first_plan(authority, shop_with(authority), decoration={"transfer": transfer})
    assert "press from the reverse for " in sentence(plan.decorations[0].steps, "press-from-reverse")


def test_what_lies_face_down_is_stacked_as_the_steps_say(authority: Authority) -> None:
    """From the heated platen down: the piece, then its print, then the paper that carries it."""
    planned = first_plan(authority, shop_with(authority), item=TILE, decoration=DYED, press={"type": "swing-away"})
    stack = planned.decorations[0].stacks[-1].layers
    lying = [layer.face for layer in stack if layer.face]
    assert lying == ["coated face down", "printed side up"], stack
    carrier = next(number for number, layer in enumerate(stack) if "carrier" in layer.what)
    assert carrier > next(number for number, layer in enumerate(stack) if layer.face == "printed side up")


def test_a_plan_stops_where_the_pad_it_needs_is_missing(authority: Authority) -> None:
    pads = [name for name, entry in authority.book.catalogue["consumables"].items() if entry.kind == "pad"]
    planned = first_plan(
        authority, shop_with(authority, *pads), item=TILE, decoration=DYED, press={"type": "swing-away"}
    )
    steps = planned.decorations[0].steps
    assert stand_in_order(steps, "stop-without-pad", "press-main")


def test_a_plan_stops_where_the_sheet_it_needs_is_missing(authority: Authority) -> None:
    shop = shop_with(authority, "silicone-paper", "ptfe-sheet")
    steps = first_plan(authority, shop, decoration={"transfer": "inkjet-paper-dark"}).decorations[0].steps
    assert stand_in_order(steps, "stop-without-cover", "press-main")


@pytest.mark.parametrize("transfer", ["toner-paper-two-step", "cut-film"])
def test_an_oven_is_for_dye_alone(transfer: str, authority: Authority) -> None:
    document = order_document(
        authority.book, item=TILE, decoration={"transfer": transfer}, press={"type": "tile-oven-wrap"}
    )
    verdict = authority.validate(read(Order, document), shop_with(authority))
    assert "transfer-not-for-an-oven" in {finding.rule for finding in verdict.findings if finding.level == "blocks"}


def test_of_clear_glass_it_is_asked_which_side_the_print_is_on(authority: Authority) -> None:
    """A mirrored print reads right on the face and backwards on the reverse."""
    decoration = {"transfer": "dye-sublimation", "placement": "", "artwork": {"mirrored": True}}
    document = order_document(authority.book, item=GLASS, decoration=decoration, press={"type": "swing-away"})
    verdict = authority.validate(read(Order, document), shop_with(authority))
    assert verdict.verdict == "undetermined"
    assert "/decorations/0/placement" in {need.pointer for need in verdict.needs}


def test_a_rejected_order_tells_no_setting_by_hand(authority: Authority) -> None:
    """No sentence of a refused order says what to set a press to."""
    document = order_document(authority.book, item={"features": ["battery"]}, press={"type": "hand-held"})
    verdict = authority.validate(read(Order, document), shop_with(authority))
    assert verdict.verdict == "rejected"
    assert verdict.findings
    assert not [finding.fix for finding in verdict.findings if any(character.isdigit() for character in finding.fix)]


@pytest.mark.parametrize(
    ("blank", "feature"), [("block-timber-oak", "sealed-cavity"), ("tee-heavy-black", "electronics")]
)
def test_no_remedy_makes_a_danger_vanish(blank: str, feature: str, authority: Authority) -> None:
    """What is in the piece that was brought is in it: another piece without it is no answer."""
    item = {"blank": blank, "features": [feature]}
    document = {"item": item, "decorations": [{"transfer": "film-soft-matte"}]}
    verdict = authority.validate(read(Order, document), shop_with(authority))
    assert verdict.verdict == "rejected"
    changed = {change.pointer for remedy in verdict.remedies for change in remedy.changes}
    assert changed.isdisjoint({"/item/features", "/item/blank"})


def test_the_press_is_set_to_what_is_pressed_first(authority: Authority) -> None:
    """A film for dye goes on cooler than the dye: nobody heats the press, waits for it to cool and heats it again."""
    planned = first_plan(authority, shop_with(authority), decoration={"transfer": "receptive-film-white"})
    decoration = planned.decorations[0]
    (tack,) = (pressing for pressing in decoration.explained.pressings if pressing.name == "tack")
    assert tack.temperature != decoration.explained.temperature
    assert tack.temperature in sentence(decoration.steps, "set-press")
    assert decoration.explained.temperature in sentence(decoration.steps, "set-press-after-film")


def test_the_upper_layer_is_laid_on_the_lower_one(authority: Authority) -> None:
    film = {"placement": "front", "size": {"width": "100 mm", "height": "100 mm"}}
    lower, upper = {"transfer": "blocker-film", **film}, {"transfer": "cut-film", **film, "over": 0}
    planned = first_plan(authority, shop_with(authority), decorations=[lower, upper])
    below, above = planned.decorations
    assert [layer.what for layer in above.stacks[-1].layers].count(below.title) == 1
    assert "centred on the layer below" in sentence(above.steps, "adhesive-down")
    assert "below the collar seam" in sentence(below.steps, "adhesive-down")
    assert "first-piece-film" not in {step.id for step in below.steps}, "what is only tacked lifts when it is stretched"
    assert "first-piece-film" in {step.id for step in above.steps}


def test_the_stack_has_the_sheets_that_the_steps_lay(authority: Authority) -> None:
    shop = shop_with(authority)
    dyed = first_plan(authority, shop, item={"fibres": {"PES": 100}}, decoration={"transfer": "dye-sublimation"})
    filmed = first_plan(authority, shop, item={"fibres": {"PES": 100}}, press={"type": "swing-away"}).decorations[0]
    assert dyed.decorations[0].stacks[-1].layers[-2].what in sentence(dyed.decorations[0].steps, "paper-on-bed")
    assert filmed.stacks[-1].layers[1].what in sentence(filmed.steps, "cover-what-marks")


def test_an_oven_has_no_pressure_to_set_and_no_lower_platen(authority: Authority) -> None:
    press = {"type": "tile-oven-wrap"}
    (decoration,) = first_plan(authority, shop_with(authority), item=TILE, decoration=DYED, press=press).decorations
    assert decoration.explained.pressure_shown == "none: the clamp presses"
    assert "pressure" not in sentence(decoration.steps, "set-press")
    assert {"both-platens", "close-gently"}.isdisjoint(step.id for step in decoration.steps)
    assert [decoration.stacks[-1].layers[0].what, decoration.stacks[-1].layers[-1].what] == ["clamp", "clamp"]


def test_a_cap_is_not_laid_flat(authority: Authority) -> None:
    item = dict.fromkeys(order_document(authority.book)["item"], "") | {"blank": "cap-cotton-black"}
    cap = {"placement": "crown", "size": {"width": "100 mm", "height": "50 mm"}}
    (decoration,) = first_plan(
        authority, shop_with(authority), item=item, decoration=cap, press={"type": "cap-press"}
    ).decorations
    assert stand_in_order(decoration.steps, "cap-on-form", "adhesive-down", "crown-up")
    assert "flat-cloth" not in {step.id for step in decoration.steps}
    assert "edges" not in sentence(decoration.steps, "adhesive-down")
    assert decoration.stacks[-1].layers[-1].what == "cap form"


def test_a_sleeve_is_not_kept_off_the_heat_that_prints_it(authority: Authority) -> None:
    sleeve = {"placement": "sleeve", "size": {"width": "60 mm", "height": "60 mm"}}
    steps = first_plan(authority, shop_with(authority), decoration=sleeve).decorations[0].steps
    assert "sleeve-alone" in {step.id for step in steps}
    assert "lay-out" not in {step.id for step in steps}


@pytest.mark.parametrize("transfer", ["hot-fix-stones", "heat-seal-patch"])
def test_without_a_sheet_the_pressing_from_the_reverse_stops_and_says_nothing_else(
    transfer: str, authority: Authority
) -> None:
    """Common practice, no source: a step says what to do or to stop, not both."""
    shop = shop_with(authority, "silicone-paper", "ptfe-sheet")
    steps = first_plan(authority, shop, decoration={"transfer": transfer}).decorations[0].steps
    (step,) = (step for step in steps if step.stage == "again")
    assert step.id == "stop-without-second-press-sheet"
    assert step.text.startswith("Stop here without")
    assert "from the reverse" in step.text


@pytest.mark.parametrize(("transfer", "sheet", "second_s"), [("studs-aluminium", None, 0), ("hot-fix-studs", "6 s", 6)])
def test_leather_is_pressed_once_unless_a_sheet_says_otherwise(
    transfer: str, sheet: str | None, second_s: float, authority: Authority
) -> None:
    """Common practice, no source: leather shrinks in a second pressing, and lets no heat through to the glue."""
    said = {} if sheet is None else {"sheet": {"second_press": sheet}}
    item = {"blank": "patch-leather-brown", "substrate": "", "fibres": "", "colour": "", "thickness": "", "care": ""}
    decoration = {"transfer": transfer, "placement": "face", "size": {"width": "50 mm", "height": "10 mm"}} | said
    planned = first_plan(
        authority, shop_with(authority), item=item, decoration=decoration, press={"type": "swing-away"}
    )
    steps = {step.id for step in planned.decorations[0].steps}
    assert planned.decorations[0].explained.second_press_s == second_s
    assert ("no-second-press" in steps) is (second_s == 0)
    assert ("press-again" in steps) is (second_s > 0)


def test_eyelets_are_kept_off_the_platen(authority: Authority) -> None:
    """Common practice, no source: metal holds the platen off the print and leaves its shape in the cloth."""
    item = {"kind": "homeware", "substrate": "canvas", "fibres": {"CO": 100}, "features": ["eyelets"]}
    planned = first_plan(authority, shop_with(authority), item=item, decoration={"placement": "face"})
    steps = planned.decorations[0].steps
    assert sentence(steps, "metal-outside").startswith("Keep eyelets 30 mm outside the platen")
    assert sentence(steps, "lay-out").endswith("with eyelets, edges and seams off the heated area.")


def test_the_kind_that_an_order_says_counts(authority: Authority) -> None:
    """A banner of canvas has no collar; what is said beside a blank of another kind is told."""
    item = {"substrate": "canvas", "fibres": {"CO": 100}}
    garment = first_plan(authority, shop_with(authority), item=item).decorations[0].steps
    banner = first_plan(authority, shop_with(authority), item=item | {"kind": "homeware"}).decorations[0].steps
    assert "collar" in sentence(garment, "lay-out")
    assert "collar" not in sentence(banner, "lay-out")
    document = order_document(authority.book, item={"blank": "tee-heavy-white", "kind": "homeware"})
    verdict = authority.validate(read(Order, document), shop_with(authority))
    (finding,) = (finding for finding in verdict.findings if finding.rule == "description-contradicts-blank")
    assert "described as homeware, the blank is garment" in finding.because


def test_a_film_is_gone_over_again_before_dye_goes_on_it(authority: Authority) -> None:
    """Common practice, no source: each speck between film and dye prints."""
    planned = first_plan(authority, shop_with(authority), decoration={"transfer": "dye-receptive-film"})
    steps = planned.decorations[0].steps
    assert stand_in_order(steps, "lint-roll", "film-first", "lint-roll-film", "paper-down-on-film")


def lying(planned: PlannedDecoration, pressing: str) -> list[str]:
    """The layers of one pressing in words, from the heat down, between what presses."""
    (stack,) = (stack for stack in planned.stacks if stack.pressing == pressing)
    return [f"{layer.what}, {layer.face}" if layer.face else layer.what for layer in stack.layers][1:-1]


SILICONE = "silicone-coated release paper"


@pytest.mark.parametrize(
    ("transfer", "pressing", "layers"),
    [
        # Plans 16, 17, 18 and 30 of demo/plans draw them so; common practice, no source.
        ("toner-paper-two-step", "marry", ["printed sheet, printed side down", "adhesive sheet, adhesive side up"]),
        ("foil-over-adhesive", "adhesive", ["carrier of the adhesive", "adhesive, adhesive side down", "PIECE up"]),
        (
            "foil-over-adhesive",
            "main",
            ["the clear film that the foil comes off", "PRINT, bright side up", "its adhesive, face up", "PIECE up"],
        ),
        ("hot-fix-stones", "reverse", [SILICONE, "PIECE down", "PRINT, face down", "a pad"]),
        ("powder-film", "again", [SILICONE, "PRINT, face up", "PIECE up"]),
        (
            "dye-receptive-film",
            "tack",
            ["carrier of the film", "PRINT, adhesive side down", "PIECE up", "uncoated paper"],
        ),
        (
            "dye-receptive-film",
            "main",
            [
                "uncoated paper",
                "its paper carrier",
                "its dye print, printed side down",
                "PRINT, face up",
                "PIECE up",
                "uncoated paper",
            ],
        ),
    ],
)
def test_each_pressing_has_its_own_stack(transfer: str, pressing: str, layers: list[str], authority: Authority) -> None:
    planned = first_plan(authority, shop_with(authority), decoration={"transfer": transfer}).decorations[0]
    piece = authority.book.catalogue["substrates"]["woven"].title
    shown = [
        layer.replace(f"{in_a_sentence(piece)}, printable face", "PIECE").replace(planned.title, "PRINT")
        for layer in lying(planned, pressing)
    ]
    assert shown == layers
    assert [stack.pressing for stack in planned.stacks] == [
        name for name in PRESSINGS if name in {stack.pressing for stack in planned.stacks}
    ]


def test_a_tacked_layer_has_one_stack_and_the_layer_over_it_names_it(authority: Authority) -> None:
    size = {"width": "80 mm", "height": "80 mm"}
    decorations = [
        {"transfer": "cut-film", "placement": "front", "size": size},
        {"transfer": "cut-film-low-temperature", "placement": "front", "size": size, "over": 0},
    ]
    lower, upper = first_plan(authority, shop_with(authority), decorations=decorations).decorations
    assert [stack.pressing for stack in lower.stacks] == ["tack"]
    assert f"{lower.title}, face up" in lying(upper, "main")


def test_a_verdict_says_which_pressings_are_done(authority: Authority) -> None:
    """The lower film of a pile is only tacked: its main settings are not pressed."""
    size = {"width": "80 mm", "height": "80 mm"}
    decorations = [
        {"transfer": "cut-film", "placement": "front", "size": size},
        {"transfer": "cut-film", "placement": "front", "size": size, "over": 0},
    ]
    document = order_document(authority.book, decorations=decorations)
    (on_press,) = authority.validate(read(Order, document), shop_with(authority)).presses
    assert on_press.pressings == (("tack",), ("main",))
    assert on_press.settings is not None
    assert on_press.settings[0]["pressings"]["tack"]["time"] == "3 s"
