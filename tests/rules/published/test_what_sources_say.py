"""At which numbers a text stands, against what is in the text: written down from the texts, not from ``speaks_of``.

A law, a standard, a note on fumes or a textbook is the source of its own numbers alone. A number of the trade that
names one would pass for more than it is. Where an entry that was added fails here, see whether the text has it.
"""

from __future__ import annotations

from collections import defaultdict

import pytest

from accord_rules.revision.book import Book
from accord_rules.revision.sourcing import SourcedNumber, numbers_of


def alike(names: str, *places: str) -> dict[str, set[str]]:
    """Texts that have the same numbers."""
    return {name: {*places} for name in names.split()}


# Text -> where its numbers stand: limits by their names, fields as kind.field.
MATERIALS = {"substrates.conductivity", "substrates.density", "substrates.heat_capacity", "consumables.conductivity"}
SUPPLIERS = {
    *(f"practice.{field}" for field in ("temperature", "time", "pre_press", "second_press", "size", "thickness")),
    "transfers.by_polyester",
}
STANDS_AT: dict[str, set[str]] = {
    # Textbooks and handbooks.
    "moisture-regain": {"fibres.regain"},
    "moisture-regain-secondary": {"fibres.regain"},
    "moisture-regain-memory": {"fibres.regain"},
    "fibre-thermal-handbooks": {
        "fibres.harmful_from", "substrates.limit", "coatings.limit",  # polyurethane and PVC among the latter
        "heat.cotton_yellows_above", "heat.delicate_bears_below", "heat.elastane_sets_above",
        "heat.nylon_yellows_above", "heat.elastane_sample_above", "heat.viscose_weakens_above",
        "heat.nylon_sticks_from",
    },
    "fibre-thermal-secondary": {"fibres.harmful_from", "heat.cotton_yellows_above", "heat.olefin_glazes_above"},
    "pressing-fastness-textbook": {"fibres.harmful_from", "heat.delicate_needed_below"},
    "disperse-dye-classes": {"migration.fine", "migration.caution", "migration.most"},
    "dry-heat-fastness": {"migration.fine", "migration.caution", "migration.most"},
    "transfer-printing-textbook": {"transfers.bounds"},  # where no dye leaves the paper; no setting of a heat press
    "thermal-en-12524": {*MATERIALS, "hard_goods.thick_from"},
    "plastics-handbooks": {*MATERIALS, "substrates.limit"},
    "thermal-ashrae": MATERIALS,
    "thermal-incropera": MATERIALS,
    "thermal-secondary": MATERIALS,
    # Care labels and burns.
    "care-symbols": {f"care.iron_{dots}_{edition}" for dots in (1, 2, 3) for edition in ("older", "2023")},
    "burns-iso-13732": {"people.touch_hold_most"},
    "burns-iec-62368": {"people.touch_brief_most"},
    "burns-astm-c1055": {"people.touch_brief_most"},
    # Fumes.
    "ptfe-fumes": {"people.ptfe_birds_from"},
    "ptfe-service-limit": {"people.ptfe_surface_most", "consumables.limit", "fibres.harmful_from"},
    "pvc-fumes": {"fumes.pvc_most"},
    "pu-fumes": {"substrates.limit", "coatings.limit"},
    # Electricity.
    "continuous-load-nec": {"electric.circuit_full", "markets.continuous_load"},
    "continuous-load-cec": {"markets.continuous_load"},
    "plug-fuse-uk": {"markets.plug_fuse"},
    # Laws of what is sold: the row of their matter, and the limits that read them.
    "child-product-us": {"children.age_most", "markets.childrens_product", "markets.lead", "markets.certificate"},
    "lead-us": {"markets.lead", "markets.certificate"},
    "lead-ca": {"markets.lead", "markets.childrens_product"},
    "lead-eu": {"markets.lead"},
    "phthalates-us": {"markets.toy_phthalates"},
    "phthalates-eu": {"markets.toy_phthalates", "markets.skin_phthalates"},
    "phthalates-ca": {"markets.toy_phthalates"},
    "phthalates-au": {"markets.toy_phthalates"},
    "reach-uk": {"markets.toy_phthalates", "markets.skin_phthalates"},
    "reach-uk-retained": {
        "markets.lead", "markets.nickel", "markets.cadmium", "markets.azo_dyes", "markets.cloth_metals",
    },
    "laundry-disinfection": {"wash.disinfection_least"},
    "nickel-eu": {"markets.nickel"},
    "cadmium-eu": {"markets.cadmium"},
    "jewellery-ca": {"markets.cadmium"},
    "flammability-clothing-us": {"markets.clothing_fire"},
    "textile-fire-ca": {"markets.clothing_fire"},
    **alike("flammability-sleepwear-us nightwear-ca nightwear-au nightwear-uk nightwear-eu", "markets.nightwear"),
    "small-parts-us": {"children.small_parts_age", "markets.small_parts"},
    "small-parts-au": {"markets.small_parts"},
    "small-parts-warning-us": {"markets.small_parts_warning"},
    "drawstrings-us": {"people.cord_age_most", "markets.hood_cords", "markets.waist_cords"},
    "cords-ca": {"markets.hood_cords", "markets.waist_cords"},
    **alike("cords-eu cords-uk cords-au", "markets.hood_cords", "markets.hood_cord_ends", "markets.waist_cords"),
    "toys-us": {"markets.toys"},
    "toys-au": {"markets.toys"},
    "toys-ca": {"markets.toys", "markets.small_parts", "markets.childrens_product"},
    **alike(
        "toys-eu toys-uk",
        "markets.toys", "markets.small_parts", "markets.small_parts_warning", "markets.childrens_product",
    ),
    **alike("magnets-us magnets-ca magnets-au magnets-eu", "markets.magnets"),
    **alike("food-contact-eu food-contact-us food-contact-ca", "markets.food_contact"),
    **alike("fibre-label-eu fibre-label-us fibre-label-ca", "markets.fibre_label"),
    "cloth-substances-eu": {"markets.azo_dyes", "markets.cloth_metals"},
    "fluorine-us": {"markets.fluorine"},
    "drinking-rim": {"people.rim_distance_least"},
    # Colour.
    "contrast-wcag": {"order.contrast_least"},
    # What is worked out.
    "press-pressure-computed": {
        *(f"pressure.{word}_{end}" for word in ("light", "medium", "firm") for end in ("least", "most")),
        "press.hand_held_pressure_from", "press.brittle_pressure_most",
    },
    "dye-affinity-computed": {f"dye.polyester_share_{end}" for end in ("least", "unaided", "full")},
    "heat-dose-fit": {"transfers.dose"},
    # Pages of suppliers and of the trade that were read: how something is pressed.
    "supplier-page": SUPPLIERS,
    "supplier-quoted": {*SUPPLIERS, "heat.adhesive_hold"},
    "trade-magazine": SUPPLIERS,
    "makerspace-page": SUPPLIERS,
    "visit-report": SUPPLIERS,
}  # fmt: skip
TRADE = {"common-practice", "choice"}


