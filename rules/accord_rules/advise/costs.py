"""What a change of an order costs whoever asked for it: one table, and how unlike two transfers or blanks are.

The costs are a choice of this project, not measured: they only put kinds of change in the order that decorators prefer
(common practice, no source): first what keeps the blank and the look, then the size, then another blank. A change costs
its kind plus a part of one, the more the less alike what it gives is to what was asked, and the shorter it lasts. One
change is smaller than two, whatever they cost; of two changes the costs add up.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from accord_rules.documents.colour import read_colour
from accord_rules.orders.order import Artwork
from accord_rules.revision.catalogue import Blank, Transfer


@dataclass(frozen=True, slots=True)
class Cost:
    """What a kind of change costs, and why it stands where it stands."""

    cost: int
    why: str


COSTS: Mapping[str, Cost] = MappingProxyType(
    {
        "preparation": Cost(1, "the piece stays what it is and only has to wait or be wiped"),
        "settings": Cost(1, "a dial is turned; nothing is bought, printed or carried"),
        "press": Cost(2, "the work moves to another press of the shop, which may be busy"),
        "artwork": Cost(3, "the same artwork is printed anew as the transfer takes it, on another printer or mirrored"),
        "transfer": Cost(4, "the same artwork is made anew with another feel and price"),
        "size": Cost(5, "the print is made anew, smaller or larger than the customer asked"),
        "placement": Cost(5, "the print goes elsewhere on the piece than the customer asked"),
        "redraw": Cost(5, "the artwork itself is changed, which the customer has to agree to"),
        "look": Cost(6, "the print is made anew with a look that was not asked for"),
        "evidence": Cost(7, "a test or a maker's consent has to be had first, which takes days and may fail"),
        "ground": Cost(8, "the same blank has to be had in another colour, which the customer sees first"),
        "blank": Cost(9, "another piece than the one the customer chose"),
    }
)

# -- how unlike ------------------------------------------------------------------------------------------------------

ALIKE_BELOW = 0.5
_PRINTS = frozenset({"dye-vapour", "receptive-film", "ink-film", "powder-film", "toner", "inkjet-paper"})
_CUT = frozenset({"film", "foil"})
_LOSES_GRADIENTS = 0.4
_LOSES_COLOURS = 0.4
_THING_FOR_PRINT = 0.5  # stones, a patch or a label where a print was asked: never
_OTHER_THING = 0.4  # a print where stones, a patch or a label were asked, or one of those for another
_LOOKS_SPECIAL = 0.3  # glitter where plain was asked
_LOOKS_PLAIN = 0.2
_CUT_FOR_PRINTED = 0.15
_OTHER_PRINCIPLE = 0.05
_HIDES_OTHERWISE = 0.05
_OTHER_FAMILY = 0.02
_MARK_OF_DURABILITY = 0.04  # two marks less, as a paper has, outweigh that a print hides the ground otherwise
_LASTS_FROM = 4  # the mark from which a print lasts as long as the piece


def unlike_transfer(ordered: Transfer | None, offer: Transfer, artwork: Artwork | None) -> float:
    """How unlike another transfer's print is to the one asked for, 0 to 1; what is at least ALIKE_BELOW is no stand-in.

    What the artwork says it needs counts; where it says nothing, what the transfer asked for can show.
    """
    if ordered is None:
        return 0.0
    art = artwork or Artwork()
    gradients = ordered.gradients if art.gradient is None else art.gradient
    several = ordered.gradients if art.colours is None else art.colours > 1
    unlike = 0.0
    if gradients and not offer.gradients:
        unlike += _LOSES_GRADIENTS
    if several and offer.one_colour:
        unlike += _LOSES_COLOURS
    if ordered.look != offer.look:
        unlike += _LOOKS_PLAIN if offer.look == "plain" else _LOOKS_SPECIAL
    if ordered.principle != offer.principle:
        sorts = {_sort(ordered), _sort(offer)}
        if len(sorts) == 1:
            unlike += _OTHER_PRINCIPLE
        elif sorts == {"print", "cut"}:
            unlike += _CUT_FOR_PRINTED
        else:
            unlike += _THING_FOR_PRINT if _sort(ordered) in ("print", "cut") else _OTHER_THING
    if ordered.family != offer.family:
        unlike += _OTHER_FAMILY
    if ordered.opaque != offer.opaque:
        unlike += _HIDES_OTHERWISE
    return min(round(unlike, 6), 0.99)


def cost_of_transfer(ordered: Transfer | None, offer: Transfer, artwork: Artwork | None) -> float:
    """What another transfer costs: its kind of change, how unlike its print is, and how soon that washes out."""
    kind = "transfer" if keeps_look(ordered, offer, artwork) else "look"
    worn = _MARK_OF_DURABILITY * max(0, _LASTS_FROM - offer.durability)
    return round(COSTS[kind].cost + min(unlike_transfer(ordered, offer, artwork) + worn, 0.99), 6)


def keeps_look(ordered: Transfer | None, offer: Transfer, artwork: Artwork | None) -> bool:
    """Whether another transfer shows the same artwork with the same look."""
    if ordered is None:
        return True
    return ordered.look == offer.look and unlike_transfer(ordered, offer, artwork) < min(_LOSES_GRADIENTS, _OTHER_THING)


def _sort(transfer: Transfer) -> str:
    if transfer.principle in _PRINTS:
        return "print"
    return "cut" if transfer.principle in _CUT else transfer.principle


def unlike_ground(ordered: str, offer: str) -> float:
    """How far two colours of grounds are apart in CIELAB lightness, 0 to 1."""
    colours = [read_colour(said) for said in (ordered, offer)]
    lightness = [colour.lightness for colour in colours if colour is not None]
    return round(abs(lightness[0] - lightness[1]) / 101, 6) if len(lightness) == 2 else 0.99


# Uses of pieces that protect whoever wears them: a plain piece in their place protects nobody.
_PROTECTS = frozenset({"buoyancy-aid", "flame-resistant", "high-visibility", "medical", "protective"})


def protects_as(uses: Collection[str], offer: Blank) -> bool:
    """Whether a blank protects against all that a piece for these uses protects against."""
    return _PROTECTS.intersection(uses) <= set(offer.uses)


def is_same_sort(ordered: Blank, offer: Blank) -> bool:
    """Whether two blanks are the same kind of goods: nobody who wants a shirt is served with a coaster."""
    return ordered.kind == offer.kind


def same_but_for_colour(ordered: Blank, offer: Blank) -> bool:
    """Whether two blanks are the same article in different colours, as far as the book tells."""
    alike = ("kind", "substrate", "fibres", "coating", "areas", "features", "uses", "mass_per_area", "thickness")
    return all(getattr(ordered, name) == getattr(offer, name) for name in alike)
