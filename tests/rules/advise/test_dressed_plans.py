"""What a plan's hands do before the heat and behind it: common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest
from cases import order_document, sentence, shop_of, stand_in_order

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.verdict import Plan

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


@pytest.mark.parametrize("transfer", ["stones-glass-lead-free", "patch-embroidered"])
def test_stones_and_patches_are_pressed_again_from_the_reverse(transfer: str, authority: Authority) -> None:
    plan = first_plan(authority, shop_with(authority), decoration={"transfer": transfer})
    assert sentence(plan.decorations[0].steps, "press-from-reverse").endswith("from the reverse.")


def test_what_lies_face_down_is_stacked_as_the_steps_say(authority: Authority) -> None:
    """From the heated platen down: the piece, then its print, then the paper that carries it."""
    planned = first_plan(authority, shop_with(authority), item=TILE, decoration=DYED, press={"type": "swing-away"})
    stack = planned.decorations[0].stack
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
