"""Derived facts, each checked by hand from the order's numbers.

Outside sources: ISO 3758 (iron caps by edition), F = p x A, the articles' own arithmetic. Everything else is common
practice as the book states it, or this project's choice; no source beyond the book.
"""

from __future__ import annotations

from dataclasses import replace
from math import log2, pi
from typing import Any

import pytest
from cases import Document, decoration_case, pressing, shop_of, whole_case

from accord_rules.derive.case import Case
from accord_rules.derive.press import Calibration, line_kpa, on_print_kpa
from accord_rules.derive.transfer import interpolate
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import BlendWindow, PressAim, SizedDwell, TemperatureWindow, TimeWindow, Variant
from accord_rules.revision.names import resolve
from accord_rules.weigh.choice import choose

PANEL: Document = {
    "substrate": "aluminium-sheet",
    "fibres": "",
    "coating": "polyester-white-gloss",
    "thickness": "1 mm",
    "care": "",
}
DYE: Document = {"transfer": "dye-sublimation", "placement": "face"}


def size(width_mm: float, height_mm: float) -> Document:
    return {"size": {"width": f"{width_mm} mm", "height": f"{height_mm} mm"}}


# -- the press's calibration curve ---------------------------------------------------------------------------------


def reading(display: int, *surface: float) -> Document:
    return {"display": f"{display} °C", "surface": [f"{value} °C" for value in surface]}


BENCH: Document = {"type": "swing-away", "calibration": [reading(200, 196, 190, 190), reading(150, 147, 149, 148)]}


def curve(book: Book, press: Document) -> Calibration:
    calibration: Calibration = pressing(book, press=press)["press.calibration"]
    return calibration


def test_calibration_points_are_means_with_spread_sorted_by_display(book: Book) -> None:
    # Mean of 196, 190, 190 is 192, furthest off it 4; 147..149 lie 1 off 148, but a probe is trusted to 2 K only.
    assert curve(book, BENCH).points == ((150.0, 148.0, 2.0), (200.0, 192.0, 4.0))
    assert book.limit_values["press.probe_error"] == 2.0


@pytest.mark.parametrize(
    ("display", "surface", "spread"),
    [
        (150, 148, 2),
        (200, 192, 4),
        (160, 156.8, 2.4),
        (165, 161.2, 2.6),  # 15 K from a reading is still near
        (215, 207, 4),
        # Further off the type's 5 K count, or what reaches to the display, whichever is the wider.
        (175, 170, 5),
        (120, 118, 5),
        (220, 212, 8),
    ],
)
def test_calibration_between_points_and_beyond_the_ends(
    display: float, surface: float, spread: float, book: Book
) -> None:
    calibration = curve(book, BENCH)
    assert calibration.surface_c(display) == pytest.approx(surface)
    assert calibration.spread_k(display) == pytest.approx(spread)
    assert calibration.display_c(surface) == pytest.approx(display)


def test_far_from_its_readings_a_press_is_off_as_far_as_readings_or_type_have_it_whichever_is_more(book: Book) -> None:
    uneven = curve(book, {"type": "swing-away", "calibration": [reading(180, 170, 184, 180)]})
    even = curve(book, {"type": "swing-away", "calibration": [reading(180, 177, 178, 176)]})
    assert (book.catalogue["press_types"]["swing-away"].spread, book.limit_values["press.reading_near"]) == (5.0, 15.0)
    assert [uneven.spread_k(display) for display in (150.0, 180.0, 210.0)] == [8.0, 8.0, 8.0]
    assert [even.spread_k(display) for display in (164.9, 165.0, 195.0, 195.1)] == [5.0, 2.0, 2.0, 5.0]


