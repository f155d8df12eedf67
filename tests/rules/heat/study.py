"""What the model says of four everyday pieces on three presses. ``python tests/rules/heat/study.py`` prints the tables.

Run from the repository's root. ``test_study.py`` holds what rules/accord_rules/heat/README.md says to these numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from scipy.optimize import brentq

from accord_rules.documents.files import shipped
from accord_rules.documents.reading import read
from accord_rules.heat import (
    History,
    Interface,
    Range,
    Sheet,
    Spread,
    Stack,
    estimate,
    solve,
    stack_for,
    substrate_layer,
    time_grid,
    time_to_touch_s,
)
from accord_rules.heat.materials import HAND_CONTACT, ROOM_C, WARM_BED_C
from accord_rules.revision.catalogue import Consumable, PressType, Substrate, Transfer

BOOK = shipped()
PRESSES = ("hand-held", "clamshell", "pneumatic-single")

FILM_SURFACE_C, FILM_DWELL_S = 150.0, 12.0  # the book's aim for cut film, on a bench press
# A cut film's adhesive flows and wets the cloth from about here. Common practice, no source.
ADHESIVE_FLOWS_C = 130.0
# Dye goes over as vapour at 170-220 °C in 20-60 s; a middling pair of it. Choice within a textbook's band.
DYE_WORKS_C, DYE_HOLD_S = 180.0, 30.0
LONGEST_S = 900.0


def entry(kind: str, cls: type[Any], name: str) -> Any:
    """An entry of the shipped book."""
    return read(cls, BOOK[kind][name])


@dataclass(frozen=True)
class Piece:
    """A hard good pressed with dye: what it is, how it lies, and its side in mm."""

    title: str
    substrate: str
    thickness_mm: float
    side_mm: float
    face_down: bool = False
    pad: str | None = None


COASTER = Piece("hardboard coaster 3 mm", "hardboard", 3.0, 100.0)
TILE = Piece("ceramic tile 6 mm, face up", "ceramic-tile", 6.0, 150.0)
TILE_FACE_DOWN = Piece("ceramic tile 6 mm, face down on felt", "ceramic-tile", 6.0, 150.0, True, "felt-pad")
PANEL = Piece("aluminium panel 1.1 mm", "aluminium-sheet", 1.1, 200.0)
PIECES = (COASTER, TILE, TILE_FACE_DOWN, PANEL)


@cache
def press(name: str) -> PressType:
    press_type: PressType = entry("press_types", PressType, name)
    return press_type


def start_c(stack: Stack, press_name: str) -> tuple[float, ...]:
    """Everything at room temperature but a bench press's bed."""
    bed_c = ROOM_C if press_name == "hand-held" else WARM_BED_C
    return (*(ROOM_C,) * (len(stack.layers) - 2), bed_c, bed_c)


def shirt(press_name: str, surface_c: float, contact: Interface | None = None, water_share: float = 0.0) -> Stack:
    """Cut film on a thin cotton shirt, front and back under the platen."""
    return stack_for(
        entry("substrates", Substrate, "knit"),
        entry("transfers", Transfer, "cut-film"),
        press(press_name),
        surface_c,
        plies=2,
        sagging=True,
        contact=contact,
        water_share=water_share,
    )


def pressed(stack: Stack, press_name: str, dwell_s: float) -> History:
    return solve(stack, start_c(stack, press_name), time_grid(dwell_s))


@cache
def bench_end_c() -> float:
    """Where a bench press brings the film's adhesive in the book's dwell."""
    return float(pressed(shirt("clamshell", FILM_SURFACE_C), "clamshell", FILM_DWELL_S).interface_c[-1])


def hand_extra_s(contact: Interface) -> float:
    """How much longer a hand-held press at the same surface temperature takes to bring the adhesive there."""
    history = pressed(shirt("hand-held", FILM_SURFACE_C, contact), "hand-held", 120.0)
    return history.time_to_reach_s(bench_end_c()) - FILM_DWELL_S


def hand_extra_k(longer_s: float, contact: Interface) -> float:
    """How much hotter its surface must be to do it in the book's dwell and ``longer_s`` more."""
    dwell_s = FILM_DWELL_S + longer_s

    def short_by_k(surface_c: float) -> float:
        stack = shirt("hand-held", surface_c, contact)
        return float(pressed(stack, "hand-held", dwell_s).interface_c[-1]) - bench_end_c()

    return float(brentq(short_by_k, 120.0, 240.0, xtol=0.01)) - FILM_SURFACE_C


