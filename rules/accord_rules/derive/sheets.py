"""Sheets and pads: which would do here by what they are for, and what must not lie bare under the platen.

A platen that comes down bare on a print or a coating takes some of it along, leaves its shine, and sticks. So whatever
carries a print already (from before, or from an earlier pressing of the same order) or a coating is pressed under a
sheet: in the pre-press, in the pressing itself, and in a second press. Pads are chosen by what they are for and how
thick they are. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from accord_rules.derive.artwork import placement_of
from accord_rules.derive.case import Case
from accord_rules.revision.catalogue import Consumable
from accord_rules.revision.facts import BOOL, TEXT, Scope, fact, one_of
from accord_rules.revision.sentences import in_a_sentence

if TYPE_CHECKING:
    from accord_rules.derive.setting import Chosen
    from accord_rules.derive.transfer import Needed

NONE = "none"  # said of a cover, pad or tape that is deliberately left out
# Things that stand up in the pressed area and hold the platen off the print beside them.
RAISED = frozenset(
    {"button", "collar", "drawstring", "elastic-waist", "embroidery", "hood", "placket", "pocket", "seam", "zip"}
)
# Placements that one platen comes down on together.
_SIDES = (frozenset({"front", "left-chest"}), frozenset({"back", "yoke"}), frozenset({"face", "food-face"}))
_EVERYWHERE = "all-round"


# -- what is for what ------------------------------------------------------------------------------------------------


def meant_for(case: Case, kind: str, purpose: str, *, thickness_least_mm: float = 0.0) -> tuple[str, ...]:
    """The book's sheets, pads or tapes for a purpose, thinnest first: what is thicker holds back more heat."""
    entries: Mapping[str, Consumable] = case.book.catalogue["consumables"]
    fitting = (
        (entry.thickness, name)
        for name, entry in entries.items()
        if entry.kind == kind and purpose in entry.purposes and entry.thickness >= thickness_least_mm
    )
    return tuple(name for _, name in sorted(fitting))


def in_stock(case: Case, acceptable: tuple[str, ...], hottest_c: float | None) -> str | None:
    """The first of them that the shop has and that bears the heat."""
    for name in acceptable:
        bears = hottest_c is None or case.entry("consumables", name).limit >= hottest_c
        if name in case.shop.stock.consumables and bears:
            return name
    return None


def tapes(case: Case) -> tuple[str, ...]:
    """Tapes that hold a carrier."""
    return meant_for(case, "tape", "hold")


def non_stick(case: Case) -> tuple[str, ...]:
    """Covers that no print, coating or adhesive sticks to."""
    return meant_for(case, "cover", "non-stick")


def pillows(case: Case) -> tuple[str, ...]:
    """Pads that lift a print clear of what stands up beside it, even when the platen presses them together."""
    return meant_for(case, "pad", "raise", thickness_least_mm=case.limit("press.pillow_thickness_least"))


def covers(case: Case, needed: Needed) -> tuple[str, ...]:
    """Covers that would do, best first.

    Non-stick ones where another print may lie under the platen, and on a coating or a leather's face, which it marks.
    """
    if not (case["layer.beside_print"] or case["item.coated"] or case["item.family"] == "leather"):
        return needed.cover
    sheets = non_stick(case)
    return tuple(sorted(needed.cover, key=lambda name: name not in sheets)) or sheets


def pads_needed(case: Case, needed: Needed) -> tuple[str, ...]:
    """Pads of which one has to lie under the piece, best first: what the transfer names here, else under brittle flat
    goods whatever takes up unevenness."""
    brittle = case["item.brittle"] and case["item.shape"] == "flat"
    return needed.pad or (meant_for(case, "pad", "even-out") if brittle else ())


def pads(case: Case, needed: Needed) -> tuple[str, ...]:
    """Pads that would do here, best first: those needed, else what raises the print where something stands up."""
    return pads_needed(case, needed) or (pillows(case) if case["item.raised"] else ())


def titles(case: Case, names: tuple[str, ...]) -> str:
    """Consumables in words: "felt pad or silicone sponge pad"."""
    return " or ".join(in_a_sentence(case.entry("consumables", name).title) for name in names)


@fact("item.raised", BOOL, Scope.ORDER)
def raised(case: Case) -> bool | None:
    """Whether something on flat cloth stands up in the pressed area, so that the print has to be lifted above it."""
    cloth, shape, features = case["item.textile"], case["item.shape"], case["item.features"]
    if cloth is False:
        return False
    return None if cloth is None or features is None else shape == "flat" and not RAISED.isdisjoint(features)


# -- what must not lie bare under the platen -------------------------------------------------------------------------


@fact("item.coated", BOOL, Scope.ORDER)
def coated(case: Case) -> bool | None:
    """Whether the printable face has a coating."""
    name = case["item.coating"]
    return None if name is None else name != NONE


def _one_platen(here: str | None, there: str | None) -> bool:
    """Whether a platen on one placement may come down on the other; where one is not known, it may."""
    if here is None or there is None or here == there or _EVERYWHERE in (here, there):
        return True
    return any({here, there} <= side for side in _SIDES)


def _beside(case: Case) -> frozenset[int]:
    """The other decorations of the order that the platen may come down on while this one is pressed."""
    mine, here = case.decoration, placement_of(case, case.decoration)
    return frozenset(
        index
        for index, other in enumerate(case.order.decorations)
        if index != case.index and (_one_platen(here, placement_of(case, other)) or mine.over == index)
    )