def test_a_press_says_whose_its_spread_is(book: Book) -> None:
    """The numbers by hand: 230 °C is its highest setting, 50 K (90 °F) above the reading at 180 °C (356 °F)."""
    for surface, system, said in (
        (
            (177, 178, 176),
            "metric",
            "as is usual for its type: its nearest probe reading was taken at a display of 180 °C, 50 K away",
        ),
        (
            (177, 178, 176),
            "us-customary",
            "as is usual for its type: its nearest probe reading was taken at a display of 356 °F, 90 °F away",
        ),
        ((170, 184, 180), "metric", "as its nearest probe reading had it, taken at a display of 180 °C, 50 K away"),
    ):
        press = {"type": "swing-away", "display_most": "230 °C", "calibration": [reading(180, *surface)]}
        case = pressing(book, shop_of(book, unit_system=system), press)
        assert (case["press.top_probed"], case["press.spread_source"]) == (False, said)
    near = pressing(book, press={"type": "swing-away", "display_most": "195 °C", "calibration": [reading(180, 177)]})
    assert (near["press.top_probed"], near["press.spread_source"]) == (True, "as its own probe readings have it")
    never = pressing(book, press={"type": "swing-away"})
    assert (never["press.top_probed"], never["press.spread_source"]) == (False, "as is usual for its type")


def test_without_readings_the_types_usual_loss_holds(book: Book) -> None:
    calibration = curve(book, {"type": "hand-held"})
    assert (calibration.measured, calibration.surface_c(200.0), calibration.spread_k(200.0)) == (False, 189.0, 7.0)
    assert calibration.display_c(189.0) == 200.0


def test_reach_is_the_highest_setting_less_loss_and_surely_less_spread(book: Book) -> None:
    case = pressing(book, press={"type": "hand-held", "display_most": "210 °C"})
    assert (case["press.reach_c"], case["press.reach_sure_c"]) == (199.0, 192.0)


# -- fit under the platen ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("print_mm", "count"),
    [
        ((380, 480), 1),  # 400 x 500 less 10 mm on each edge
        ((480, 380), 1),  # turned
        ((381, 480), 2),
        ((381, 481), 2),  # turned: 380 + 370 covers 481
        ((481, 481), 4),
        ((750, 480), 2),  # 380 + 370: the overlap of 10 mm taken off
        ((751, 480), 3),
        ((950, 380), 2),  # only turned: 480 + 470
        ((951, 380), 3),
        ((1120, 480), 3),  # 380 + 370 + 370
    ],
)
def test_pressings_with_rotation_margin_and_overlap(print_mm: tuple[int, int], count: int, book: Book) -> None:
    case = pressing(book, decoration=size(*print_mm), press={"type": "swing-away"})
    assert (case["press.usable"].width, case["press.usable"].height) == (380.0, 480.0)
    assert book.limit_values["press.tile_overlap"] == 10.0
    assert case["fit.pressings"] == count
    assert case["fit.one_piece"] is (count == 1)


def test_opening_is_the_shops_own_or_the_types(book: Book) -> None:
    assert pressing(book, press={"type": "clamshell"})["press.opening_mm"] == 25.0
    assert pressing(book, press={"type": "clamshell", "opening": "1 in"})["press.opening_mm"] == 25.4


def test_the_stack_is_both_layers_of_a_garment_carrier_print_and_sheets(book: Book) -> None:
    case = pressing(book, item={"thickness": "0.6 mm"})
    needed, film = case["transfer.needed"], book.catalogue["transfers"]["cut-film"]
    sheets = [book.catalogue["consumables"][names[0]].thickness for names in (needed.cover, needed.pad) if names]
    assert case["fit.stack_mm"] == pytest.approx(2 * 0.6 + film.thickness + sum(sheets))


# -- pressure ------------------------------------------------------------------------------------------------------

CYLINDER: Document = {"bore": "100 mm", "count": 2, "line_least": "150 kPa", "line_most": "600 kPa"}
PNEUMATIC: Document = {"type": "pneumatic-single", "cylinder": CYLINDER}


def test_gauge_reading_to_pressure_on_cloth_and_back(book: Book) -> None:
    """F = p x A: two 100 mm bores at 300 kPa are 4712 N, over 0.4 x 0.5 m of platen 23.56 kPa."""
    case = pressing(book, press=PNEUMATIC)
    force_n = 300_000 * 2 * pi / 4 * 0.1**2
    assert force_n == pytest.approx(4712.39, abs=0.01)
    cylinder, contact_m2 = case.press.cylinder, case["fit.contact_m2"]
    assert cylinder is not None
    assert on_print_kpa(cylinder, 300.0, contact_m2) == pytest.approx(force_n / 0.2 / 1000)
    assert line_kpa(cylinder, force_n / 0.2 / 1000, contact_m2) == pytest.approx(300.0, abs=1e-4)


