"""The heat facts against the heat room asked directly. No outside source: the room has its own checks."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from pressed_pieces import COASTER, PIECES, PRESSES, SHIRT, STONES, TILE, pressed, shop_of

from accord_rules.advise.heat_estimate import heat_estimate
from accord_rules.advise.pressings import explained as explained_pressings
from accord_rules.derive import heat
from accord_rules.derive.case import Case
from accord_rules.documents.reading import read
from accord_rules.heat import Sheet, Spread, estimate, solve, stack_for, substrate_layer, time_grid, time_to_touch_s
from accord_rules.heat.build import start_for
from accord_rules.heat.estimate import Lean, leaning
from accord_rules.heat.materials import BOARD_DRIES_S_MM2, ROOM_C, WARM_BED_C
from accord_rules.heat.response import LONGEST_S, TIMES_S, coolest_c, corners, crossing_s, dosed_s, hottest_c
from accord_rules.heat.stack import Stack
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Dose
from accord_rules.revision.names import resolve

EVERY = tuple(product(PIECES, PRESSES))
# The usual grid is within 0.25 K from 1 s on; before 2 s a bed's warmth arrives from below, which no corner leans on.
GRID_K, SETTLED_S = 0.3, 2.0


def stack_by_hand(book: Book, case: Case, chosen: Any) -> Stack:
    """What lies under the platen, put together from the book without the facts."""
    catalogue = book.catalogue
    cover, pad = (
        None if name is None else Sheet(name, catalogue["consumables"][name]) for name in (chosen.cover, chosen.pad)
    )
    down = case["item.substrate"] == "ceramic-tile"
    platen = case["press.platen"]
    covered = 1.0 if case["item.textile"] else round(90 * 90 / (platen.width * platen.height), 2)
    return stack_for(
        catalogue["substrates"][case["item.substrate"]],
        case.transfer,
        case.press_type,
        chosen.surface_c,
        thickness_mm=case["item.thickness_mm"],
        cover=cover,
        pad=pad,
        plies=2 if case["item.textile"] else 1,
        face_down=down,
        covered=max(covered, 1 / 9),
    )


def start_by_hand(case: Case, stack: Stack) -> tuple[float, ...]:
    bed_c = ROOM_C if case["press.hand_held"] else WARM_BED_C
    return (*(ROOM_C,) * (len(stack.layers) - 2), bed_c, bed_c)


@pytest.mark.parametrize(("piece", "press"), EVERY)
def test_the_likely_figures_are_the_rooms(piece: str, press: str, book: Book) -> None:
    case, chosen = pressed(book, PIECES[piece], press, pre_press="3 min")
    stack = stack_by_hand(book, case, chosen)
    history = solve(stack, start_by_hand(case, stack), TIMES_S)
    assert case["heat.interface_likely_c"] == pytest.approx(history.interface_at_c(chosen.time_s), abs=0.5)
    dose = case["heat.dose"]
    rates = 2 ** (
        ((dose.at + 273.15) ** 2 / dose.halved_by) * (1 / (dose.at + 273.15) - 1 / (history.interface_c + 273.15))
    )
    had_s = np.concatenate(([0.0], np.cumsum(np.diff(TIMES_S) * (rates[1:] + rates[:-1]) / 2)))
    assert case["heat.reach_likely_s"] == pytest.approx(float(np.interp(dose.time, had_s, TIMES_S)), rel=0.03)
    assert case["heat.sag_k"] == pytest.approx(chosen.surface_c - history.top_c.min(), abs=0.3)


@pytest.mark.parametrize(("piece", "press"), EVERY)
def test_soon_and_late_enclose_likely(piece: str, press: str, book: Book) -> None:
    case, _ = pressed(book, PIECES[piece], press)
    assert case["heat.reach_soon_s"] < case["heat.reach_likely_s"] < case["heat.reach_late_s"] <= LONGEST_S
    assert case["heat.interface_soon_c"] > case["heat.interface_likely_c"] > case["heat.interface_late_c"]


@pytest.mark.parametrize(
    ("piece", "press"), [*EVERY, ("coaster", "clamshell-two-sided"), ("shirt", "clamshell-two-sided")]
)
def test_corners_bound_all_the_ends(piece: str, press: str, book: Book) -> None:
    case, chosen = pressed(book, PIECES[piece], press)
    lying = replace(case["heat.lay"], surface_c=chosen.surface_c)
    stack = lying.stack()
    start = start_for(lying.piece.press, stack)
    soon = hottest_c([corner.interface_c(lying.surface_c) for corner in corners(stack, "soon", ROOM_C, start)])
    late = coolest_c([corner.interface_c(lying.surface_c) for corner in corners(stack, "late", ROOM_C, start)])
    settled = TIMES_S >= SETTLED_S
    for ends in product((-1.0, 1.0), repeat=4):
        interface_c = solve(leaning(stack, Spread(platen_k=0.0), Lean(*ends)), start, TIMES_S).interface_c
        assert np.all(interface_c[settled] <= soon[settled] + GRID_K), ends
        assert np.all(interface_c[settled] >= late[settled] - GRID_K), ends


# From the low end of a range over the likely value to its high end.
STEPS = (-1.0, -0.5, 0.0, 0.5, 1.0)
FLAT_PRESSES = (
    "hand-held", "hand-held-mini", "clamshell", "clamshell-two-sided", "swing-away", "draw", "pneumatic-single",
    "large-format",
)  # fmt: skip


@pytest.mark.parametrize(("piece", "press"), tuple(product(PIECES, FLAT_PRESSES)))
def test_the_bounds_enclose_five_by_five_of_the_platens_spread_and_the_contacts(
    piece: str, press: str, book: Book
) -> None:
    """Each of the 25 solved by itself, with materials as they are, beside what a verdict says and what the room says.

    A platen off by 5 K, which once stood for every press, left some of them outside under the presses that are off by
    more: in 115 of 324 pressings of cut film and dye on the book's flat substrates.
    """
    case, chosen = pressed(book, PIECES[piece], press, pre_press="3 min")
    stated, need = case["heat.estimate"], case["heat.dose"]
    lying = replace(case["heat.lay"], surface_c=chosen.surface_c)
    stack, start = lying.stack(), start_for(lying.piece.press, lying.stack())
    spread = Spread(platen_k=chosen.spread_k)
    room = estimate(stack, start, chosen.time_s, need.at, spread)
    exact = replace(spread, conductivity_share=0.0, capacity_share=0.0)
    for platen, contacts in product(STEPS, STEPS):
        moved = leaning(stack, exact, Lean(above=contacts, below=contacts, platen=platen))
        history = solve(moved, start, TIMES_S)
        end_c = history.interface_at_c(chosen.time_s)
        reach_s = crossing_s(dosed_s(history.interface_c, need.at, need.halved_by), need.time)
        moves = (platen, contacts)
        assert stated.interface_c[2] - GRID_K <= end_c <= stated.interface_c[0] + GRID_K, moves
        assert 0.99 * stated.reach_s[0] <= reach_s <= 1.01 * stated.reach_s[2], moves
        dwelled = solve(moved, start, time_grid(chosen.time_s, 120))
        for bounds, value, off in (
            (room.interface_end_c, dwelled.interface_c[-1], 0.02),
            (room.time_to_reach_s, dwelled.time_to_reach_s(need.at), 0.05),
            (room.time_above_s, dwelled.time_above_s(need.at), 0.05),
            (room.peak_back_c, dwelled.peak_back_c, 0.02),
            (room.energy_j_m2, dwelled.energy_j_m2[-1], 20.0),
        ):
            assert bounds.low - off <= value <= bounds.high + off, moves


def test_no_presss_spread_is_left_out_of_what_is_tried(book: Book) -> None:
    """5 K alone would not do: types of press are off by 4 K to 8 K."""
    types = book.catalogue["press_types"]
    assert {types[press].spread for press in FLAT_PRESSES} == {4.0, 5.0, 6.0, 7.0, 8.0}


@pytest.mark.parametrize("off_k", [-15.0, -5.0, 5.0, 15.0])
@pytest.mark.parametrize("piece", PIECES)
def test_a_sagging_platens_share_holds_near_its_temperature(piece: str, off_k: float, book: Book) -> None:
    """Its heater is full on below a fixed band, so that it is not quite linear."""
    case, _ = pressed(book, PIECES[piece], "hand-held")
    lying = case["heat.lay"]
    stack = lying.stack()
    (response,) = corners(stack, "likely", ROOM_C, start_for(lying.piece.press, stack))
    moved = replace(lying, surface_c=lying.surface_c + off_k).stack()
    history = solve(moved, start_for(lying.piece.press, moved), TIMES_S)
    assert response.interface_c(lying.surface_c + off_k) == pytest.approx(history.interface_c, abs=0.6)


# -- the pressings beside the main one -----------------------------------------------------------------------------


def of_shirt(transfer: str) -> dict[str, Any]:
    return {**SHIRT, "decorations": [SHIRT["decorations"][0] | {"transfer": transfer}]}


@pytest.mark.parametrize("press", ["hand-held", "clamshell"])
@pytest.mark.parametrize(
    ("transfer", "pressing", "carrier", "down"),
    [
        ("dye-receptive-film", "tack", True, False),
        ("powder-film", "again", False, False),
        ("heat-seal-patch", "reverse", False, True),
    ],
)
def test_a_pressing_beside_the_main_one_is_estimated_as_it_lies(
    transfer: str, pressing: str, carrier: bool, down: bool, press: str, book: Book
) -> None:
    """Tacked as the main pressing lies; again with the carrier off; from the reverse through the cloth."""
    case, chosen = pressed(book, of_shirt(transfer), press, pre_press="3 min")
    (closing,) = (closing for closing in case["process.closings"] if closing.name == pressing)
    assert case.transfer is not None
    cover, pad = (
        None if name in (None, "none") else Sheet(name, book.catalogue["consumables"][name])
        for name in (closing.cover, chosen.pad)
    )
    stack = stack_for(
        book.catalogue["substrates"]["knit"],
        case.transfer if carrier else replace(case.transfer, carrier="none"),
        case.press_type,
        closing.surface_c,
        thickness_mm=0.5,
        cover=cover,
        pad=pad,
        plies=2,
        face_down=down,
    )
    history = solve(stack, start_by_hand(case, stack), TIMES_S)
    soon, likely, late = case["heat.beside_main"][pressing]
    assert likely == pytest.approx(history.interface_at_c(closing.time_s), abs=0.6)
    assert late < likely < soon <= closing.surface_c + chosen.spread_k
    heat_of = {explained.name: explained.heat for explained in explained_pressings(case)}[pressing]
    assert heat_of.interface_c == (soon, likely, late)
    assert "°C" in heat_of.text


@pytest.mark.parametrize(
    ("transfer", "pressing", "why"),
    [
        ("toner-paper-two-step", "marry", "two sheets lie together without the piece"),
        ("foil-over-adhesive", "adhesive", "whose layers are not known"),
        ("hot-fix-stones", "reverse", "the model does not hold"),
    ],
)
def test_a_pressing_without_an_estimate_says_why(transfer: str, pressing: str, why: str, book: Book) -> None:
    case, _ = pressed(book, of_shirt(transfer), "clamshell")
    heat_of = {explained.name: explained.heat for explained in explained_pressings(case)}[pressing]
    assert heat_of.interface_c is None
    assert why in heat_of.text


# -- damp pieces ---------------------------------------------------------------------------------------------------

DAMP_PRESSES = ("hand-held", "clamshell")


def is_damp(case: Case) -> bool:
    """Whether a plan with these settings says so."""
    assert case.chosen is not None
    of_heat = heat_estimate(case, case.chosen)
    assert of_heat is not None
    return of_heat.damp


@pytest.mark.parametrize("press", DAMP_PRESSES)
@pytest.mark.parametrize(("piece", "time_s"), [("shirt", 12), ("shirt", 20), ("coaster", 60), ("coaster", 120)])
def test_a_piece_that_was_not_pre_pressed_is_estimated_damp(piece: str, time_s: int, press: str, book: Book) -> None:
    """Beside the damp stack itself, whose moisture boils off step by step.

    What boils off counts as spread over the way up to the dose's temperature. That is 180 °C for dye, and the board by
    hand ends at 159 °C after two minutes: it is taken 3.2 K too hot, the others no more than 3 K.
    """
    off_k = 3.5 if (piece, time_s, press) == ("coaster", 120, "hand-held") else 3.0
    settings = {"time": f"{time_s} s", "temperature": {"shirt": "155 °C", "coaster": "195 °C"}[piece]}
    case, chosen = pressed(book, PIECES[piece], press, pre_press="0 s", **settings)
    stack = stack_by_hand(book, case, chosen)
    share = {"shirt": 0.075, "coaster": 0.06}[piece]  # cotton's regain; wood's usual share
    blank = stack.layers[stack.blank]
    layers = (replace(layer, water_share=share) if layer == blank else layer for layer in stack.layers)
    damp = replace(stack, layers=tuple(layers))
    history = solve(damp, start_by_hand(case, damp), TIMES_S)
    assert case["heat.interface_likely_c"] == pytest.approx(history.interface_at_c(time_s), abs=off_k)
    assert case["heat.sag_k"] == pytest.approx(history.top_c[0] - history.top_c.min(), abs=1.0)
    dry, _ = pressed(book, PIECES[piece], press, pre_press="3 min", **settings)
    assert case["heat.interface_likely_c"] < dry["heat.interface_likely_c"] - 1.0
    assert case["heat.reach_soon_s"] < case["heat.reach_likely_s"] < case["heat.reach_late_s"] <= LONGEST_S
    assert is_damp(case)
    assert not is_damp(dry)


def test_what_takes_up_no_moisture_needs_no_pre_press_to_be_dry(book: Book) -> None:
    case, _ = pressed(book, TILE, "clamshell", pre_press="0 s")
    again, _ = pressed(book, TILE, "clamshell", pre_press="5 s")
    assert case["heat.lay"] is again["heat.lay"]
    assert not is_damp(case)


def test_moisture_is_what_the_fibres_take_up(book: Book) -> None:
    """Regain at 65 % humidity after Morton and Hearle (2008): cotton 7-8 %; polyester 0.4 %, secondary pages."""

    def colder_k(fibres: dict[str, float]) -> float:
        piece = SHIRT | {"item": SHIRT["item"] | {"fibres": fibres}}
        damp, dry = (
            pressed(book, piece, "clamshell", pre_press=pre_press, time="12 s")[0] for pre_press in ("0 s", "5 s")
        )
        return float(dry["heat.interface_likely_c"] - damp["heat.interface_likely_c"])

    cotton, blend, polyester = (colder_k(fibres) for fibres in ({"CO": 100}, {"CO": 35, "PES": 65}, {"PES": 100}))
    assert cotton > 3.0
    assert 0 < polyester < 0.5
    assert polyester < blend < cotton


def test_the_estimate_moves_no_setting(book: Book) -> None:
    """A damp piece gets the dwell and heat of a dry one: practice says them, and the estimate only comments."""
    _, damp = pressed(book, SHIRT, "hand-held", pre_press="0 s")
    _, dry = pressed(book, SHIRT, "hand-held")
    assert damp == dry._replace(pre_press_s=0.0)


def test_a_part_dried_board_lies_between_damp_and_dry(book: Book) -> None:
    """At the soonest it is as hot as a dry one; its likely figures lie between."""
    settings = {"time": "70 s", "temperature": "195 °C"}
    damp, part, dry = (
        pressed(book, COASTER, "clamshell", pre_press=time, **settings)[0] for time in ("0 s", "30 s", "3 min")
    )
    likely = [case["heat.interface_likely_c"] for case in (damp, part, dry)]
    assert likely == sorted(set(likely))
    assert part["heat.reach_soon_s"] == pytest.approx(dry["heat.reach_soon_s"])
    assert part["heat.reach_soon_s"] < damp["heat.reach_soon_s"]
    assert is_damp(part)
    assert not is_damp(dry)


def test_boards_dry_as_deep_as_the_stepped_stack_does(book: Book) -> None:
    """When the far side of a damp board passes 110 °C, all of its water has boiled off."""
    catalogue = book.catalogue
    for name in ("hardboard", "greyboard"):
        board, dye = catalogue["substrates"][name], catalogue["transfers"]["dye-sublimation"]
        stack = stack_for(board, dye, catalogue["press_types"]["clamshell"], 195.0, water_share=0.06)
        history = solve(stack, ROOM_C, TIMES_S)
        through_s = float(np.interp(110.0, history.back_c, TIMES_S))
        assert BOARD_DRIES_S_MM2 * board.thickness**2 == pytest.approx(through_s, rel=0.2)


def test_never_is_said_and_capped(book: Book) -> None:
    case, _ = pressed(book, COASTER, "hand-held", temperature="120 °C", time="60 s")
    assert case["heat.estimate"].reach_s[2] == float("inf")
    assert case["heat.reach_late_s"] == LONGEST_S
    assert "never" in case["heat.reach_words"] or "not within 15 min" in case["heat.reach_words"]


@pytest.mark.parametrize(
    ("times_s", "words"),
    [
        ((35.0, 51.0, 100.0), "about 51 s (35 s to 100 s by estimate)"),
        ((22.0, 95.0, 390.0), "likely about 95 s, by an estimate that knows no more than that"),
        ((19.0, 51.0, float("inf")), "likely about 51 s, by an estimate that knows no more than that"),
        ((19.0, float("inf"), float("inf")), "likely not within 15 min (19 s at best, by estimate)"),
        ((float("inf"),) * 3, "not within 15 min, by estimate"),
        ((0.2, 2.6, 118.0), "likely about 3 s, by an estimate that knows no more than that"),
    ],
)
def test_ranges_in_words(times_s: tuple[float, float, float], words: str) -> None:
    assert heat.range_words(times_s) == words


@pytest.mark.parametrize(
    ("piece", "press"),
    [(STONES, "clamshell"), (TILE, "tile-oven-wrap"), (COASTER, "mug-press")],
    ids=["stones", "oven", "wrong shape"],
)
def test_no_estimate_where_the_model_does_not_hold(piece: dict[str, Any], press: str, book: Book) -> None:
    case, _ = pressed(book, piece, press)
    assert case["heat.estimated"] is False
    assert case["heat.interface_likely_c"] is None
    assert case["heat.reach_words"] == "a time that cannot be estimated here"


# -- what is kept --------------------------------------------------------------------------------------------------


def test_presses_that_heat_alike_share_a_stack(book: Book) -> None:
    clamshell, _ = pressed(book, COASTER, "clamshell")
    again, _ = pressed(book, COASTER, "clamshell-automatic")
    assert clamshell["heat.lay"] is again["heat.lay"]
    likely_c = clamshell["heat.interface_likely_c"]
    before = heat._corners.cache_info().misses
    assert again["heat.interface_likely_c"] == likely_c
    assert heat._corners.cache_info().misses == before, "solved once for both"


@pytest.mark.parametrize(
    ("kind", "name", "field", "value"),
    [
        ("substrates", "hardboard", "conductivity", 0.3),
        ("substrates", "hardboard", "density", 500.0),
        ("substrates", "hardboard", "heat_capacity", 700.0),
        ("transfers", "dye-sublimation", "thickness", 0.6),
        ("transfers", "dye-sublimation", "dose", Dose(150.0, 10.0, 12.0)),
        ("consumables", "plain-paper", "conductivity", 0.02),
        ("consumables", "plain-paper", "thickness", 1.0),
    ],
)
@pytest.mark.parametrize("press", ["clamshell", "hand-held"])
def test_every_number_of_the_book_counts(kind: str, name: str, field: str, value: Any, press: str, book: Book) -> None:
    """A kept stack must not answer for one that differs in any number."""
    settings = {"temperature": "200 °C", "time": "70 s", "cover": "plain-paper"}
    first, _ = pressed(book, COASTER, press, **settings)
    entries = {**book.catalogue[kind], name: replace(book.catalogue[kind][name], **{field: value})}
    other_book = replace(book, catalogue={**book.catalogue, kind: entries})
    changed, _ = pressed(other_book, COASTER, press, **settings)
    assert changed["heat.reach_likely_s"] != pytest.approx(first["heat.reach_likely_s"], rel=0.01)


def test_an_absurd_temperature_leaves_no_mark(book: Book) -> None:
    """A platen colder than the room heats nothing; the stack it was asked for still answers for others."""
    piece = COASTER | {"item": COASTER["item"] | {"thickness": "3.37 mm"}}
    cold, _ = pressed(book, piece, "clamshell", temperature="12 °C", time="70 s")
    assert cold["heat.surely_cold"] is True
    hot, _ = pressed(book, piece, "clamshell", temperature="195 °C", time="70 s")
    assert hot["heat.interface_likely_c"] > 150.0


@pytest.mark.parametrize("field", ["power", "platen"])
def test_a_hand_held_press_of_ones_own_counts(field: str, book: Book) -> None:
    usual, _ = pressed(book, SHIRT, "hand-held")
    own = {"power": "600 W"} if field == "power" else {"platen": {"width": "100 mm", "height": "100 mm"}}
    shop = shop_of(book, "hand-held")
    order = resolve(read(Order, {**SHIRT, "press": {"type": "hand-held", **own}}), book, shop)
    decoration = Case(book, shop, order).decoration_case(0)
    assert not isinstance(order.press, str)
    assert order.press is not None
    changed = decoration.pressing_case(order.press, usual.chosen)
    assert changed["heat.sag_k"] != pytest.approx(usual["heat.sag_k"], rel=0.01)


# -- touching it ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("piece", "press"), EVERY)
def test_the_wait_is_the_rooms_cautious_figure(piece: str, press: str, book: Book) -> None:
    case, chosen = pressed(book, PIECES[piece], press)
    entry = book.catalogue["substrates"][case["item.substrate"]]
    layer = substrate_layer(entry, case["item.thickness_mm"])
    hottest_c = chosen.surface_c + chosen.spread_k
    exact, later = (
        time_to_touch_s(layer, entry.touch, start_c, 10.0, faces=1).high for start_c in (hottest_c, hottest_c + 5.0)
    )
    assert exact <= case["touch.wait_s"] <= later


def test_the_wait_is_told_rounded_up(book: Book) -> None:
    case, _ = pressed(book, TILE, "clamshell")
    minutes = -(-case["touch.wait_s"] // 60)
    assert case["touch.wait_words"] == f"up to {minutes:.0f} min"
    assert case["touch.stack_words"] == case["touch.wait_words"]


def test_soft_goods_rest_before_the_next_is_laid_on_them(book: Book) -> None:
    """Common practice, no source: cloth lies by itself for five minutes, leather for ten."""
    leather = {**SHIRT, "item": {"substrate": "leather"}}
    for order, minutes in ((SHIRT, 5), (leather, 10)):
        case, _ = pressed(book, order, "clamshell")
        assert case["touch.wait_s"] < 60 * minutes
        assert case["touch.stack_words"] == f"{minutes} min"


def test_crossings() -> None:
    curve = 20.0 + TIMES_S
    assert crossing_s(curve, 20.0) == 0.0
    assert crossing_s(curve, 65.0) == pytest.approx(45.0)
    assert crossing_s(curve, 1e6) == float("inf")
