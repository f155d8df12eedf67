"""Prints that run over an edge, and prints across a zip: where either may be, and where not.

Verdicts and rules were written down before they were asked. A picture to the edge of a flat blank is printed a little
larger than it; a broken, bevelled or carrying edge is not printed over; a print bridges no zip. Common practice, no
source.
"""

from __future__ import annotations

from typing import Any

import pytest
from cases import decoration_case, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict

NOTHING = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care", "colour"), "")
DYE, FILM = "dye-sublimation", "cut-film"
LARGER, OVER, ACROSS_ZIP, ACROSS = (
    "print-larger-than-area",
    "print-runs-over-edge",
    "print-across-zip",
    "print-across-fitting",
)
EDGES = {LARGER, OVER}
CLOSURES = {ACROSS_ZIP, ACROSS}
PADS = ("silicone-pad", "felt-pad", "foam-pillow", "heat-tape", "plain-paper", "ptfe-sheet")


def asked(authority: Authority, blank: str, transfer: str, placement: str, size: tuple[float, float]) -> Verdict:
    order = {
        "item": {"blank": blank},
        "decorations": [
            {
                "transfer": transfer,
                "placement": placement,
                "size": {"width": f"{size[0]} mm", "height": f"{size[1]} mm"},
            }
        ],
    }
    stock = {**authority.book.documents["base_example"]["shop"]["stock"], "consumables": list(PADS)}
    return authority.validate(read(Order, order), shop_of(authority.book, stock=stock))


def said(verdict: Verdict, rules: set[str]) -> dict[str, str]:
    return {finding.rule: finding.level for finding in verdict.findings if finding.rule in rules}


# -- edges -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("blank", "transfer", "size", "edge"),
    [
        # A coaster of 95 x 95 mm, cut from coated board: to its edge with 3 mm, and with all of 10 mm, to spare.
        ("hardboard-coaster", DYE, (95, 95), {}),
        ("hardboard-coaster", DYE, (101, 101), {OVER: "notes"}),
        ("hardboard-coaster", DYE, (115, 115), {OVER: "notes"}),
        ("hardboard-coaster", DYE, (116, 115), {LARGER: "blocks"}),
        # Film has an edge of its own, and what hangs over lifts.
        ("hardboard-coaster", FILM, (96, 95), {LARGER: "blocks"}),
        ("metal-panel-200x300", DYE, (206, 306), {OVER: "notes"}),
        ("metal-panel-200x300", DYE, (225, 300), {LARGER: "blocks"}),
        ("mdf-sign-coated", DYE, (306, 206), {OVER: "notes"}),
        ("tile-coated-108", DYE, (114, 114), {OVER: "notes"}),
        ("mouse-pad-white", DYE, (241, 203), {OVER: "notes"}),
        # A slate's face ends 10 mm inside its broken edge, a glass panel's inside its ground one, a clock's beside its
        # works, and a flask is curved beside what is flat of it.
        ("slate-coated-200", DYE, (190, 140), {LARGER: "blocks"}),
        ("slate-coated-200", DYE, (181, 130), {LARGER: "blocks"}),
        ("glass-photo-panel", DYE, (186, 136), {LARGER: "blocks"}),
        ("clock-hardboard", DYE, (196, 196), {LARGER: "blocks"}),
        ("flask-hip-steel", DYE, (86, 86), {LARGER: "blocks"}),
        ("badge-light-up", DYE, (66, 46), {LARGER: "blocks"}),
        # Cloth has seams and hems.
        ("cushion-polyester-white", DYE, (406, 400), {LARGER: "blocks"}),
    ],
)
def test_dye_runs_over_the_edge_of_a_full_face_and_over_no_other(
    blank: str, transfer: str, size: tuple[float, float], edge: dict[str, str], authority: Authority
) -> None:
    placement = "reverse" if blank == "glass-photo-panel" else "face"
    assert said(asked(authority, blank, transfer, placement, size), EDGES) == edge


def test_a_note_says_what_the_edge_takes_away(authority: Authority) -> None:
    verdict = asked(authority, "hardboard-coaster", DYE, "face", (101, 101))
    (finding,) = (finding for finding in verdict.findings if finding.rule == OVER)
    assert "101 mm x 101 mm" in finding.because
    assert "95 mm x 95 mm" in finding.because
    refused = asked(authority, "hardboard-coaster", DYE, "face", (140, 95))
    (finding,) = (finding for finding in refused.findings if finding.rule == LARGER)
    assert "Make the print 115 mm x 115 mm at most" in finding.fix