@pytest.mark.parametrize(("on_print", "gauge"), [(0.5, 150.0), (500.0, 600.0)])
def test_the_gauge_is_held_within_what_the_line_gives(on_print: float, gauge: float, book: Book) -> None:
    case = pressing(book, press=PNEUMATIC)
    assert case.press.cylinder is not None
    assert line_kpa(case.press.cylinder, on_print, case["fit.contact_m2"]) == gauge


def test_without_a_cylinder_a_gauge_reading_says_nothing(book: Book) -> None:
    case = pressing(book, decoration={"settings": {"pressure": "40 psi"}})
    assert case["set.pressure_kpa"] is None
    assert case["set.pressure_unreadable"] is True
    assert case["set.pressure_unreadable"] is True
    assert (
        pressing(book, press=PNEUMATIC, decoration={"settings": {"pressure": "40 psi"}})["set.pressure_unreadable"]
        is False
    )


def test_a_stiff_small_piece_bears_all_the_force(book: Book) -> None:
    case = pressing(book, item=PANEL, decoration=DYE | size(100, 150))
    assert case["fit.contact_m2"] == pytest.approx(0.1 * 0.15)
    larger = pressing(book, item=PANEL, decoration=DYE | size(600, 150))
    assert larger["fit.contact_m2"] == pytest.approx(0.4 * 0.15), "no further than the platen"
    cloth = pressing(book, decoration=size(100, 150))
    assert cloth["fit.contact_m2"] == pytest.approx(0.4 * 0.5)


def test_the_most_pressure_on_the_print(book: Book) -> None:
    hand = book.catalogue["press_types"]["hand-held"]
    facts = pressing(book, press={"type": "hand-held"})
    assert facts["fit.pressure_most_kpa"] == pytest.approx(hand.hand_force / (0.254 * 0.254) / 1000, abs=1e-5)
    assert pressing(book, press={"type": "clamshell"})["fit.pressure_most_kpa"] == 30.8, "firm, where firm ends"
    assert pressing(book, press=PNEUMATIC)["fit.pressure_most_kpa"] == pytest.approx(
        600 * 2 * pi / 4 * 0.1**2 / 0.2, abs=1e-5
    )


@pytest.mark.parametrize(
    ("press", "word", "kpa"),
    [
        ({"type": "clamshell"}, "medium", 15.45),  # between 11.6 and 19.3
        ({"type": "hand-held"}, "light", None),  # one person leaning does not reach medium
    ],
)
def test_the_word_chosen_is_the_aim_or_what_the_press_reaches(
    press: Document, word: str, kpa: float | None, book: Book
) -> None:
    transfer = book.catalogue["transfers"]["dye-sublimation"]
    assert (transfer.pressure.least, transfer.pressure.aim) == ("light", "medium")
    chosen = choose(
        pressing(book, press=press, item={"fibres": {"PES": 100}}, decoration={"transfer": "dye-sublimation"})
    )
    assert chosen is not None
    assert chosen.pressure == word
    if kpa is not None:
        assert chosen.pressure_kpa == pytest.approx(kpa)


def test_a_press_with_a_gauge_gets_a_reading(book: Book) -> None:
    chosen = choose(pressing(book, press=PNEUMATIC))
    assert chosen is not None
    assert isinstance(chosen.pressure, float)
    assert chosen.pressure == round(chosen.pressure), "whole kPa in a metric shop"
    american = choose(pressing(book, shop=shop_of(book, unit_system="us-customary"), press=PNEUMATIC))
    assert american is not None
    assert isinstance(american.pressure, float)
    assert american.pressure / units.PSI_KPA == pytest.approx(round(american.pressure / units.PSI_KPA))


# -- electricity -----------------------------------------------------------------------------------------------------


def test_the_circuits_share_and_mains(book: Book) -> None:
    circuit = {"rating": "15 A", "voltage": "120 V", "other_load": "90 W"}
    case = pressing(book, press={"type": "clamshell", "power": "1350 W", "voltage": "230 V", "circuit": circuit})
    assert case["press.circuit_share"] == pytest.approx(100 * 1440 / 1800)  # 80 %
    assert case["press.mains_share"] == pytest.approx(100 * 120 / 230)
    assert case["press.voltage_mismatch"] is True
    bare = pressing(book, press={"type": "clamshell"})
    assert (bare["press.circuit_share"], bare["press.voltage_mismatch"]) == (None, False)