@fact("layer.beside_print", BOOL, Scope.DECORATION)
def beside_print(case: Case) -> bool | None:
    """Whether another print may lie under the platen with this one: one from before, or one of this order."""
    return True if _beside(case) else case["item.decorated"]


def _earlier(case: Case) -> tuple[int, ...] | None:
    """The decorations of the order that are pressed before this one."""
    found = case.sequence
    if found is None:
        return None
    return found.order[: found.order.index(case.index)] if case.index in found.order else ()


@fact("set.meets_print", BOOL, Scope.PRESSING)
def meets_print(case: Case) -> bool | None:
    """Whether a print is there already where the platen comes down: from before, or pressed earlier for this order."""
    earlier = _earlier(case)
    return None if earlier is None else True if not _beside(case).isdisjoint(earlier) else case["item.decorated"]


@fact("set.other_side_printed", BOOL, Scope.PRESSING)
def other_side_printed(case: Case) -> bool | None:
    """Whether a print that was pressed earlier for this order may lie on the base while this one is pressed."""
    earlier = _earlier(case)
    return None if earlier is None else not _beside(case).issuperset(earlier)


@fact("set.print_bare", BOOL, Scope.PRESSING)
def print_bare(case: Case) -> bool | None:
    """Whether the platen comes down bare, with no cover sheet, on a print that is there already."""
    chosen = _chosen(case)
    if chosen is None:
        return None
    meets: bool | None = chosen.cover in (None, NONE) and case["set.meets_print"]
    return meets


@fact("set.pre_press_covered", BOOL, Scope.PRESSING)
def pre_press_covered(case: Case) -> bool | None:
    """Whether the pre-press has to go under a sheet, since the piece carries a print or a coating."""
    meets, coat = case["set.meets_print"], case["item.coated"]
    if meets or coat or case["set.other_side_printed"]:
        return True
    return None if meets is None or coat is None else False


@fact("set.pre_press_sheet", one_of("consumables|none"), Scope.PRESSING)
def pre_press_sheet(case: Case) -> str | None:
    """The non-stick sheet at hand for the pre-press of a piece with a print or coating; none where there is none."""
    chosen, sheets = _chosen(case), non_stick(case)
    if chosen is None:
        return None
    return chosen.cover if chosen.cover in sheets else in_stock(case, sheets, _hottest_c(chosen)) or NONE


@fact("set.pre_press_bare", BOOL, Scope.PRESSING)
def pre_press_bare(case: Case) -> bool | None:
    """Whether the pre-press would put the bare platen on a print or a coating, for want of a sheet."""
    chosen = _chosen(case)
    if chosen is None:
        return None
    covered: bool | None = chosen.pre_press_s > 0 and case["set.pre_press_covered"]
    return covered and case["set.pre_press_sheet"] == NONE


@fact("set.second_press_sheet", one_of("consumables|none"), Scope.PRESSING)
def second_press_sheet(case: Case) -> str | None:
    """The sheet at hand for the second press: the cover, else a non-stick one; none where there is none."""
    chosen = _chosen(case)
    if chosen is None:
        return None
    if chosen.cover not in (None, NONE):
        return chosen.cover
    return in_stock(case, non_stick(case), _hottest_c(chosen)) or NONE


@fact("set.second_press_bare", BOOL, Scope.PRESSING)
def second_press_bare(case: Case) -> bool | None:
    """Whether a second press would put the bare platen on the print, for want of a sheet."""
    chosen = _chosen(case)
    return None if chosen is None else chosen.second_press_s > 0 and case["set.second_press_sheet"] == NONE


def _withdrawn(case: Case, chosen: Chosen) -> tuple[str, ...]:
    parts = (chosen.cover, chosen.pad, chosen.tape)
    return tuple(name for name in parts if name is not None and name in case.shop.stock.withdrawn)


@fact("set.sheet_withdrawn", BOOL, Scope.PRESSING)
def sheet_withdrawn(case: Case) -> bool | None:
    """Whether a cover, pad or tape is set that the shop has taken out of use."""
    chosen = _chosen(case)
    return None if chosen is None else bool(_withdrawn(case, chosen))


@fact("set.withdrawn_words", TEXT, Scope.PRESSING)
def withdrawn_words(case: Case) -> str | None:
    """What is set and out of use, in words."""
    chosen = _chosen(case)
    if chosen is None:
        return None
    return " and ".join(in_a_sentence(case.entry("consumables", name).title) for name in _withdrawn(case, chosen))


@fact("set.non_stick_words", TEXT, Scope.PRESSING)
def non_stick_words(case: Case) -> str:
    """Non-stick sheets, in words."""
    return titles(case, non_stick(case))


@fact("set.pillow_words", TEXT, Scope.PRESSING)
def pillow_words(case: Case) -> str:
    """Pads that lift a print clear of what stands up beside it, in words."""
    return titles(case, pillows(case))


def _chosen(case: Case) -> Chosen | None:
    if case.chosen is None or case.chosen.surface_c is None:
        case["window.exists"]  # so that what keeps the settings open is known as the cause
    return case.chosen


def _hottest_c(chosen: Chosen) -> float | None:
    return None if chosen.surface_c is None else chosen.surface_c + chosen.spread_k
