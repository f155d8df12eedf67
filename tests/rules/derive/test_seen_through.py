"""Prints on the back of clear pieces: which way round the artwork has to be, so that the piece reads right.

Checked by geometry, not against the book: a print is a row of marks from left to right, laying it face down reverses
the row as seen from where it lies, and so does walking round to the other side of the piece. That artwork for the back
of a glass cutting board is not mirrored is common practice, no published source.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from cases import decoration_case, order_document, sentence, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict

DEMO = Path(__file__).parents[3] / "demo"
BARE = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care", "colour"), "")
GLASS = BARE | {"substrate": "glass-panel", "coating": "dye-receptive", "colour": "#F7F7F7"}
METAL = BARE | {"substrate": "aluminium-sheet", "coating": "polyester-white-gloss", "colour": "#F7F7F7"}
WORDS = "LEFT to RIGHT"


def as_seen(printed_mirrored: bool, laid_face_down: bool, through_the_piece: bool) -> str:
    """The lettering of a finished piece, as the one who looks at it reads it."""
    row = WORDS[::-1] if printed_mirrored else WORDS
    for turned in (laid_face_down, through_the_piece):
        row = row[::-1] if turned else row
    return row


@pytest.mark.parametrize("transfer", ["dye-sublimation", "printable-film", "toner-two-step-hard-goods"])
@pytest.mark.parametrize("item", [GLASS, METAL], ids=["glass", "metal"])
@pytest.mark.parametrize("placement", ["face", "reverse"])
def test_what_is_asked_for_reads_right_on_the_piece(
    item: dict[str, Any], placement: str, transfer: str, book: Book
) -> None:
    case = decoration_case(book, item=item, decoration={"transfer": transfer, "placement": placement})
    through = item is GLASS and placement == "reverse"
    assert case["place.seen_through"] is through
    face_down = transfer != "printable-film"  # printed film lies as it is looked at, all others on their face
    assert as_seen(case["art.mirrored_needed"], face_down, through) == WORDS
    assert as_seen(not case["art.mirrored_needed"], face_down, through) == WORDS[::-1]
    assert case["art.mirrored"] is case["art.mirrored_needed"], "what is not said is taken to be right"


def test_round_glass_is_looked_at_from_outside(book: Book) -> None:
    """The far side of a glass from its handle is no back: nobody looks through the drink."""
    item = GLASS | {"substrate": "glass-tumbler"}
    case = decoration_case(book, item=item, decoration={"transfer": "dye-sublimation", "placement": "reverse"})
    assert (case["place.seen_through"], case["art.mirrored_needed"]) == (False, True)


def test_it_stays_open_while_the_piece_is_unknown(book: Book) -> None:
    case = decoration_case(book, item=BARE, decoration={"transfer": "dye-sublimation", "placement": "reverse"})
    assert (case["place.seen_through"], case["art.mirrored_needed"]) == (None, None)


def judged(authority: Authority, mirrored: bool | None) -> Verdict:
    art = {} if mirrored is None else {"artwork": {"mirrored": mirrored}}
    decoration = {"transfer": "dye-sublimation", "placement": "reverse"} | art
    document = order_document(authority.book, item=GLASS, decoration=decoration)
    return authority.validate(read(Order, document), shop_of(authority.book))


def test_a_mirrored_print_behind_glass_is_refused_and_printed_again_as_it_reads(authority: Authority) -> None:
    verdict = judged(authority, mirrored=True)
    (block,) = (finding for finding in verdict.findings if finding.level == "blocks")
    assert block.rule == "wrongly-mirrored"
    assert "looking at it through the piece turns it back again: lettering comes out backwards" in block.because
    changed = [{change.pointer: change.after for change in remedy.changes} for remedy in verdict.remedies]
    assert {"/decorations/0/artwork/mirrored": False} in changed


@pytest.mark.parametrize("mirrored", [False, None])
def test_a_print_behind_glass_as_it_reads_is_workable(mirrored: bool | None, authority: Authority) -> None:
    verdict = judged(authority, mirrored)
    assert verdict.verdict == "conditional"
    note = next(finding for finding in verdict.findings if finding.rule == "dye-behind-glass")
    assert "printed as it reads and not mirrored" in note.because


@pytest.mark.parametrize("name", ["063-glass-photo", "066-cutting-board-reverse"])
def test_the_demos_glass_is_printed_and_pressed_the_right_way_round(name: str, authority: Authority) -> None:
    document = json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8"))
    assert document["decorations"][0]["artwork"]["mirrored"] is False
    shop = read(Shop, tomllib.loads((DEMO / "shops" / "kiln-corner.toml").read_text(encoding="utf-8")))
    recommendation = authority.recommend(read(Order, document), shop)
    planned = [plan.decorations[0].steps for plan in recommendation.plans]
    assert planned
    for steps in planned:
        assert "looked at through the piece" in sentence(steps, "reads-right-through-piece")
        assert "coated back down" in sentence(steps, "piece-on-print")
        assert not any("mirror image" in step.text for step in steps)
