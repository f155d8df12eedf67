"""Sheets and pads: which would do here by what they are for, and what must not lie bare under the platen.

A platen that comes down bare on a print or a coating takes some of it along, leaves its shine, and sticks. So whatever
carries a print already (from before, or from an earlier pressing of the same order) or a coating is pressed under a
sheet: in the pre-press, in the pressing itself, and in a second press. Pads are chosen by what they are for and how
thick they are. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from accord_rules.derive.chosen import ChosenPressing
from accord_rules.derive.transfer import Needed
from accord_rules.orders.order import NONE, Decoration
from accord_rules.orders.sheet import SECOND
from accord_rules.revision.catalogue import Consumable
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Scope,
    entries,
    fact,
    later,
    limit,
    maybe,
    one_of,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

ORDER, DECORATION, PRESSING = Scope.ORDER, Scope.DECORATION, Scope.PRESSING
# Things that stand up in the pressed area and hold the platen off the print beside them.
RAISED = frozenset(
    {
        "button",
        "collar",
        "drawstring",
        "elastic-waist",
        "embroidery",
        "eyelets",
        "hood",
        "placket",
        "pocket",
        "seam",
        "zip",
    }
)
# Placements that one platen comes down on together.
_SIDES = (frozenset({"front", "left-chest"}), frozenset({"back", "yoke"}), frozenset({"face", "food-face"}))
_EVERYWHERE = "all-round"
Consumables = Mapping[str, Consumable]


# -- what is for what ------------------------------------------------------------------------------------------------


def meant_for(consumables: Consumables, kind: str, purpose: str, *, thickness_least_mm: float = 0.0) -> tuple[str, ...]:
    """The book's sheets, pads or tapes for a purpose, thinnest first: what is thicker holds back more heat."""
    fitting = (
        (entry.thickness, name)
        for name, entry in consumables.items()
        if entry.kind == kind and purpose in entry.purposes and entry.thickness >= thickness_least_mm
    )
    return tuple(name for _, name in sorted(fitting))


def in_stock(
    acceptable: tuple[str, ...], consumables: Consumables, stock: tuple[str, ...], hottest_c: float | None
) -> str | None:
    """The first of them that the shop has and that bears the heat."""
    for name in acceptable:
        if name in stock and (hottest_c is None or consumables[name].limit >= hottest_c):
            return name
    return None


def titles(names: tuple[str, ...], consumables: Consumables) -> str:
    """Consumables in words: "felt pad or silicone sponge pad"."""
    return " or ".join(in_a_sentence(consumables[name].title) for name in names)


def named(entry: Consumable) -> str:
    """A sheet, pad or tape inside a sentence: "a felt pad", "heat tape (polyimide)"; paper and film have no "a"."""
    what, _, kind = in_a_sentence(entry.title).partition(", ")
    article = "" if {*what.split()} & {"paper", "tape", "film"} else "an " if what[0] in "aeiou" else "a "
    return f"{article}{what}{f' ({kind})' if kind else ''}"


@fact("stack.tapes", DATA, ORDER)
def tapes(consumables: Consumables = entries("consumables")) -> tuple[str, ...]:
    """Tapes that hold a carrier."""
    return meant_for(consumables, "tape", "hold")


@fact("stack.non_stick", DATA, ORDER)
def non_stick(consumables: Consumables = entries("consumables")) -> tuple[str, ...]:
    """Covers that no print, coating or adhesive sticks to."""
    return meant_for(consumables, "cover", "non-stick")


@fact("stack.pillows", DATA, ORDER)
def pillows(
    consumables: Consumables = entries("consumables"),
    thickness_least_mm: float = limit("press.pillow_thickness_least"),
) -> tuple[str, ...]:
    """Pads that lift a print clear of what stands up beside it, even when the platen presses them together."""
    return meant_for(consumables, "pad", "raise", thickness_least_mm=thickness_least_mm)


@fact("stack.covers", DATA, DECORATION)
def covers(
    needed: Needed = read("transfer.needed"),
    beside_print: bool | None = maybe("layer.beside_print"),
    coated: bool | None = maybe("item.coated"),
    goods: str | None = maybe("item.family"),
    principle: str | None = maybe("transfer.principle"),
    how: str | None = maybe("lay.how"),
    sheets: tuple[str, ...] = read("stack.non_stick"),
) -> tuple[str, ...]:
    """Covers that would do, best first.

    Non-stick ones where another print may lie under the platen, and on a coating or a leather's face, which it marks.
    Over the dye's own paper lies what blots: a coating is out of the platen's way there, and dye is not.
    """
    blots = principle == "dye-vapour" and how != "piece-down"
    if not (beside_print or (coated and not blots) or goods == "leather"):
        return needed.cover
    return tuple(sorted(needed.cover, key=lambda name: name not in sheets)) or sheets


