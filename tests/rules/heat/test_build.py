"""Stacks from the book's entries."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from accord_rules.documents.files import shipped
from accord_rules.documents.reading import read
from accord_rules.heat import (
    Convective,
    FixedPlaten,
    HeatedPlaten,
    HeatError,
    Sheet,
    Spread,
    estimate,
    platen_for,
    solve,
    stack_for,
    time_grid,
)
from accord_rules.heat.materials import (
    CARRIERS,
    HAND_CONTACT,
    PLASTICS,
    PLATENS,
    SHEETS,
    USUAL_WATER_SHARE,
    sheet_material,
)
from accord_rules.revision.catalogue import Consumable, PressType, Substrate, Transfer

DOCUMENTS = shipped()


def entry(kind: str, cls: type[Any], name: str) -> Any:
    return read(cls, DOCUMENTS[kind][name])


def substrate(name: str) -> Substrate:
    return entry("substrates", Substrate, name)


def transfer(name: str) -> Transfer:
    return entry("transfers", Transfer, name)


def press(name: str) -> PressType:
    return entry("press_types", PressType, name)


def sheet(name: str) -> Sheet:
    return Sheet(name, entry("consumables", Consumable, name))


DYE, FILM = transfer("dye-sublimation"), transfer("cut-film")


def titles(stack: Any) -> list[str]:
    return [layer.title for layer in stack.layers]


def test_dye_on_board() -> None:
    stack = stack_for(
        substrate("hardboard"), DYE, press("swing-away"), 195.0, thickness_mm=3.0, cover=sheet("ptfe-sheet")
    )
    assert titles(stack)[1:] == ["carrier paper", "Hardboard", "bed pad", "lower platen"]
    assert (stack.blank, stack.print_at) == (2, 2)
    assert stack.layers[2].thickness_m == pytest.approx(3e-3)
    assert stack.layers[0].conductivity_w_mk == 0.25
    assert stack.top == FixedPlaten(195.0)
    assert not stack.damp


def test_film_on_a_shirt_by_hand() -> None:
    stack = stack_for(substrate("knit"), FILM, press("hand-held"), 150.0, plies=2, water_share=0.075)
    cloth = "Single-jersey or interlock knit"
    assert titles(stack) == ["carrier film", FILM.title, cloth, cloth, "pressing mat", "table"]
    assert isinstance(stack.top, HeatedPlaten)
    assert stack.interfaces[0] == HAND_CONTACT
    # The film comes on its carrier: no contact in between.
    assert 1 / stack.interfaces[1].likely_w_m2k == 0
    assert 1 / stack.interfaces[2].likely_w_m2k > 0


def test_a_tile_face_down() -> None:
    stack = stack_for(substrate("ceramic-tile"), DYE, press("draw"), 200.0, pad=sheet("felt-pad"), face_down=True)
    assert titles(stack)[:3] == ["Ceramic tile", "carrier paper", "Needled heat-resistant felt pad"]
    assert (stack.blank, stack.print_at, stack.print_side) == (0, 1, "lower")
    history = solve(stack, 22.0, time_grid(400.0))
    assert history.time_to_reach_s(150.0) > 30.0
    assert (history.back_c >= history.interface_c - 1e-9).all()


def test_a_film_face_down_lies_under_its_adhesive_side() -> None:
    stack = stack_for(substrate("hardboard"), FILM, press("draw"), 150.0, face_down=True)
    assert titles(stack)[:3] == ["Hardboard", FILM.title, "carrier film"]
    assert 1 / stack.interfaces[2].likely_w_m2k == 0
    assert 1 / stack.interfaces[1].likely_w_m2k > 0


def test_heated_from_both_sides() -> None:
    stack = stack_for(substrate("hardboard"), DYE, press("clamshell-two-sided"), 195.0, pad=sheet("plain-paper"))
    assert stack.bottom == FixedPlaten(195.0)
    assert 1 / stack.interfaces[-1].likely_w_m2k > 0
    one_sided = stack_for(substrate("hardboard"), DYE, press("clamshell"), 195.0)
    times = time_grid(90.0)
    assert solve(stack, 22.0, times).back_c[-1] > solve(one_sided, 22.0, times).back_c[-1] + 30


def test_a_mug_has_air_inside() -> None:
    stack = stack_for(substrate("ceramic-mug"), DYE, press("mug-press"), 190.0)
    assert titles(stack) == ["carrier paper", "Ceramic mug"]
    assert isinstance(stack.bottom, Convective)


@pytest.mark.parametrize("name", [n for n, e in DOCUMENTS["press_types"].items() if e["closing"] == "enclosed"])
def test_ovens_are_refused(name: str) -> None:
    with pytest.raises(HeatError, match="moving air"):
        stack_for(substrate("ceramic-tile"), DYE, press(name), 200.0)


def test_platens_weigh_on_what_they_cover() -> None:
    whole, half = platen_for(press("hand-held"), 150.0), platen_for(press("hand-held"), 150.0, covered=0.5)
    assert whole.capacity_j_m2k == pytest.approx(0.6 / 0.254**2 * 880)
    assert whole.power_w_m2 == pytest.approx(1400 / 0.254**2)
    assert half == replace(
        whole, capacity_j_m2k=2 * whole.capacity_j_m2k, power_w_m2=2 * whole.power_w_m2, loss_w_m2k=2 * whole.loss_w_m2k
    )
    both = press("clamshell-two-sided")
    assert platen_for(both, 150.0).power_w_m2 == pytest.approx(2400 / 0.38**2 / 2)
    with pytest.raises(HeatError, match="covered"):
        platen_for(press("hand-held"), 150.0, covered=0.0)


@pytest.mark.parametrize("name", DOCUMENTS["press_types"])
def test_every_press_type_has_a_platen_that_holds_or_is_refused(name: str) -> None:
    entry = press(name)
    if entry.closing == "enclosed":
        assert entry.closing not in PLATENS
    else:
        platen = platen_for(entry, entry.display_most)
        assert platen.hold_w_m2 < platen.power_w_m2 / 2


@pytest.mark.parametrize("name", DOCUMENTS["substrates"])
def test_every_substrate_makes_a_stack_whose_estimate_is_sane(name: str) -> None:
    bench = press("swing-away")
    estimated = estimate(
        stack_for(substrate(name), DYE, bench, 195.0), 22.0, 60.0, 150.0, Spread(platen_k=bench.spread)
    )
    assert 22.0 < estimated.interface_end_c.low < estimated.interface_end_c.high < 200.0 + 1e-6
    assert estimated.energy_j_m2.low > 0


def test_every_sheet_of_the_book_has_a_bulk_of_its_own() -> None:
    layers = {name for name, table in DOCUMENTS["consumables"].items() if table["kind"] != "tape"}
    assert layers == set(SHEETS)
    assert sheet_material("new-pad", "pad").title == "silicone sponge"
    with pytest.raises(HeatError, match="not a layer"):
        sheet_material("heat-tape", "tape")


def test_the_rooms_tables_cover_the_books_words() -> None:
    from accord_rules.revision.catalogue import CLOSINGS, SUBSTRATE_FAMILIES
    from accord_rules.revision.catalogue import PLASTICS as BOOK_PLASTICS

    assert set(PLASTICS) == set(BOOK_PLASTICS)
    assert set(PLATENS) == set(CLOSINGS) - {"enclosed"}
    assert set(CARRIERS) == {"paper", "film"}
    assert set(USUAL_WATER_SHARE) <= set(SUBSTRATE_FAMILIES)
    sources = {source for material in (*PLASTICS.values(), *SHEETS.values()) for source in material.sources}
    assert sources <= set(DOCUMENTS["sources"])


def test_numbers_out_of_range_are_refused() -> None:
    with pytest.raises(HeatError, match="thickness_mm"):
        stack_for(substrate("knit"), FILM, press("clamshell"), 150.0, thickness_mm=0.0)
    with pytest.raises(HeatError, match="plies"):
        stack_for(substrate("knit"), FILM, press("clamshell"), 150.0, plies=3)
