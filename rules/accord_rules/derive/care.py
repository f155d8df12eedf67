"""Aftercare: what the slip in with the goods says of washing, drying and ironing, the strictest of all prints on them.

Common practice, no published source; the blank's own care label stays the blank's.
"""

from __future__ import annotations

from collections.abc import Mapping

from accord_rules.documents import units
from accord_rules.revision.catalogue import DRYERS, IRONS, Substrate, Transfer
from accord_rules.revision.facts import BOOL, Scope, fact, limit, limits, maybe, number, one_of, read

DECORATION = Scope.DECORATION


@fact("care.washable", BOOL, Scope.ORDER)
def washable(entry: Substrate = read("substrate.entry"), coating: str | None = maybe("item.coating")) -> bool:
    """Whether the piece is one that is washed: cloth made for it, without wax or PVC on it."""
    return entry.washable and coating not in ("wax", "pvc")


@fact("care.wash_c", number(units.TEMPERATURE), DECORATION)
def wash_c(
    every: tuple[Transfer, ...] = read("job.transfers"),
    protein: float | None = maybe("item.protein_share"),
    acetate: float | None = maybe("item.acetate_share"),
    nylon: float | None = maybe("item.nylon_share"),
    elastane: float | None = maybe("item.elastane_share"),
    most_c: Mapping[str, float] = limits("plan.wash_most", "plan.wash_delicate_most"),
    elastane_from: float = limit("plan.elastane_from"),
) -> float:
    """The wash that the slip names: no print of the order bears more, and prints last longer in less.

    Wool, silk, acetate, nylon and elastic cloth are washed cool.
    """
    delicate = bool(protein or acetate or nylon) or (elastane or 0.0) >= elastane_from
    return min(most_c["plan.wash_delicate_most" if delicate else "plan.wash_most"], *(t.wash_limit for t in every))


@fact("care.first_wash_s", number(units.TIME), DECORATION)
def first_wash_s(every: tuple[Transfer, ...] = read("job.transfers")) -> float:
    """How long the prints have to rest before the first wash."""
    return max(transfer.care.first_wash for transfer in every)


@fact("care.dryer", one_of(DRYERS), DECORATION)
def dryer(
    every: tuple[Transfer, ...] = read("job.transfers"), entry: Substrate | None = maybe("substrate.entry")
) -> str:
    """How hot it may be tumbled, if at all: what has a membrane, foam or filling behind its face is hung to dry."""
    if entry is not None and entry.one_sided:
        return "none"
    return DRYERS[max(DRYERS.index(transfer.care.dryer) for transfer in every)]


@fact("care.iron", one_of(IRONS), DECORATION)
def iron(
    every: tuple[Transfer, ...] = read("job.transfers"), entry: Substrate | None = maybe("substrate.entry")
) -> str:
    """How it may be ironed, if at all: an iron flattens a pile, and glazes one of polyester."""
    if entry is not None and entry.surface == "pile":
        return "never"
    return IRONS[max(IRONS.index(transfer.care.iron) for transfer in every)]
