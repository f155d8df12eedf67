"""From the book's entries to a stack: which layers lie between this press's platen and its bed."""

from __future__ import annotations

from dataclasses import dataclass

from accord_rules.heat.materials import (
    CARRIERS,
    PLASTICS,
    PLATENS,
    ROOM_C,
    STILL_AIR_W_M2K,
    WARM_BED_C,
    PlatenBuild,
    sheet_material,
)
from accord_rules.heat.stack import (
    PERFECT,
    Bottom,
    Convective,
    FixedPlaten,
    HeatedPlaten,
    HeatError,
    Interface,
    Layer,
    Stack,
    require_positive,
)
from accord_rules.revision.catalogue import Consumable, PressType, Substrate, Transfer

MM = 1e-3


@dataclass(frozen=True, slots=True)
class Sheet:
    """A cover or pad of the book: its id and its entry."""

    name: str
    entry: Consumable


def substrate_layer(entry: Substrate, thickness_mm: float | None = None, water_share: float = 0.0) -> Layer:
    """The blank as a layer: the substrate's own usual thickness unless ``thickness_mm`` is given."""
    return Layer(
        title=entry.title,
        conductivity_w_mk=entry.conductivity,
        density_kg_m3=entry.density,
        heat_capacity_j_kgk=entry.heat_capacity,
        thickness_m=(entry.thickness if thickness_mm is None else thickness_mm) * MM,
        water_share=water_share,
    )


def sheet_layer(sheet: Sheet) -> Layer:
    """A cover or pad as a layer: the book's conductivity and thickness, the bulk from ``materials``."""
    entry = sheet.entry
    return sheet_material(sheet.name, entry.kind).layer(entry.thickness * MM, entry.title, entry.conductivity)


def transfer_layers(entry: Transfer) -> tuple[Layer, ...]:
    """The transfer, top to bottom: its carrier, then what stays on the piece. Dye leaves nothing but its paper."""
    if entry.principle == "dye-vapour":
        carrier = CARRIERS["paper"]
        return (
            Layer(
                carrier.title,
                carrier.conductivity_w_mk,
                carrier.density_kg_m3,
                carrier.heat_capacity_j_kgk,
                entry.thickness * MM,
            ),
        )
    stays = PLASTICS[entry.plastic].layer(entry.thickness * MM, entry.title)
    return (stays,) if entry.carrier == "none" else (CARRIERS[entry.carrier], stays)


def platen_for(press: PressType, surface_c: float, ambient_c: float = ROOM_C, covered: float = 1.0) -> HeatedPlaten:
    """The press's platen with its heater. ``covered`` is the share of the platen that bears on the piece.

    A small piece draws on the whole platen, so mass and power count per area covered. That holds for pieces down to
    about a third of a bench platen's width; heat does not reach a smaller one from the far corners in time.
    Raises HeatError for a press without a platen.
    """
    build = build_of(press)
    if not 0 < covered <= 1:
        raise HeatError(f"the share of the platen covered lies above 0 and at most 1, not {covered!r}")
    area_m2 = press.platen.width * press.platen.height * MM * MM * (2 if press.heated == "both" else 1)
    return HeatedPlaten(
        surface_c,
        build.capacity_j_m2k / covered,
        press.power / area_m2 / covered,
        build.loss_w_m2k / covered,
        ambient_c,
    )


def build_of(press: PressType) -> PlatenBuild:
    """Platen, bed and usual contact of a type of press. Raises HeatError for a press without a platen."""
    if press.closing not in PLATENS:
        raise HeatError(f"{press.title}: heated by moving air, not by a platen; this model does not hold for it")
    return PLATENS[press.closing]


def stack_for(
    substrate: Substrate,
    transfer: Transfer | None,
    press: PressType,
    surface_c: float,
    *,
    thickness_mm: float | None = None,
    cover: Sheet | None = None,
    pad: Sheet | None = None,
    plies: int = 1,
    water_share: float = 0.0,
    face_down: bool = False,
    sagging: bool | None = None,
    covered: float = 1.0,
    ambient_c: float = ROOM_C,
    contact: Interface | None = None,
) -> Stack:
    """The stack under ``press`` whose platen idles at a mean surface temperature of ``surface_c``.

    Top to bottom: platen, cover, carrier, what stays on the piece, blank (``plies`` of it: 2 for a shirt with its
    back under its front), pad, bed. ``face_down``: platen, cover, blank with the print below, carrier, pad, bed.
    Without a transfer, a strip lies where the print would.
    ``water_share``: what has to boil off (``materials.USUAL_WATER_SHARE`` where there is no pre-press, 0 after one).
    ``sagging``: whether the platen cools when it meets the piece; by default only a hand-held press's does, since a
    bench platen is four times as heavy. ``contact`` replaces the press type's usual contact.
    Raises HeatError for an oven, and for numbers out of range.
    """
    build = build_of(press)
    if plies not in (1, 2):
        raise HeatError(f"one or two plies of cloth lie under a print, not {plies}")
    require_positive("thickness_mm", substrate.thickness if thickness_mm is None else thickness_mm)
    blank = substrate_layer(substrate, thickness_mm, water_share)
    printed = () if transfer is None else transfer_layers(transfer)
    over = () if cover is None else (sheet_layer(cover),)
    beneath = (*(() if pad is None else (sheet_layer(pad),)), *_bed(press, build))
    if face_down:
        layers = (*over, blank, *reversed(printed), *beneath)
        place = len(over)
        bonded = range(place + 2, place + 1 + len(printed))
    else:
        layers = (*over, *printed, *((blank,) * plies), *beneath)
        place = len(over) + len(printed)
        bonded = range(len(over) + 1, place)
    between = build.contact if contact is None else contact
    beyond = () if press.heated == "both" else (PERFECT,)
    count = len(layers) + 1 - len(beyond)
    # The carrier and what it carries are one piece: no contact between them.
    contacts = tuple(PERFECT if i in bonded else between for i in range(count)) + beyond
    sags = press.closing == "hand" if sagging is None else sagging
    top = platen_for(press, surface_c, ambient_c, covered) if sags else FixedPlaten(surface_c)
    side = "lower" if face_down else "upper"
    return Stack(
        layers=layers,
        interfaces=contacts,
        blank=place,
        top=top,
        bottom=_bottom(press, surface_c, ambient_c),
        print_side=side,
    )


def start_for(press: PressType, stack: Stack) -> tuple[float, ...]:
    """The room's temperature for each layer, and a bench press's bed as the pressing before left it."""
    beds = len(PLATENS[press.closing].bed) if press.heated == "upper" else 0
    bed_c = ROOM_C if press.closing == "hand" else WARM_BED_C
    return (ROOM_C,) * (len(stack.layers) - beds) + (bed_c,) * beds


def _bed(press: PressType, build: PlatenBuild) -> tuple[Layer, ...]:
    return () if press.heated in ("both", "wrap") else build.bed


def _bottom(press: PressType, surface_c: float, ambient_c: float) -> Bottom:
    return FixedPlaten(surface_c) if press.heated == "both" else Convective(STILL_AIR_W_M2K, ambient_c)
