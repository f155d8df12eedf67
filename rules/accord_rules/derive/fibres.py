"""Shares of fibres by what heat and dye do to them, and the fibre that binds."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.revision.catalogue import Fibre
from accord_rules.revision.facts import DATA, TEXT, Ask, Scope, fact, number

ORDER = Scope.ORDER
ACETATES = ("CA", "CTA")
NATURAL_GROUPS = ("cellulose", "regenerated", "protein")


@fact(
    "item.fibres",
    DATA,
    ORDER,
    Ask("/item/fibres", "Which fibres is the cloth made of, in percent? The sewn-in label says."),
)
def fibres(case: Case) -> Mapping[str, float] | None:
    """Percent by fibre code; empty for what is not cloth."""
    if case["item.textile"] is False:
        return {}
    said: Mapping[str, float] | None = case.said("fibres")
    if said is None and case.substrate is not None:
        return case.substrate.fibres
    return said


def _share(case: Case, counts: Callable[[str, Fibre], bool]) -> float | None:
    mix = case["item.fibres"]
    if mix is None:
        return None
    return float(round(sum(share for code, share in mix.items() if counts(code, case.entry("fibres", code))), 6))


@fact("item.polyester_share", number(units.PERCENT), ORDER)
def polyester_share(case: Case) -> float | None:
    """Percent of polyester, the fibre sublimation dye bonds to."""
    return _share(case, lambda code, fibre: fibre.dye_affinity == "full")


@fact("item.natural_share", number(units.PERCENT), ORDER)
def natural_share(case: Case) -> float | None:
    """Percent of natural and regenerated fibres but acetate: sublimation dye does not bond to them."""
    return _share(case, lambda code, fibre: fibre.group in NATURAL_GROUPS and code not in ACETATES)


@fact("item.cellulose_share", number(units.PERCENT), ORDER)
def cellulose_share(case: Case) -> float | None:
    """Percent of cotton, linen, viscose and the like; acetate is no such fibre to heat or dye."""
    return _share(case, lambda code, fibre: fibre.group in ("cellulose", "regenerated") and code not in ACETATES)


@fact("item.protein_share", number(units.PERCENT), ORDER)
def protein_share(case: Case) -> float | None:
    """Percent of wool, silk and other animal fibres."""
    return _share(case, lambda code, fibre: fibre.group == "protein")


@fact("item.nylon_share", number(units.PERCENT), ORDER)
def nylon_share(case: Case) -> float | None:
    """Percent of polyamide (nylon)."""
    return _share(case, lambda code, fibre: fibre.group == "polyamide")


@fact("item.acetate_share", number(units.PERCENT), ORDER)
def acetate_share(case: Case) -> float | None:
    """Percent of acetate and triacetate."""
    return _share(case, lambda code, fibre: code in ACETATES)


@fact("item.acrylic_share", number(units.PERCENT), ORDER)
def acrylic_share(case: Case) -> float | None:
    """Percent of acrylic and modacrylic."""
    return _share(case, lambda code, fibre: fibre.group == "acrylic")


@fact("item.elastane_share", number(units.PERCENT), ORDER)
def elastane_share(case: Case) -> float | None:
    """Percent of elastane and other elastomers."""
    return _share(case, lambda code, fibre: fibre.group == "elastomer")


@fact("item.olefin_share", number(units.PERCENT), ORDER)
def olefin_share(case: Case) -> float | None:
    """Percent of polypropylene and polyethylene."""
    return _share(case, lambda code, fibre: fibre.group == "olefin")


@fact("item.vinyl_share", number(units.PERCENT), ORDER)
def vinyl_share(case: Case) -> float | None:
    """Percent of chlorofibre."""
    return _share(case, lambda code, fibre: fibre.group == "vinyl")


@fact("item.technical_share", number(units.PERCENT), ORDER)
def technical_share(case: Case) -> float | None:
    """Percent of aramid, fluorofibre, glass and metal fibres."""
    return _share(case, lambda code, fibre: fibre.group == "technical")


def binding(case: Case) -> tuple[str, Fibre] | None:
    """The counted fibre that heat harms first; None if unknown or not cloth."""
    mix = case["item.fibres"]
    if not mix:
        return None
    least = case.limit("fibres.counted_from")
    counted = [code for code, share in mix.items() if share >= least] or list(mix)
    code = min(counted, key=lambda each: (case.entry("fibres", each).harmful_from, each))
    return code, case.entry("fibres", code)


@fact("item.binding_fibre", TEXT, ORDER)
def binding_fibre(case: Case) -> str | None:
    """The name of the fibre that heat harms first."""
    bound = binding(case)
    return None if bound is None else bound[1].name


@fact("item.fibre_harm", TEXT, ORDER)
def fibre_harm(case: Case) -> str | None:
    """What happens to that fibre."""
    bound = binding(case)
    return None if bound is None else bound[1].harm


@fact("item.fibre_limit_c", number(units.TEMPERATURE), ORDER)
def fibre_limit_c(case: Case) -> float | None:
    """The temperature from which heat harms the most sensitive fibre counted."""
    bound = binding(case)
    return None if bound is None else bound[1].harmful_from
