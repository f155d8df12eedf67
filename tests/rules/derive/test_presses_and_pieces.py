"""What presses take, plates, gangs of small goods, and pieces told by what they are made of.

Sizes, dwells and habits are common practice, no source; sums are worked out beside each check.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from cases import decoration_case, pressing, shop_of, whole_case

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order, Size
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import SUBSTRATE_FAMILIES

Document = Mapping[str, Any]
NOTHING = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care", "colour"), "")
COASTER = NOTHING | {"blank": "hardboard-coaster"}
DYE = {"transfer": "dye-sublimation", "placement": "face"}
PLATES = [{"width": "120 mm", "height": "400 mm"}, {"width": "300 mm", "height": "300 mm"}]


def test_platens_take_everything_and_shaped_ones_what_they_are_made_for(book: Book) -> None:
    takes = {name: set(press.takes) for name, press in book.catalogue["press_types"].items()}
    less = {name: families for name, families in takes.items() if families != set(SUBSTRATE_FAMILIES)}
    assert less == {
        "cap-press": {"cloth"},
        "cap-press-automatic": {"cloth"},
        "mug-oven-wrap": {"ceramic", "glass", "metal"},
        "mug-press": {"ceramic", "glass", "metal", "plastic"},  # of plastics mugs that are made for it
        "pen-press": {"metal", "plastic"},
        "plate-press": {"ceramic", "glass", "plastic"},
        "shoe-press": {"cloth", "leather"},
        "tile-oven-wrap": {"ceramic", "glass", "stone"},
        "tumbler-press": {"ceramic", "glass", "metal"},
    }


# -- plates ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("print_size", "plate"),
    [
        ((80, 80), (120, 400)),  # 10 mm to spare on each side
        ((100, 380), (120, 400)),
        ((101, 100), (300, 300)),
        ((280, 280), (300, 300)),
        ((290, 280), None),  # the press's own
    ],
)
def test_the_smallest_plate_that_holds_the_print_is_fitted(
    print_size: tuple[int, int], plate: tuple[int, int] | None, book: Book
) -> None:
    size = dict(zip(("width", "height"), (f"{side} mm" for side in print_size), strict=True))
    press = {"type": "swing-away", "plates": PLATES}
    case = pressing(book, press=press, decoration={"size": size})
    assert case["fit.plate"] == (None if plate is None else Size(*plate))
    assert case["fit.plate_words"] == (f"the plate of {plate[0]} mm x {plate[1]} mm" if plate else "")
    bears = (plate[0] * plate[1] if plate else 400 * 500) * 1e-6
    assert case["fit.contact_m2"] == pytest.approx(bears)


def test_a_gauge_is_read_for_the_plate_that_is_fitted(book: Book) -> None:
    """F = p A: on 120 x 400 mm in place of 400 x 500 mm the same pressure wants 0.24 of the line's."""
    cylinder = {"bore": "100 mm", "line_least": "0.1 bar", "line_most": "8 bar"}
    press = {"type": "pneumatic-single", "cylinder": cylinder}
    size = {"width": "80 mm", "height": "80 mm"}
    own, fitted = (
        pressing(book, press=on, decoration={"size": size})["fit.pressure_most_kpa"]
        for on in (press, press | {"plates": PLATES})
    )
    assert own / fitted == pytest.approx(0.24)


def test_the_plan_says_which_plate(authority: Authority, book: Book) -> None:
    shop = shop_of(book, presses=[{"id": "swing", "type": "swing-away", "plates": PLATES}])
    order = {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [{"transfer": "film-soft-matte", "placement": "sleeve"}],
    }
    (plan, *_) = authority.recommend(read(Order, order), shop).plans
    assert any("the plate of 120 mm x 400 mm" in str(step) for step in plan.decorations[0].steps)


# -- gangs of small goods --------------------------------------------------------------------------------------------


def gang(book: Book, quantity: int, press: str = "swing-away") -> Any:
    size = {"width": "90 mm", "height": "90 mm"}
    return pressing(book, item=COASTER, decoration=DYE | {"size": size}, press={"type": press}, quantity=quantity)


def test_no_more_lie_under_the_platen_than_there_are(book: Book) -> None:
    """95 mm coasters 10 mm apart on the even 380 x 480 mm of 400 x 500 mm: 3 by 4."""
    assert gang(book, 40)["fit.pieces_per_pressing"] == 12
    assert gang(book, 40)["fit.at_once"] == 12
    assert gang(book, 5)["fit.at_once"] == 5


def test_a_load_of_cold_pieces_wants_longer_and_a_single_one_does_not(book: Book) -> None:
    alone, few, full = (gang(book, count)["window.time_aim_s"] for count in (1, 5, 40))
    assert alone < few < full <= gang(book, 40)["window.time_high_s"]
    # 12 x 95 x 95 mm cover 0.594 of 380 x 480 mm; a whole load adds 15 %.
    assert full / alone == pytest.approx(1 + 0.15 * 0.594, abs=0.001)


def test_a_jig_holds_them_and_one_piece_needs_none(book: Book) -> None:
    assert "12 openings" in gang(book, 40)["fit.jig_words"]
    assert gang(book, 1)["fit.jig_words"] == ""
    assert gang(book, 40, "hand-held")["fit.jig_words"] == ""


