"""The book's windows against what decorators and suppliers' instruction pages set on bench presses.

Every figure is common practice, no source, or a supplier's figure seen quoted by a guide; temperatures are displays,
whose surface lies 3 K lower. Both ends have to lie in the window, and the aim between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from cases import pressing, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict

Document = Mapping[str, Any]
BENCH_LOSS_K = 3.0
NOTHING = dict.fromkeys(("substrate", "fibres", "coating", "mass_per_area", "thickness", "care", "colour"), "")


def window(book: Book, transfer: str, on: str) -> Any:
    coated = {"hardboard", "mdf", "greyboard", "frp-panel", "acrylic-coated"}
    item = NOTHING | {
        "substrate": on,
        "colour": "white",
        "coating": "polyester-white-gloss" if on in coated else "none",
    }
    if on not in coated:
        item |= {"fibres": {"PES": 100} if transfer == "dye-sublimation" else {"CO": 100}}
    shape = "cap-press" if "cap" in on else "swing-away"
    return pressing(book, item=item, decoration={"transfer": transfer, "placement": "face"}, press={"type": shape})


@pytest.mark.parametrize(
    ("transfer", "on", "display_c", "dwell_s"),
    [
        ("cut-film", "knit", (150, 160), (10, 20)),
        ("silicone-transfer", "knit", (140, 160), (8, 15)),
        ("foil-over-adhesive", "knit", (130, 150), (8, 15)),
        ("foil-gold-screen", "knit", (160, 180), (8, 15)),
        ("heat-seal-patch", "knit", (155, 170), (20, 45)),
        ("dye-sublimation", "knit", (190, 205), (35, 70)),
        ("hot-fix-stones", "knit", (160, 171), (10, 20)),
        ("powder-film", "foam-front-cap", (140, 150), (8, 12)),
        ("cut-film", "foam-front-cap", (140, 150), (8, 12)),
        ("powder-film", "structured-cap", (150, 152), (10, 12)),
        ("raised-film", "knit", (145, 165), (8, 15)),
        ("dye-sublimation", "frp-panel", (190, 200), (50, 60)),
        ("dye-sublimation", "acrylic-coated", (180, 195), (50, 120)),
        ("dye-sublimation", "greyboard", (190, 200), (45, 60)),
        ("dye-sublimation", "hardboard", (185, 200), (60, 90)),
        ("dye-sublimation", "mdf", (200, 205), (60, 90)),
        ("plastisol-cold-peel", "knit", (170, 180), (10, 15)),
        ("plastisol-athletic", "knit", (165, 180), (4, 12)),
        ("plastisol-hot-split", "knit", (180, 190), (8, 12)),
    ],
)
def test_what_practice_sets_lies_in_the_window_and_the_aim_in_what_practice_sets(
    transfer: str, on: str, display_c: tuple[float, float], dwell_s: tuple[float, float], book: Book
) -> None:
    case = window(book, transfer, on)
    low, high = (display - BENCH_LOSS_K for display in display_c)
    assert case["transfer.least_c"] <= low
    assert high <= case["transfer.most_c"]
    assert low <= case["transfer.aim_c"] <= high
    assert case["transfer.needed"].time.least <= dwell_s[0]
    assert dwell_s[1] <= case["transfer.needed"].time.most
    assert dwell_s[0] <= case["transfer.time_aim_s"] <= dwell_s[1]


@pytest.mark.parametrize(
    ("family", "usual", "also"),
    [
        ("hot-fix-stones", "cold", ()),
        ("glitter-film", "warm", ("hot", "cold")),
        ("stretch-film", "hot", ("warm", "cold")),
        ("printable-film", "warm", ("hot", "cold")),
        ("blocker-film", "cold", ("hot",)),
    ],
)
def test_peels_of_families_are_the_usual_ones(family: str, usual: str, also: tuple[str, ...], book: Book) -> None:
    first, *others = book.catalogue["transfers"][family].peel
    assert first == usual
    assert set(others) == set(also)


def test_no_family_claims_to_hold_on_repellent_finishes(book: Book) -> None:
    assert not [name for name, family in book.catalogue["transfers"].items() if family.finish_rated]
    assert [name for name, product in book.catalogue["products"].items() if product.finish_rated]


# -- a sample before a block -----------------------------------------------------------------------------------------


def verdict(
    authority: Authority, item: Document, transfer: str, temperature: str | None = None, evidence: tuple[str, ...] = ()
) -> Verdict:
    readings = [{"display": f"{d} °C", "surface": [f"{d} °C"]} for d in (100, 150, 205)]
    stock = {"products": list(authority.book.catalogue["products"])}
    shop = shop_of(authority.book, stock=stock, presses=[{"id": "even", "type": "swing-away", "calibration": readings}])
    settings = {} if temperature is None else {"settings": {"temperature": temperature}}
    artwork = {"palette": ["#202020"], "printed_by": "supplier"}
    decoration = {"transfer": transfer, "artwork": artwork, **settings}
    document = {"item": item, "decorations": [decoration], "evidence": list(evidence)}
    return authority.validate(read(Order, document), shop)


STRETCH = {"substrate": "sports-knit", "fibres": {"PES": 92, "EL": 8}, "colour": "white", "care": "none"}
BLEND = {"substrate": "knit", "fibres": {"CO": 50, "CV": 50}, "colour": "white", "care": "none"}
TOWEL = {"blank": "towel-microfibre-blend-white"}
BAG = {"blank": "tote-nonwoven-green"}


@pytest.mark.parametrize(
    ("item", "transfer", "temperature", "level", "rule"),
    [
        # 8 % elastane: dyed at 190 °C every day, at 190-200 °C after a sample, above 205 °C never.
        (STRETCH, "dye-sublimation", "190 °C", None, "elastane-needs-sample"),
        (STRETCH, "dye-sublimation", "196 °C", "requires", "elastane-needs-sample"),
        (STRETCH, "dye-sublimation", "210 °C", "blocks", "above-fibre-limit"),
        # Viscose: 15 s up to 190 °C with a caution.
        (BLEND, "plastisol-hot-split", "175 °C", None, "viscose-weakens"),
        (BLEND, "plastisol-hot-split", "182 °C", "cautions", "viscose-weakens"),
        (BLEND, "plastisol-hot-split", "193 °C", "blocks", "above-fibre-limit"),
        # A fifth of nylon in a microfibre towel.
        (TOWEL, "dye-sublimation", None, "requires", "dye-on-nylon-blend"),
        # Polypropylene: low heat after a test, from 135 °C never.
        (BAG, "film-low-heat-soft", "120 °C", "requires", "olefin-needs-sample"),
        (BAG, "film-low-heat-soft", "137 °C", "blocks", "above-fibre-limit"),
        (BAG, "film-soft-matte", None, "blocks", "no-temperature-fits"),
    ],
)
def test_heat_shy_cloth_is_tried_before_it_is_refused(
    item: Document, transfer: str, temperature: str | None, level: str | None, rule: str, authority: Authority
) -> None:
    levels = {finding.rule: finding.level for finding in verdict(authority, item, transfer, temperature).findings}
    assert levels.get(rule) == level
    if level == "requires":
        sampled = verdict(authority, item, transfer, temperature, ("sample-test",))
        assert rule not in {finding.rule for finding in sampled.findings}


@pytest.mark.parametrize("item", [STRETCH, BLEND])
def test_settings_left_open_stay_below_what_needs_a_sample(item: Document, authority: Authority) -> None:
    transfer = "dye-sublimation" if item is STRETCH else "plastisol-hot-split"
    assert "sample-test" not in str([finding.fix for finding in verdict(authority, item, transfer).findings])
    assert verdict(authority, item, transfer).verdict == "accepted"


def test_bare_acrylic_stays_refused_and_coated_acrylic_is_dyed(authority: Authority) -> None:
    bare = verdict(authority, {"blank": "keyring-acrylic-clear"}, "dye-sublimation")
    coated = verdict(authority, {"blank": "ornament-acrylic-coated"}, "dye-sublimation")
    assert (bare.verdict, coated.verdict) == ("rejected", "conditional")
    assert {finding.rule for finding in coated.findings} == {"protective-film-on", "cool-plastic-panel-flat"}


def test_hardboard_at_200_c_for_a_minute_is_a_standard_setting(authority: Authority) -> None:
    document = {
        "item": {"blank": "hardboard-coaster"},
        "decorations": [{"transfer": "dye-sublimation", "settings": {"temperature": "200 °C", "time": "60 s"}}],
    }
    answer = authority.validate(read(Order, document), shop_of(authority.book))
    assert answer.verdict == "accepted"
    assert {finding.level for finding in answer.findings} <= {"notes"}


@pytest.mark.parametrize(
    ("substrate", "press", "slowly"),
    [
        ("ceramic-mug", "mug-press", False),
        ("ceramic-tile", "swing-away", True),
        ("slate", "swing-away", True),
        ("glass-panel", "swing-away", True),
    ],
)
def test_mugs_may_be_quenched_and_tiles_slate_and_glass_never(
    substrate: str, press: str, slowly: bool, authority: Authority
) -> None:
    item = {"substrate": substrate, "coating": "dye-receptive", "colour": "white"}
    size = {"width": "80 mm", "height": "80 mm"}
    decoration = {"transfer": "dye-sublimation", "placement": "front", "size": size, "artwork": {"mirrored": True}}
    document = {"item": item, "decorations": [decoration], "press": {"type": press}}
    answer = authority.validate(read(Order, document), shop_of(authority.book))
    assert ("cool-brittle-goods-slowly" in {finding.rule for finding in answer.findings}) is slowly


def test_dye_toner_dyes_and_ordinary_toner_does_not(authority: Authority) -> None:
    def answer(printer: str) -> Verdict:
        decoration = {"transfer": "sub-paper-fast-dry", "artwork": {"printed_by": printer}}
        document = {"item": {"blank": "tee-sport-white"}, "decorations": [decoration]}
        return authority.validate(read(Order, document), shop_of(authority.book))

    assert answer("laser-sublimation").verdict == "accepted"
    assert "dye-from-laser-printer" in {finding.rule for finding in answer("laser-toner").findings}