def exactly(conductance_w_m2k: float) -> Interface:
    return Interface(conductance_w_m2k, conductance_w_m2k, conductance_w_m2k)


def display_extra_k() -> float:
    """How much further a hand-held press's surface lies below its display, by the book."""
    return press("hand-held").loss - press("clamshell").loss


def dyed(piece: Piece, press_name: str, surface_c: float) -> Stack:
    """The piece under dye paper and plain paper. A small piece draws on the platen round it, up to thrice its width."""
    kind = press(press_name)
    covered = max(piece.side_mm**2 / (kind.platen.width * kind.platen.height), 1 / 9)
    pad = None if piece.pad is None else Sheet(piece.pad, entry("consumables", Consumable, piece.pad))
    return stack_for(
        entry("substrates", Substrate, piece.substrate),
        entry("transfers", Transfer, "dye-sublimation"),
        kind,
        surface_c,
        thickness_mm=piece.thickness_mm,
        cover=Sheet("plain-paper", entry("consumables", Consumable, "plain-paper")),
        pad=pad,
        face_down=piece.face_down,
        sagging=True,
        covered=min(covered, 1.0),
    )


def dye_reaches_s(piece: Piece, press_name: str, surface_c: float) -> Range:
    """When the print reaches the dye's working temperature."""
    stack = dyed(piece, press_name, surface_c)
    spread = Spread(platen_k=press(press_name).spread)
    return estimate(stack, start_c(stack, press_name), LONGEST_S, DYE_WORKS_C, spread).time_to_reach_s


def main() -> None:
    print("Shirt and cut film: adhesive temperature at the end, seconds to 130 °C")
    for name in PRESSES:
        history = pressed(shirt(name, FILM_SURFACE_C), name, FILM_DWELL_S)
        damp = pressed(shirt(name, FILM_SURFACE_C, water_share=0.075), name, FILM_DWELL_S)
        print(
            f"  {name:18} {history.interface_c[-1]:6.1f} °C  {history.time_to_reach_s(ADHESIVE_FLOWS_C):5.1f} s"
            f"  sag {FILM_SURFACE_C - history.top_c.min():4.1f} K; without pre-press {damp.interface_c[-1]:6.1f} °C"
        )
    print("Hand-held beside bench, same surface temperature")
    for conductance in (400.0, HAND_CONTACT.likely_w_m2k, 800.0, 1200.0):
        contact = exactly(conductance)
        hotter = "  ".join(f"+{s:g} s {hand_extra_k(s, contact):+5.1f} K" for s in (0.0, 5.0, 10.0))
        print(f"  contact {conductance:5.0f} W/(m² K): {hand_extra_s(contact):+5.1f} s, or {hotter}")
    print(f"  display to surface, more than on a bench press: {display_extra_k():g} K")
    print(f"Dye: seconds to {DYE_WORKS_C:g} °C at the print (low, likely, high); hold {DYE_HOLD_S:g} s more")
    for piece in PIECES:
        for name in PRESSES:
            for surface_c in (190.0, 200.0):
                reach_s = dye_reaches_s(piece, name, surface_c)
                print(
                    f"  {piece.title:38}{name:18}surface {surface_c:g}, display {surface_c + press(name).loss:g} °C:"
                    f" {reach_s.low:6.0f} {reach_s.likely:6.0f} {reach_s.high:6.0f}"
                )
    print("Seconds to a 10 s touch and to a 1 min hold from 190 °C, still air, lying on a mat (low, likely, high)")
    for piece in (COASTER, TILE, PANEL):
        kind: Substrate = entry("substrates", Substrate, piece.substrate)
        layer = substrate_layer(kind, piece.thickness_mm)
        waits = [time_to_touch_s(layer, kind.touch, 190.0, contact_s, faces=1) for contact_s in (10.0, 60.0)]
        print(f"  {piece.title:38}" + "   ".join(f"{w.low:6.0f} {w.likely:6.0f} {w.high:6.0f}" for w in waits))


if __name__ == "__main__":
    main()