@pytest.mark.parametrize(
    ("nameplate", "mismatch"), [(230, False), (220, False), (207, True), (240, False), (265, True)]
)
def test_mains_may_vary_by_ten_percent(nameplate: int, mismatch: bool, book: Book) -> None:
    circuit = {"rating": "16 A", "voltage": "230 V"}
    press = {"type": "clamshell", "voltage": f"{nameplate} V", "circuit": circuit}
    assert pressing(book, press=press)["press.voltage_mismatch"] is mismatch


# -- what binds ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("item", "kind", "value"),
    [
        ({"fibres": {"CO": 100}}, "fibre", 220.0),
        ({"fibres": {"CO": 97, "PP": 3}}, "fibre", None),
        ({"fibres": {"CO": 97.5, "PP": 2.5}}, "fibre", 220.0),  # under 3 % it does not count
        (PANEL | {"coating": "none"}, "substrate", None),
        ({"coating": "wax"}, "coating", None),
        ({"finishes": ["ptfe-membrane"]}, "finish", None),
        ({"already": ["raised-film"]}, "earlier-decoration", None),
    ],
    ids=["cotton", "3 % polypropylene", "2.5 % polypropylene", "panel", "wax", "membrane", "raised film"],
)
def test_what_sets_the_ceiling(item: Document, kind: str, value: float | None, book: Book) -> None:
    case = whole_case(book, item=item)
    ceilings = case["item.ceilings"]
    assert [ceiling.value_c for ceiling in ceilings] == sorted(ceiling.value_c for ceiling in ceilings)
    assert case["item.ceiling_kind"] == kind
    assert case["item.ceiling_c"] == (value or ceilings[0].value_c)
    assert f"{round(case['item.ceiling_c'])} °C" in case["item.ceiling_by"]


def test_the_care_label_is_no_ceiling(book: Book) -> None:
    with_label, without = (
        whole_case(book, item={"care": care})["item.ceilings"] for care in ({"iron": 1, "edition": 2012}, "")
    )
    assert with_label == without


@pytest.mark.parametrize(
    ("care", "cap"),
    [
        ({"iron": 1, "edition": 2005}, 110.0),
        ({"iron": 2, "edition": 2012}, 150.0),
        ({"iron": 3, "edition": 2012}, 200.0),
        ({"iron": 1, "edition": 2023}, 120.0),
        ({"iron": 2, "edition": 2023}, 160.0),
        ({"iron": 3, "edition": 2023}, 210.0),
        ({"iron": 2, "edition": 2022}, 150.0),
        ({"iron": 2}, 150.0),  # a label does not tell its edition: the cautious set
        ({"iron": 0, "edition": 2023}, None),
    ],
)
def test_iron_caps_by_edition(care: Document, cap: float | None, book: Book) -> None:
    """ISO 3758: 110/150/200 °C up to the edition of 2012, 120/160/210 °C since 2023."""
    case = whole_case(book, item={"care": {"edition": ""} | care})
    assert case["item.care_cap_c"] == cap
    assert case["item.do_not_iron"] is (care["iron"] == 0)
    assert case["item.care_edition_known"] is ("edition" in care)
    assert whole_case(book, item={"care": ""})["item.care_cap_c"] is None


def test_settings_keep_under_the_label_where_they_can(book: Book) -> None:
    """Cut film wants some 150 °C; two dots of 2012 are 150 °C, of 2023 160 °C."""
    tight = pressing(book, item={"care": {"iron": 2, "edition": 2012}})
    assert tight["set.surface_c"] <= 150.0
    assert tight["window.low_c"] <= tight["set.surface_low_c"]


