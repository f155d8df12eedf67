"""What the hands need to know of a job, called with values: common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest
from cases import decoration_case, whole_case

from accord_rules.derive import covers, handling
from accord_rules.documents import units
from accord_rules.revision.book import Book

COLLAR = {"plan.front_below_collar": 80.0, "plan.back_below_collar": 100.0}
SHOULDER = {"plan.chest_from_middle": 100.0, "plan.chest_below_shoulder": 190.0}


@pytest.mark.parametrize(
    ("transfer", "shape", "piece_down", "goods", "lies"),
    [
        ("cut-film", "flat", False, "cloth", "adhesive-down"),
        ("inkjet-paper-light", "flat", False, "cloth", "printed-side-down"),
        ("inkjet-paper-dark", "flat", False, "cloth", "face-up"),
        ("printable-film", "flat", False, "cloth", "face-up"),
        ("woven-label", "flat", False, "cloth", "glue-down"),
        ("dye-sublimation", "flat", True, "ceramic", "piece-down"),
        ("dye-sublimation", "flat", False, "metal", "piece-down"),
        ("dye-sublimation", "flat", False, "wood", "printed-side-down"),
        ("dye-sublimation", "mug", False, "metal", "wrapped"),
    ],
)
def test_how_a_print_comes_to_lie(
    transfer: str, shape: str, piece_down: bool, goods: str, lies: str, book: Book
) -> None:
    assert handling.how(book.catalogue["transfers"][transfer], shape, piece_down, goods) == lies


@pytest.mark.parametrize(
    ("kind", "where", "over", "words"),
    [
        ("garment", "front", False, "80 mm below the collar seam"),
        ("garment", "back", False, "100 mm below the collar seam"),
        ("garment", "back", True, "centred on the layer below"),
        ("garment", "left-chest", False, "100 mm to the wearer's left of the middle, 190 mm below the shoulder seam"),
        ("garment", "sleeve", False, "on the sleeve, measured from two edges"),
        ("garment", "inside", False, "15 mm below the collar seam, in the middle of the neck"),
        ("headwear", "crown", False, "over the middle of the brim"),
        ("bag", "front", False, "on the front, measured from two edges"),
    ],
)
def test_from_where_a_place_is_measured(kind: str, where: str, over: bool, words: str) -> None:
    assert words in handling.from_words(kind, where, over, units.METRIC, COLLAR, SHOULDER, label_mm=15.0)


@pytest.mark.parametrize(
    ("blank", "words"),
    [
        ("slate-coated-200", "feet and stand"),
        ("pennant-felt-polyester-white", "rod and cord"),
        ("cooler-sleeve-white", "bottom disc"),
        ("key-tag-frp", "ring and chain"),
        ("tumbler-steel-white", "lid, seal, straw and rubber foot"),
        # A mug has no lid, a mouse pad no feet, a metal bookmark no ring: nothing is told of what is not there.
        ("mug-coated-325", None),
        ("mouse-pad-white", None),
        ("bookmark-aluminium", None),
    ],
)
def test_what_is_loose_on_a_piece_is_told_by_its_blank(book: Book, blank: str, words: str | None) -> None:
    assert handling.loose_words(book.catalogue["blanks"][blank], lambda: None) == words


@pytest.mark.parametrize(
    ("substrate", "words"),
    [
        ("stainless-tumbler", "lid, seal, straw and rubber foot, as far as it has them"),
        ("ceramic-mug", None),
        ("slate", None),
        ("structured-cap", None),
    ],
)
def test_of_described_ware_that_is_no_mug_what_it_may_have_is_told(
    book: Book, substrate: str, words: str | None
) -> None:
    assert handling.loose_words(None, lambda: book.catalogue["substrates"][substrate]) == words


def test_only_the_fittings_that_are_there_are_named() -> None:
    assert handling.metal_words(("eyelets", "seam")) == "eyelets"
    assert handling.metal_words(("button", "zip")) == "the zip and buttons"
    assert handling.metal_words(("seam",)) is None


def test_what_stands_up_is_listed_with_what_always_does() -> None:
    assert handling.clear_of_words("garment", ("zip", "collar")) == "zip, collar, sleeves, seams and hem"
    assert handling.clear_of_words("homeware", ()) == "edges and seams"
    assert handling.raised_words(("elastic-waist", "zip", "button")) == "elastic waist, zip and button"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("ptfe-sheet", "a PTFE-coated glass-cloth sheet"),
        ("silicone-paper", "silicone-coated release paper"),
        ("heat-tape", "heat tape (polyimide with silicone adhesive)"),
        ("foam-pillow", "a foam pillow in a PTFE-coated cover"),
    ],
)
def test_sheets_are_named_as_they_stand_in_a_sentence(name: str, words: str, book: Book) -> None:
    assert covers.named(book.catalogue["consumables"][name]) == words


@pytest.mark.parametrize(
    ("goods", "share", "marked"), [("cloth", 50, True), ("cloth", 49, False), ("cloth", None, None)]
)
def test_cloth_that_turns_shiny_is_marked_by_a_bare_platen(goods: str, share: Any, marked: bool | None) -> None:
    assert handling.marked_bare(goods, True, lambda: share) is marked
    assert handling.marked_bare("wood", False, lambda: share) is True
    assert handling.marked_bare("metal", False, lambda: share) is False


@pytest.mark.parametrize(
    ("fibres", "marked"),
    [
        ({"WO": 80, "PA": 20}, True),
        ({"SE": 100}, True),
        ({"WO": 40, "CO": 60}, False),
        ({"CO": 100}, False),
        ({"PES": 65, "CO": 35}, True),
    ],
)
def test_wool_and_silk_turn_shiny_as_synthetics_do(fibres: dict[str, float], marked: bool, book: Book) -> None:
    """Pressed under a cloth (common practice, no source)."""
    assert whole_case(book, item={"fibres": fibres})["item.marked_bare"] is marked


def test_what_is_left_free_round_a_mug(book: Book) -> None:
    """82 mm across is 257.6 mm round; a wrap of 200 mm leaves 57.6 mm. Ware of no known width has no gap."""
    size = {"width": "200 mm", "height": "85 mm"}
    wrap = {"transfer": "sub-paper-hard-goods", "placement": "all-round", "size": size}
    nothing = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care", "colour"), "")
    mug = decoration_case(book, item=nothing | {"blank": "mug-coated-325"}, decoration=wrap)
    assert mug["place.wrap_gap_mm"] == pytest.approx(57.6, abs=0.05)
    tumbler = nothing | {"substrate": "stainless-tumbler", "coating": "dye-receptive", "colour": "white"}
    assert decoration_case(book, item=tumbler, decoration=wrap)["place.wrap_gap_mm"] == 0


def test_a_gauge_says_the_trades_word_too() -> None:
    bands = {"light": (10.0, 30.0), "medium": (31.0, 60.0)}
    gauge = handling.pressure_shown(276.0, 40.0, bands, False, "parallel", "flat", units.METRIC)
    assert gauge == "276 kPa on the gauge (medium)"
    assert handling.pressure_shown("light", 20.0, bands, True, "hand", "flat", units.METRIC) == "light hand pressure"
    assert (
        handling.pressure_shown("medium", 40.0, bands, False, "enclosed", "mug", units.METRIC)
        == "none: the wrap presses"
    )