# -- ovens -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("blank", "least_min", "most_min"), [("tumbler-steel-white", 5, 8), ("mug-coated-325", 8, 18)])
def test_thin_steel_in_an_oven_takes_half_of_what_ceramic_takes(
    blank: str, least_min: int, most_min: int, book: Book
) -> None:
    """Tumblers 5-8 min at 190 °C; mugs 8-10 min in some guides and 16-18 min on a maker's page."""
    item = NOTHING | {"blank": blank}
    case = pressing(book, item=item, decoration=DYE | {"placement": "all-round"}, press={"type": "mug-oven-wrap"})
    assert least_min * 60 <= case["window.time_aim_s"] <= most_min * 60
    assert case["window.time_low_s"] >= (least_min - 0.01) * 60


# -- pieces told by what they are made of ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("substrate", "kind"),
    [
        ("structured-cap", "headwear"),
        ("foam-front-cap", "headwear"),
        ("stainless-tumbler", "drinkware"),
        ("ceramic-mug", "drinkware"),
        ("knit", "garment"),
    ],
)
def test_a_cap_told_by_its_substrate_is_headwear(substrate: str, kind: str, book: Book) -> None:
    case = whole_case(book, item=NOTHING | {"substrate": substrate})
    assert case["item.kind"] == kind
    assert (case["place.main_area"] == "crown") is (kind == "headwear")


@pytest.mark.parametrize(
    "item", [{"blank": "cap-trucker-white"}, {"substrate": "structured-cap", "fibres": {"CO": 100}, "colour": "black"}]
)
def test_the_front_of_a_cap_is_its_crown(item: Document, authority: Authority, book: Book) -> None:
    shop = shop_of(book, presses=[{"id": "cap", "type": "cap-press"}])
    size = {"width": "80 mm", "height": "50 mm"}

    def verdict(placement: str) -> Any:
        decoration = {"transfer": "powder-film", "placement": placement, "size": size}
        return authority.validate(read(Order, {"item": item, "decorations": [decoration]}), shop)

    front, crown = verdict("front"), verdict("crown")
    assert front.id == crown.id
    assert (front.verdict, front.findings) == ("accepted", ())


@pytest.mark.parametrize(
    ("blank", "placement"),
    [
        ("tea-towel-linen", "face"),
        ("mouse-pad-white", "face"),
        ("beanie-cotton-grey", "front"),
        ("tumbler-steel-white", "front"),
    ],
)
def test_the_front_of_a_flat_piece_is_its_face(blank: str, placement: str, book: Book) -> None:
    """As counters write it (common practice, no source); round ware has no front."""
    case = whole_case(book, item=NOTHING | {"blank": blank}, decoration={"placement": "front"})
    assert case.order.decorations[0].placement == placement


@pytest.mark.parametrize(
    ("blank", "transfer", "known"),
    [
        ("tee-sport-white", "tagless-label-neck", True),
        ("tee-sport-white", "cut-film", False),
        ("tote-cotton-natural", "woven-label", False),
    ],
)
def test_a_garment_has_room_inside_for_a_label(blank: str, transfer: str, known: bool, book: Book) -> None:
    """Neck labels go on every garment (common practice, no source); nothing else does unless its blank says so."""
    case = decoration_case(
        book, item=NOTHING | {"blank": blank}, decoration={"transfer": transfer, "placement": "inside"}
    )
    assert case["place.known"] is known


def test_the_front_of_a_beanie_stays_its_front(book: Book) -> None:
    case = whole_case(book, item=NOTHING | {"blank": "beanie-cotton-grey"}, decoration={"placement": "front"})
    assert case.order.decorations[0].placement == "front"


def test_a_plan_for_a_whole_load_is_not_rounded_below_its_dwell(authority: Authority, book: Book) -> None:
    """A sign of 300 x 200 mm takes 60 s; the share of a load that it is adds some, and 5 s less would leave it pale."""
    shop = shop_of(book, presses=[{"id": "draw", "type": "draw", "platen": {"width": "16 in", "height": "20 in"}}])
    size = {"width": "300 mm", "height": "200 mm"}
    decoration = {"transfer": "sub-paper-hard-goods", "placement": "face", "size": size}
    order = read(Order, {"item": {"blank": "mdf-sign-coated"}, "decorations": [decoration], "quantity": 4})
    plan = authority.recommend(order, shop).plans[0]
    assert plan.verdict == "accepted"
    assert plan.decorations[0].explained.time_s >= 66


@pytest.mark.parametrize(
    ("substrate", "verdict", "needed"),
    [("ceramic-mug", "accepted", []), ("stainless-tumbler", "undetermined", ["/item/diameter"])],
)
def test_a_tumblers_width_is_asked_and_a_mugs_is_not(
    substrate: str, verdict: str, needed: list[str], authority: Authority, book: Book
) -> None:
    item = {"substrate": substrate, "coating": "dye-receptive", "colour": "white"}
    decoration = {
        "transfer": "sub-paper-hard-goods",
        "placement": "all-round",
        "size": {"width": "20 cm", "height": "8 cm"},
    }
    shop = shop_of(book, presses=[{"id": "mug", "type": "mug-press"}], stock={"products": ["sub-paper-hard-goods"]})
    answer = authority.validate(read(Order, {"item": item, "decorations": [decoration]}), shop)
    assert answer.verdict == verdict
    assert [need.pointer for need in answer.needs] == needed


def test_the_temperature_to_aim_at_is_told_as_the_display_shows_it(book: Book) -> None:
    """A press 11 K cooler than its display, to whole degrees: the display stands 11 K above the surface aimed at."""
    case = pressing(book, press={"type": "swing-away", "calibration": [{"display": "150 °C", "surface": ["139 °C"]}]})
    assert case["window.aim_display_c"] == pytest.approx(case["window.aim_c"] + 11, abs=0.51)