def place(number: SourcedNumber) -> str:
    return number.id if number.kind == "limits" else f"{number.kind}.{number.field}"


@pytest.fixture(scope="module")
def places(book: Book) -> dict[str, set[str]]:
    stands: dict[str, set[str]] = defaultdict(set)
    for number in numbers_of(book.documents):
        for source in number.sources:
            stands[source].add(place(number))
    return stands


def test_every_text_stands_only_at_what_is_in_it(places: dict[str, set[str]], book: Book) -> None:
    texts = {name for name in places if book.sources[name].kind not in TRADE}
    wrong = {name: sorted(places[name] - STANDS_AT.get(name, set())) for name in sorted(texts)}
    assert {name: stray for name, stray in wrong.items() if stray} == {}


def test_no_line_of_the_table_is_idle(places: dict[str, set[str]], book: Book) -> None:
    assert {*STANDS_AT} <= {*book.sources}
    assert [name for name in STANDS_AT if not STANDS_AT[name] & places[name]] == []


# Numbers of the trade's habits, whatever else may be known of the material: they rest on practice or a choice alone.
HABITS = [
    ("press_types", ("loss", "spread", "dwell_extra", "power", "platen", "handling", "display_most")),
    ("transfers", ("temperature", "time", "second_press", "on", "by_press", "thickness", "stretch", "finest_line")),
    ("products", ("sheet", "thickness", "stretch", "finest_line", "wash_limit", "reheat_limit")),
    ("consumables", ("thickness",)),
    ("substrates", ("thickness", "fibres", "diameter")),
    ("blanks", ("areas", "thickness", "mass_per_area", "diameter")),
]


@pytest.mark.parametrize(("kind", "fields"), HABITS)
def test_habits_of_the_trade_cite_no_text(kind: str, fields: tuple[str, ...], book: Book) -> None:
    checked = 0
    for number in numbers_of(book.documents):
        if number.kind == kind and number.field in fields:
            cited = {name: book.sources[name].kind for name in number.sources}
            assert {*cited.values()} <= TRADE, (number.id, number.pointer, cited)
            checked += 1
    assert checked >= 10
