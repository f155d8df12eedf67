"""Steps as somebody follows them who knows nothing else: an oven is no press, a piece is told of the fasteners it has.

Read as tickets of a mug and a tumbler in an oven, a tile in its clamp, hoodies, a polo and a cushion: common practice,
no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from cases import sentence, shop_of, stand_in_order

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.verdict import PlannedDecoration
from accord_service.api.plan_words import sections

DYE, FILM = "dye-sublimation", "cut-film"
STOCK = ["felt-pad", "foam-pillow", "heat-tape", "plain-paper", "ptfe-sheet", "silicone-pad"]
MUG, TILE = ("mug-coated-325", "all-round"), ("tile-coated-108", "face")
TUMBLER = ("tumbler-tapered-600", "all-round")


def planned(
    authority: Authority, piece: tuple[str, str], transfer: str, press: str, size: Mapping[str, str] | None = None
) -> PlannedDecoration:
    blank, placement = piece
    decoration: dict[str, Any] = {"transfer": transfer, "placement": placement}
    order = {
        "item": {"blank": blank},
        "decorations": [decoration | ({"size": dict(size)} if size else {})],
        "press": {"type": press},
        "quantity": 12,
    }
    stock = {**authority.book.documents["base_example"]["shop"]["stock"], "consumables": STOCK}
    (plan,) = authority.recommend(read(Order, order), shop_of(authority.book, stock=stock), most=1).plans
    return plan.decorations[0]


@pytest.mark.parametrize(
    ("piece", "press", "machine", "wiped"),
    [
        (MUG, "mug-oven-wrap", "oven", "sleeve"),
        (TILE, "tile-oven-wrap", "oven", "clamp"),
        (MUG, "mug-press", "press", "heater"),
        (TILE, "swing-away", "press", "platen"),
    ],
)
def test_what_is_set_and_wiped_is_what_there_is(
    piece: tuple[str, str], press: str, machine: str, wiped: str, authority: Authority
) -> None:
    steps = planned(authority, piece, DYE, press).steps
    assert sentence(steps, "set-press").startswith(f"Set the {machine} to ")
    assert sentence(steps, "gloves-ready").startswith(f"Lay heat gloves ready: {machine} and piece burn")
    assert f"the {wiped} is wiped with dry cotton" in sentence(steps, "every-ten-pieces")
    if machine == "oven":
        assert not any("platen" in step.text or "the press" in step.text for step in steps), steps


def test_a_clamp_comes_out_of_the_oven_before_anything_is_taken_off(authority: Authority) -> None:
    steps = planned(authority, TILE, DYE, "tile-oven-wrap").steps
    assert stand_in_order(steps, "clamp-evenly", "press-oven", "gloves-on", "clamp-out", "straight-off-paper")


def test_a_shrink_sleeve_goes_on_last_and_comes_off_cold_with_the_paper(authority: Authority) -> None:
    """The row that says how it is peeled says what the steps do."""
    size = {"width": "230 mm", "height": "150 mm"}
    tumbler = planned(authority, TUMBLER, DYE, "mug-oven-wrap", size)
    assert stand_in_order(
        tumbler.steps, "tape-round", "shrink-sleeve", "press-oven", "out-in-shrink-sleeve", "cut-shrink-sleeve"
    )
    mug = planned(authority, MUG, DYE, "mug-oven-wrap")
    assert stand_in_order(mug.steps, "tape-round", "wrap-sleeve", "press-oven", "gloves-on", "unwrap-sleeve")
    peeled = [dict(row for rows in sections(of.document()) for row in rows)["PEEL"] for of in (tumbler, mug)]
    assert peeled == ["COLD, WITH THE SLEEVE", "HOT"]


@pytest.mark.parametrize(
    ("blank", "placement", "clause"),
    [
        ("hoodie-zip-navy", "back", "Open the zip, pull the cords out of the way"),
        ("hoodie-cotton-black", "front", "Pull the cords out of the way"),
        ("polo-cotton-navy", "left-chest", "Do up the buttons"),
        ("cushion-cotton-natural", "face", "Open the zip"),
        ("cycling-jersey-white", "front", "Open the zip"),
    ],
)
def test_of_fasteners_only_those_are_told_that_the_piece_has(
    blank: str, placement: str, clause: str, authority: Authority
) -> None:
    size = {"width": "80 mm", "height": "80 mm"}
    steps = planned(authority, (blank, placement), FILM, "swing-away", size).steps
    assert sentence(steps, "fasteners") == f"{clause}, and keep all of it off the platen."