# -- dye that migrates -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("item", "decoration", "migrates"),
    [
        ({"fibres": {"PES": 100}, "colour": "red", "dye": "disperse"}, {"artwork": {"palette": ["white"]}}, True),
        ({"fibres": {"PES": 100}, "colour": "red", "dye": ""}, {"artwork": {"palette": ["white"]}}, True),
        ({"fibres": {"PES": 100}, "colour": "white", "dye": ""}, {"artwork": {"palette": ["white"]}}, False),
        ({"fibres": {"PES": 100}, "colour": "red", "dye": "solution"}, {"artwork": {"palette": ["white"]}}, False),
        ({"fibres": {"PES": 19, "CO": 81}, "colour": "red", "dye": ""}, {"artwork": {"palette": ["white"]}}, False),
        ({"fibres": {"PES": 20, "CO": 80}, "colour": "red", "dye": ""}, {"artwork": {"palette": ["white"]}}, True),
        ({"fibres": {"PES": 100}, "colour": "red", "dye": ""}, {"artwork": {"palette": ["black"]}}, False),
        ({"fibres": {"PES": 100}, "colour": "red", "dye": ""}, {"artwork": {"palette": ""}}, True),
        (
            {"fibres": {"PES": 100}, "colour": "red", "dye": ""},
            {"transfer": "film-blocker-white", "artwork": {"palette": ["white"]}},
            False,
        ),
        (
            {"fibres": {"PES": 100}, "colour": "red", "dye": ""},
            {"transfer": "dye-sublimation", "artwork": {"palette": ["white"]}},
            False,
        ),
        ({"fibres": {"PES": 100}, "colour": "", "dye": ""}, {"artwork": {"palette": ["white"]}}, None),
    ],
    ids=[
        "dyed",
        "usually dyed",
        "white ground",
        "solution-dyed",
        "19 % polyester",
        "20 % polyester",
        "dark print",
        "print's colour unknown: taken as light",
        "blocker",
        "dye into dye",
        "ground unknown",
    ],
)
def test_dye_migrates(item: Document, decoration: Document, migrates: bool | None, book: Book) -> None:
    case = decoration_case(book, item=item, decoration=decoration)
    assert case["transfer.migrates"] is migrates


def test_migration_bounds_the_window(book: Book) -> None:
    """155 °C for deep polyester of unknown dye and 15 s; cut film is pressed for 12 s: 7 K x log2(15/12) more."""
    item = {"fibres": {"PES": 100}, "colour": "red", "dye": "disperse"}
    case = pressing(book, item=item, decoration={"artwork": {"palette": ["white"]}})
    assert case["window.uppers"][0].what == "dye-migration"
    assert case["set.time_s"] == 12.0
    assert case["window.high_c"] == pytest.approx(155 + 7 * log2(15 / 12))


@pytest.mark.parametrize(
    ("colour", "white"),
    [
        ("#FFFFFF", True),
        ("#F4F4F0", True),
        ("#EBEBEB", True),
        ("#EAEAEA", False),
        ("ivory", True),
        ("#FFFFC8", False),
        ("", None),
    ],
)
def test_ground_white_needs_lightness_and_little_chroma(colour: str, white: bool | None, book: Book) -> None:
    """L* 93 lies between #EAEAEA (92.8) and #EBEBEB (93.2); #FFFFC8 has L* 98.9, but a chroma of 28."""
    assert whole_case(book, item={"colour": colour})["item.ground_white"] is white


# -- shape, ages -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["woven", "aluminium-sheet", "ceramic-mug", "ceramic-tile"])
def test_shape_by_substrate(name: str, book: Book) -> None:
    entry = book.catalogue["substrates"][name]
    shape = whole_case(book, item={"substrate": name})["item.shape"]
    assert shape == ("mug" if name == "ceramic-mug" else "flat")
    assert entry.curved is (shape != "flat")


def test_curved_cloth_is_for_a_cap_press(book: Book) -> None:
    caps = [name for name, s in book.catalogue["substrates"].items() if s.curved and s.family == "cloth"]
    assert caps
    for name in caps:
        assert whole_case(book, item={"substrate": name})["item.shape"] == "cap"


@pytest.mark.parametrize(
    ("age", "child", "under_three"),
    [(0, True, True), (2.9, True, True), (3, True, False), (12, True, False), (13, False, False)],
)
def test_ages(age: float, child: bool, under_three: bool, book: Book) -> None:
    """16 CFR 1200.2 (children's product: 12 years or younger) and 1501 (small parts: under 3)."""
    case = whole_case(book, use={"age_from": age})
    assert (case["use.child"], case["use.under_three"]) == (child, under_three)


