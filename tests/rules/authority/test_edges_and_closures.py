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
LARGER, OVER, NOMINAL, ACROSS_ZIP, ACROSS = (
    "print-larger-than-area",
    "print-runs-over-edge",
    "print-over-nominal-area",
    "print-across-zip",
    "print-across-fitting",
)
EDGES = {LARGER, OVER, NOMINAL}
CLOSURES = {ACROSS_ZIP, ACROSS}
PADS = ("silicone-pad", "felt-pad", "foam-pillow", "heat-tape", "plain-paper", "ptfe-sheet")


def asked(
    authority: Authority, blank: str, transfer: str, placement: str, size: tuple[float, float], unit: str = "mm"
) -> Verdict:
    order = {
        "item": {"blank": blank},
        "decorations": [
            {
                "transfer": transfer,
                "placement": placement,
                "size": {"width": f"{size[0]} {unit}", "height": f"{size[1]} {unit}"},
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
        ("cushion-polyester-white", DYE, (410, 400), {LARGER: "blocks"}),
    ],
)
def test_dye_runs_over_the_edge_of_a_full_face_and_over_no_other(
    blank: str, transfer: str, size: tuple[float, float], edge: dict[str, str], authority: Authority
) -> None:
    placement = "reverse" if blank == "glass-photo-panel" else "face"
    assert said(asked(authority, blank, transfer, placement, size), EDGES) == edge


# What is sold and drawn in inches is an eighth of an inch a side larger than an area told in round millimetres; cloth
# takes that, if seams, collar and edge stay clear of the print. Common practice, no source.
@pytest.mark.parametrize(
    ("blank", "transfer", "placement", "inches", "edge"),
    [
        # 350 x 400 mm: 14 x 16 in is over it by 2.8 mm and 3.2 mm a side, 14 x 16 1/2 in by 9.6 mm.
        ("tee-heavy-white", FILM, "front", (14, 16), {NOMINAL: "cautions"}),
        ("tee-heavy-white", FILM, "front", (13.5, 15.5), {}),
        ("tee-heavy-white", FILM, "front", (14, 16.5), {LARGER: "blocks"}),
        ("tee-heavy-white", FILM, "left-chest", (4, 4), {NOMINAL: "cautions"}),
        ("tee-heavy-white", FILM, "left-chest", (4.5, 4), {LARGER: "blocks"}),
        # 170 x 100 and 150 x 200 mm.
        ("cosmetic-bag-polyester-white", DYE, "front", (6, 4), {NOMINAL: "cautions"}),
        ("hot-water-bottle-cover", DYE, "face", (6, 6), {NOMINAL: "cautions"}),
        # Its edge is the end of the piece, with nothing beyond for film to hold to; dye runs over as on any full face.
        ("mouse-pad-white", FILM, "face", (9.5, 8), {LARGER: "blocks"}),
        ("mouse-pad-white", DYE, "face", (9.5, 8), {OVER: "notes"}),
        # Hard goods have as much room as is told. The usual full wrap of an 11 oz mug is 8 1/2 x 3 1/2 in.
        ("hardboard-coaster", FILM, "face", (3.8, 3.7), {LARGER: "blocks"}),
        ("mug-coated-325", DYE, "all-round", (8.5, 3.5), {}),
        ("mug-coloured-inside-325", DYE, "all-round", (8.5, 3.5), {}),
        ("mug-coated-325", DYE, "all-round", (9.5, 3.5), {LARGER: "blocks"}),
        ("mug-coated-325", DYE, "all-round", (8.5, 3.75), {LARGER: "blocks"}),
    ],
)
def test_usual_sizes_in_inches_are_taken_on_cloth(
    blank: str,
    transfer: str,
    placement: str,
    inches: tuple[float, float],
    edge: dict[str, str],
    authority: Authority,
) -> None:
    assert said(asked(authority, blank, transfer, placement, inches, "in"), EDGES) == edge


def test_a_cushion_of_380_mm_takes_15_inches(book: Book) -> None:
    """On a press that is large enough, which the example shop's is not."""
    size = {"width": "15 in", "height": "15 in"}
    case = decoration_case(
        book,
        item=NOTHING | {"blank": "polyester-sequin-cushion"},
        decoration={"transfer": DYE, "placement": "face", "size": size},
    )
    assert case["place.fits_area"] is True
    assert case["place.over_mm"] == pytest.approx(0.5)


def test_a_caution_says_by_how_much_the_print_is_over_and_what_to_keep_clear_of(authority: Authority) -> None:
    verdict = asked(authority, "tee-heavy-white", FILM, "front", (356, 400))
    (finding,) = (finding for finding in verdict.findings if finding.rule == NOMINAL)
    assert "350 mm x 400 mm" in finding.because
    assert "3 mm" in finding.because
    assert all(word in finding.fix for word in ("seam", "collar", "edge"))


def test_what_is_left_open_may_be_as_large_as_what_is_taken(book: Book, authority: Authority) -> None:
    """The largest sizes of an envelope are judged as an order is: to 356 x 406 mm on an area of 350 x 400 mm."""
    order = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": FILM, "placement": "front"}]}
    envelope = authority.envelope(read(Order, order), shop_of(book))
    sizes = {
        (size.width_mm, size.height_mm)
        for on in envelope.on
        for decoration in on.decorations
        for size in decoration.size or ()
    }
    assert (356.0, 406.0) in sizes


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
    size = {"width": "50 mm", "height": "50 mm"}
    order = {"item": {"blank": blank}, "decorations": [{"transfer": DYE, "placement": placement, "size": size}]}
    verdict = authority.validate(read(Order, order), shop_of(authority.book, **press))
    assert ("below the rim" in (verdict.unsaid or "")) is rim