@fact("stack.pads_needed", DATA, DECORATION)
def pads_needed(
    needed: Needed = read("transfer.needed"),
    brittle: bool | None = maybe("item.brittle"),
    shape: str | None = maybe("item.shape"),
    consumables: Consumables = entries("consumables"),
) -> tuple[str, ...]:
    """Pads of which one has to lie under the piece, best first: what the transfer names here, else under brittle flat
    goods whatever takes up unevenness."""
    return needed.pad or (meant_for(consumables, "pad", "even-out") if brittle and shape == "flat" else ())


@fact("stack.pads", DATA, DECORATION)
def pads(
    needed: tuple[str, ...] = read("stack.pads_needed"),
    raised: bool | None = maybe("item.raised"),
    pillows: tuple[str, ...] = read("stack.pillows"),
) -> tuple[str, ...]:
    """Pads that would do here, best first: those needed, else what raises the print where something stands up."""
    return needed or (pillows if raised else ())


@fact("stack.pads_bear_c", DATA, DECORATION)
def pads_bear_c(
    acceptable: tuple[str, ...] = read("stack.pads"),
    consumables: Consumables = entries("consumables"),
    stock: tuple[str, ...] = source("shop/stock/consumables"),
) -> float | None:
    """What the most heat-proof of these pads at the shop bears; None where none is wanted or at hand."""
    return max((consumables[name].limit for name in acceptable if name in stock), default=None)


@fact("item.raised", BOOL, ORDER)
def raised(
    cloth: bool | None = maybe("item.textile"),
    shape: str | None = maybe("item.shape"),
    features: tuple[str, ...] | None = maybe("item.features"),
) -> bool | None:
    """Whether something on flat cloth stands up in the pressed area, so that the print has to be lifted above it."""
    if cloth is False:
        return False
    return None if cloth is None or features is None else shape == "flat" and not RAISED.isdisjoint(features)


# -- what must not lie bare under the platen -------------------------------------------------------------------------


@fact("layer.beside", DATA, DECORATION)
def beside(
    placement: str | None = source("/decorations/{i}/placement"),
    over: int | None = source("/decorations/{i}/over"),
    placements: Mapping[int, str | None] = source("/decorations/{j}/placement"),
    main: str | None = maybe("place.main_area"),
) -> frozenset[int]:
    """The other decorations of the order that the platen may come down on while this one is pressed."""
    here = placement or main
    return frozenset(i for i, there in placements.items() if _one_platen(here, there or main) or over == i)


def _one_platen(here: str | None, there: str | None) -> bool:
    """Whether a platen on one placement may come down on the other; where one is not known, it may."""
    if here is None or there is None or here == there or _EVERYWHERE in (here, there):
        return True
    return any({here, there} <= side for side in _SIDES)


@fact("layer.beside_print", BOOL, DECORATION)
def beside_print(
    beside: frozenset[int] = read("layer.beside"), decorated: Callable[[], bool | None] = later("item.decorated")
) -> bool | None:
    """Whether another print may lie under the platen with this one: one from before, or one of this order."""
    return True if beside else decorated()


@fact("set.meets_print", BOOL, PRESSING)
def meets_print(
    earlier: Mapping[int, Decoration] = source("sequence/earlier"),
    beside: frozenset[int] = read("layer.beside"),
    decorated: Callable[[], bool | None] = later("item.decorated"),
) -> bool | None:
    """Whether a print is there already where the platen comes down: from before, or pressed earlier for this order."""
    return decorated() if beside.isdisjoint(earlier) else True


@fact("set.other_side_printed", BOOL, PRESSING)
def other_side_printed(
    earlier: Mapping[int, Decoration] = source("sequence/earlier"), beside: frozenset[int] = read("layer.beside")
) -> bool:
    """Whether a print that was pressed earlier for this order may lie on the base while this one is pressed."""
    return not beside.issuperset(earlier)