def test_full_faces_are_flat_and_none_is_of_what_breaks_at_its_edge(book: Book) -> None:
    """What a machine cuts or moulds to size: metal, board, tiles, mats. Slate is split, glass ground or bevelled."""
    full = {name: blank for name, blank in book.catalogue["blanks"].items() if blank.full_face}
    families = {book.catalogue["substrates"][blank.substrate].family for blank in full.values()}
    assert len(full) > 20
    assert families == {"metal", "wood", "ceramic", "plastic", "cloth"}
    assert {blank.substrate for blank in full.values() if blank.diameter is not None} == set()
    of_cloth = {blank.substrate for blank in full.values() if blank.fibres is not None}
    assert of_cloth == {"neoprene-faced"}
    assert all(set(blank.areas) <= {"face", "reverse"} for blank in full.values())
    assert not any({"battery", "electronics", "liquid-filled"} & set(blank.features) for blank in full.values())


@pytest.mark.parametrize(
    ("item", "bleeds"),
    [
        ({"substrate": "aluminium-sheet"}, True),
        ({"substrate": "hardboard"}, True),
        ({"substrate": "ceramic-tile"}, True),
        ({"substrate": "slate"}, False),
        ({"substrate": "glass-panel"}, False),
        ({"substrate": "ceramic-mug"}, False),
        ({"substrate": "woven"}, False),
        ({"blank": "slate-coated-200"}, False),
        ({"blank": "hardboard-coaster"}, True),
    ],
)
def test_what_a_plan_asks_to_reach_over_the_edge_may_do_so(item: dict[str, Any], bleeds: bool, book: Book) -> None:
    coating = {} if "blank" in item else {"coating": "dye-receptive"}
    case = decoration_case(book, item=NOTHING | coating | item, decoration={"transfer": DYE, "placement": "face"})
    assert case["place.may_bleed"] is bleeds


# -- closures ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("blank", "placement", "size", "closure"),
    [
        # A full zip runs down the front of a jersey, and lies on the far side of a print on its back.
        ("cycling-jersey-white", "front", (250, 250), {ACROSS_ZIP: "requires"}),
        ("cycling-jersey-white", "back", (250, 250), {}),
        ("hoodie-zip-navy", "back", (250, 250), {}),
        ("hoodie-zip-navy", "left-chest", (80, 80), {}),
        # A skirt's is in its side seam.
        ("skirt-cotton-white", "front", (200, 200), {}),
        ("skirt-cotton-white", "back", (200, 200), {}),
        # A cushion cover's and a toilet bag's is in a seam at the edge.
        ("cushion-cotton-natural", "face", (250, 250), {}),
        ("cushion-cotton-natural", "reverse", (250, 250), {}),
        ("cosmetic-bag-canvas", "front", (100, 80), {}),
        # Buttons and placket of a polo are in front.
        ("polo-cotton-navy", "back", (250, 250), {}),
        ("polo-cotton-navy", "left-chest", (80, 80), {}),
    ],
)
def test_a_closure_counts_where_the_print_goes_across_it(
    blank: str, placement: str, size: tuple[float, float], closure: dict[str, str], authority: Authority
) -> None:
    assert said(asked(authority, blank, FILM, placement, size), CLOSURES) == closure


# -- rims --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("blank", "placement", "rim"),
    [
        ("mug-coated-325", "all-round", True),
        ("tile-coated-108", "face", False),
        ("coaster-ceramic-coated", "face", False),
        ("hardboard-coaster", "face", False),
        ("slate-coated-200", "face", False),
    ],
)
def test_only_ware_that_is_drunk_from_has_a_rim_to_keep_clear_of(
    blank: str, placement: str, rim: bool, authority: Authority
) -> None:
    """What is taken to hold and could hurt somebody is said; a coaster has edges and no rim."""
    press = {"presses": [{"id": "mug", "type": "mug-press"}]} if rim else {}
    order = {"item": {"blank": blank}, "decorations": [{"transfer": DYE, "placement": placement}]}
    verdict = authority.validate(read(Order, order), shop_of(authority.book, **press))
    assert ("below the rim" in (verdict.unsaid or "")) is rim