def test_a_childrens_blank_keeps_its_age(book: Book) -> None:
    name, blank = next(
        (n, b) for n, b in book.catalogue["blanks"].items() if b.age_from is not None and b.age_from < 12
    )
    item = {"blank": name}
    case = whole_case(book, item=item, use={"age_from": 18})
    assert case["use.age_from"] == blank.age_from
    assert case["use.age_contradicts_blank"] is True


@pytest.mark.parametrize(
    ("blank", "said", "contradicts"),
    [
        ("tee-kids-white", 5, False),
        ("tee-kids-white", 12, False),
        ("tee-kids-white", 13, True),
        ("bodysuit-baby-white", 2, False),
        ("bodysuit-baby-white", 3, True),
    ],
)
def test_an_age_contradicts_a_blank_where_the_law_sees_another_user(
    blank: str, said: float, contradicts: bool, book: Book
) -> None:
    """The steps of 16 CFR 1501 (under 3) and 1200.2 (12 or younger); a tee of kids' sizes is for every child."""
    case = whole_case(book, item={"blank": blank}, use={"age_from": said})
    assert case["use.age_contradicts_blank"] is contradicts


# -- what the transfer needs here --------------------------------------------------------------------------------------


def altered(book: Book, **changes: Any) -> Book:
    """The book with the cut film changed."""
    transfers = dict(book.catalogue["transfers"])
    transfers["cut-film"] = replace(transfers["cut-film"], **changes)
    return replace(book, catalogue=dict(book.catalogue) | {"transfers": transfers})


HOT = TemperatureWindow(160.0, 165.0, 170.0)
LONG = TimeWindow(20.0, 25.0, 60.0)


def test_a_substrates_own_variant_beats_its_familys(book: Book) -> None:
    family, own = Variant(temperature=HOT), Variant(time=LONG)
    both = decoration_case(altered(book, on={"cloth": family, "woven": own}))["transfer.needed"]
    general = book.catalogue["transfers"]["cut-film"]
    assert (both.temperature, both.time) == (general.temperature, LONG), "not mixed with the family's"
    only = decoration_case(altered(book, on={"cloth": family}))["transfer.needed"]
    assert (only.temperature, only.time) == (HOT, general.time)


BLENDS = (
    BlendWindow(45.0, TemperatureWindow(130.0, 140.0, 165.0), ()),
    BlendWindow(85.0, TemperatureWindow(120.0, 130.0, 165.0), ()),
)


@pytest.mark.parametrize(("polyester", "aim_c"), [(0, 148), (44, 148), (45, 140), (84, 140), (85, 130), (100, 130)])
def test_cloth_has_the_window_of_its_share_of_polyester(polyester: int, aim_c: float, book: Book) -> None:
    item = {
        "fibres": {"PES": polyester, "CO": 100 - polyester}
        if 0 < polyester < 100
        else {"PES" if polyester else "CO": 100}
    }
    changed = altered(book, by_polyester=BLENDS)
    assert decoration_case(changed, item=item)["transfer.aim_c"] == aim_c
    own = altered(book, by_polyester=BLENDS, on={"cloth": Variant(temperature=HOT)})
    assert decoration_case(own, item=item)["transfer.aim_c"] == HOT.aim
    # Where an adhesive flows does not hang on the cloth.
    assert decoration_case(changed, item=item)["heat.need_c"] == 142.0 - book.limit_values["heat.below_least"]


def test_a_product_with_a_temperature_of_its_own_has_it_on_every_blend(book: Book) -> None:
    products = book.catalogue["products"]
    assert (
        products["powder-film-declared"].by_polyester == book.catalogue["transfers"]["powder-film"].by_polyester != ()
    )
    assert products["powder-film-low-heat"].by_polyester == ()