@fact("set.print_bare", BOOL, PRESSING, blamed=("set.open",))
def print_bare(
    cover: str | None = source("chosen/cover"), meets: Callable[[], bool | None] = later("set.meets_print")
) -> bool | None:
    """Whether the platen comes down bare, with no cover sheet, on a print that is there already."""
    return cover in (None, NONE) and meets()


@fact("set.pre_press_covered", BOOL, PRESSING)
def pre_press_covered(
    meets: bool | None = maybe("set.meets_print"),
    coat: bool | None = maybe("item.coated"),
    other_side: Callable[[], bool | None] = later("set.other_side_printed"),
) -> bool | None:
    """Whether the pre-press has to go under a sheet, since the piece carries a print or a coating."""
    if meets or coat or other_side():
        return True
    return None if meets is None or coat is None else False


@fact("set.pre_press_sheet", one_of("consumables|none"), PRESSING, blamed=("set.open",))
def pre_press_sheet(
    cover: str | None = source("chosen/cover"),
    surface_c: float | None = source("chosen/surface_c"),
    spread_k: float = source("chosen/spread_k"),
    sheets: tuple[str, ...] = read("stack.non_stick"),
    consumables: Consumables = entries("consumables"),
    stock: tuple[str, ...] = source("shop/stock/consumables"),
) -> str:
    """The non-stick sheet at hand for the pre-press of a piece with a print or coating; none where there is none."""
    if cover is not None and cover in sheets:
        return cover
    return in_stock(sheets, consumables, stock, hottest_c(surface_c, spread_k)) or NONE


@fact("set.pre_press_bare", BOOL, PRESSING, blamed=("set.open",))
def pre_press_bare(
    pre_press_s: float = source("chosen/pre_press_s"),
    covered: Callable[[], bool | None] = later("set.pre_press_covered"),
    sheet: Callable[[], str | None] = later("set.pre_press_sheet"),
) -> bool | None:
    """Whether the pre-press would put the bare platen on a print or a coating, for want of a sheet."""
    has_to_be = pre_press_s > 0 and covered()
    return has_to_be and sheet() == NONE


@fact("set.second_press_bare", BOOL, PRESSING, blamed=("set.open",))
def second_press_bare(pressings: tuple[ChosenPressing, ...] = source("chosen/pressings")) -> bool:
    """Whether a second press would put the bare platen on the print, since no sheet is set or at hand."""
    bare = (pressing for pressing in pressings if pressing.time_s > 0 and pressing.cover in (None, NONE))
    return any(pressing.name in SECOND for pressing in bare)


@fact("set.withdrawn", DATA, PRESSING, blamed=("set.open",))
def withdrawn(
    cover: str | None = source("chosen/cover"),
    pad: str | None = source("chosen/pad"),
    tape: str | None = source("chosen/tape"),
    out_of_use: tuple[str, ...] = source("shop/stock/withdrawn"),
) -> tuple[str, ...]:
    """What is set of cover, pad and tape that the shop has taken out of use."""
    return tuple(name for name in (cover, pad, tape) if name is not None and name in out_of_use)


@fact("set.sheet_withdrawn", BOOL, PRESSING)
def sheet_withdrawn(names: tuple[str, ...] = read("set.withdrawn")) -> bool:
    """Whether a cover, pad or tape is set that the shop has taken out of use."""
    return bool(names)


@fact("set.withdrawn_words", TEXT, PRESSING)
def withdrawn_words(
    names: tuple[str, ...] = read("set.withdrawn"), consumables: Consumables = entries("consumables")
) -> str:
    """What is set and out of use, in words."""
    return " and ".join(in_a_sentence(consumables[name].title) for name in names)


@fact("set.non_stick_words", TEXT, PRESSING)
def non_stick_words(
    names: tuple[str, ...] = read("stack.non_stick"), consumables: Consumables = entries("consumables")
) -> str:
    """Non-stick sheets, in words."""
    return titles(names, consumables)


@fact("set.pillow_words", TEXT, PRESSING)
def pillow_words(
    names: tuple[str, ...] = read("stack.pillows"), consumables: Consumables = entries("consumables")
) -> str:
    """Pads that lift a print clear of what stands up beside it, in words."""
    return titles(names, consumables)


def hottest_c(surface_c: float | None, spread_k: float) -> float | None:
    """The hottest spot of the surface; None where no temperature is set."""
    return None if surface_c is None else surface_c + spread_k