def test_a_type_of_press_may_have_aims_of_its_own(book: Book) -> None:
    changed = altered(book, by_press={"hand-held": PressAim(151.0, (), 15.0)}, on={"felt": Variant(time=LONG)})
    hand = pressing(changed, press={"type": "hand-held"})
    extra_s = book.catalogue["press_types"]["hand-held"].dwell_extra.aim
    assert (hand["window.aim_c"], hand["window.time_aim_s"]) == (151.0, 15.0 + extra_s)
    assert pressing(changed, press={"type": "clamshell"})["window.aim_c"] == 148.0
    # A substrate's own dwell counts before the press's; a sheet counts before both.
    felt = pressing(changed, item={"substrate": "felt"}, press={"type": "hand-held"})
    assert (felt["window.aim_c"], felt["window.time_aim_s"]) == (151.0, LONG.aim + extra_s)
    sheet = {"sheet": {"temperature": {"least": "150 °C", "most": "156 °C"}, "read_at": "surface"}}
    assert pressing(changed, decoration=sheet, press={"type": "hand-held"})["window.aim_c"] == 153.0


def test_what_heat_harms_early_is_pressed_at_the_low_end(book: Book) -> None:
    """Polypropylene crinkles at 100-119 °C and wool turns harsh under any dry heat (fibres.toml has the sources)."""
    low_heat = {"transfer": "cut-film-low-temperature"}
    wool = pressing(book, item={"fibres": {"WO": 100}}, decoration=low_heat, press={"type": "clamshell"})
    assert (wool["item.keep_cool"], wool["window.aim_c"]) == (True, 112.0 + 5.0)
    # Below the 120 °C at which it glazes there is no room for the press's spread on both sides: as cool as holds.
    bag = pressing(
        book, item={"substrate": "felt", "fibres": {"PP": 100}}, decoration=low_heat, press={"type": "clamshell"}
    )
    assert (bag["window.low_end_c"], bag["window.aim_c"]) == (112.0, 112.0)
    assert pressing(book, decoration=low_heat, press={"type": "clamshell"})["window.aim_c"] == 125.0
    dye = pressing(book, item={"fibres": {"WO": 50, "PES": 50}}, decoration={"transfer": "dye-sublimation"})
    assert dye["transfer.keep_cool"] is False, "dye would only pale"


def test_settings_stay_where_the_pad_at_hand_bears_them(book: Book) -> None:
    """A foam pillow is sold for 200 °C (common practice, from memory); a clamshell is off by 5 K."""
    item = {"fibres": {"PES": 100}, "features": ["zip"]}
    dye = {"transfer": "dye-sublimation"}
    pillow = {"products": ["film-soft-matte"], "consumables": ["foam-pillow"]}
    bench = {"type": "clamshell"}
    padded = pressing(book, item=item, decoration=dye, press=bench, shop=shop_of(book, stock=pillow))
    assert (padded["window.aim_c"], padded["set.padded"]) == (195.0, True)
    bare = pressing(
        book, item=item, decoration=dye, press=bench, shop=shop_of(book, stock=pillow | {"consumables": []})
    )
    assert bare["window.aim_c"] == 197.0


@pytest.mark.parametrize(("fibre", "takes"), [("PP", False), ("polyethylene", False), ("WO", True), ("PES", True)])
def test_felt_takes_up_moisture_as_its_fibre_does(fibre: str, takes: bool, book: Book) -> None:
    """Regain at 65 % humidity: none for olefins, 14-16 % for wool, 0.4 % for polyester (textile handbooks)."""
    case = pressing(book, item={"substrate": "felt", "fibres": {fibre: 100}})
    assert case["item.takes_moisture"] is takes
    assert bool(case["set.pre_press_s"]) is takes


@pytest.mark.parametrize(("longer_mm", "aim_s"), [(50, 20), (100, 20), (200, 30), (300, 40), (350, 50), (900, 60)])
def test_dwell_by_size_is_interpolated_and_held_at_the_ends(longer_mm: int, aim_s: float, book: Book) -> None:
    points = (SizedDwell(100.0, 20.0), SizedDwell(300.0, 40.0), SizedDwell(400.0, 60.0))
    changed = altered(book, on={"cloth": Variant(time=LONG, aim_by_size=points)})
    assert decoration_case(changed, decoration=size(40, longer_mm))["transfer.time_aim_s"] == aim_s


def test_dwell_by_size_stays_inside_the_window(book: Book) -> None:
    changed = altered(book, on={"cloth": Variant(time=LONG, aim_by_size=(SizedDwell(100.0, 90.0),))})
    assert decoration_case(changed)["transfer.time_aim_s"] == LONG.most


def test_interpolation() -> None:
    points = ((0.0, 1.0), (10.0, 2.0))
    assert [interpolate(points, x) for x in (-5.0, 0.0, 2.5, 10.0, 99.0)] == [1.0, 1.0, 1.25, 2.0, 2.0]


# -- settings chosen -------------------------------------------------------------------------------------------------


def cover_for(book: Book, stock: list[str], cover: list[str]) -> str | None:
    shop = shop_of(book, stock={"products": ["film-soft-matte"], "consumables": stock})
    chosen = choose(pressing(altered(book, cover=tuple(cover)), shop=shop))
    assert chosen is not None
    return chosen.cover


def test_the_first_suitable_cover_in_stock_is_taken(book: Book) -> None:
    assert (
        cover_for(book, ["plain-paper", "ptfe-sheet"], ["silicone-paper", "ptfe-sheet", "plain-paper"]) == "ptfe-sheet"
    )
    assert cover_for(book, ["plain-paper"], ["silicone-paper", "ptfe-sheet"]) is None


def test_a_cover_that_does_not_bear_the_heat_is_passed_over(book: Book) -> None:
    consumables = book.catalogue["consumables"]
    weak = replace(consumables["silicone-paper"], limit=140.0)
    changed = replace(
        book, catalogue=dict(book.catalogue) | {"consumables": dict(consumables) | {"silicone-paper": weak}}
    )
    stock, cover = ["silicone-paper", "ptfe-sheet"], ["silicone-paper", "ptfe-sheet"]
    assert cover_for(book, stock, cover) == "silicone-paper"
    assert cover_for(changed, stock, cover) == "ptfe-sheet"


def test_moist_ground_is_pre_pressed(book: Book) -> None:
    moist, dry = pressing(book), pressing(book, item=PANEL, decoration=DYE)
    # 7.5 % of 0.6 mm at 500 kg/m³ are 22.5 g/m²; at 6 g/m² a second they are gone after 3.75 s.
    assert (moist["item.takes_moisture"], moist["set.pre_press_s"]) == (True, 4.0)
    assert (dry["item.takes_moisture"], dry["set.pre_press_s"]) == (False, 0.0)


# Common practice, no source: a tee 3-5 s, sweatshirt and canvas 5-10 s, board longer, what takes up no water none.
@pytest.mark.parametrize(
    ("blank", "least_s", "most_s"),
    [
        ("tee-heavy-white", 3, 5),
        ("tee-sport-white", 3, 5),
        ("sweatshirt-cotton-grey", 5, 10),
        ("tote-canvas-black", 5, 10),
        ("hardboard-coaster", 15, 60),
        ("mdf-sign-coated", 15, 60),
        ("metal-panel-100x150", 0, 0),
        ("tile-coated-108", 0, 0),
        ("notebook-leatherette-grey", 0, 0),
    ],
)
def test_pieces_are_pre_pressed_by_what_they_are(blank: str, least_s: float, most_s: float, book: Book) -> None:
    shop = shop_of(book)
    order = resolve(read(Order, {"item": {"blank": blank}, "decorations": [{}]}), book, shop)
    pre_press_s = Case(book, shop, order)["item.pre_press_s"]
    assert least_s <= pre_press_s <= most_s
    assert pre_press_s == int(pre_press_s)


def test_a_pad_raises_the_print_above_what_stands_up(book: Book) -> None:
    assert pressing(book)["set.pad"] == "none"
    case = pressing(book, item={"features": ["zip"]})
    assert case.entry("consumables", case["set.pad"]).kind == "pad"
    bare = shop_of(book, stock={"products": ["film-soft-matte"], "consumables": ["ptfe-sheet"]})
    assert pressing(book, shop=bare, item={"features": ["zip"]})["set.pad"] == "none"
    assert pressing(book, item={"features": ["electronics"]})["set.pad"] == "none", "nothing that stands up"


def test_fibres_of_a_mixture_too_fine_to_count_all_count(book: Book) -> None:
    """A revision may count fibres from a share that no fibre of a mixture has."""
    values = dict(book.limit_values) | {"fibres.counted_from": 60.0}
    case = whole_case(replace(book, limit_values=values), item={"fibres": {"CO": 50, "PES": 50}})
    limits = [book.catalogue["fibres"][code].harmful_from for code in ("CO", "PES")]
    assert case["item.fibre_limit_c"] == min(limits)
