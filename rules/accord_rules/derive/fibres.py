"""Shares of fibres by what heat and dye do to them, and the fibre that binds."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from accord_rules.documents import units
from accord_rules.revision.catalogue import Blank, Fibre, Substrate
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    Scope,
    entries,
    fact,
    later,
    limit,
    maybe,
    number,
    read,
    source,
)

ORDER = Scope.ORDER
ACETATES = ("CA", "CTA")
COTTON, MODACRYLIC = "CO", "MAC"
ALL_OF_IT = 99.0  # percent: labels are rounded
NATURAL_GROUPS = ("cellulose", "regenerated", "protein")


@fact(
    "item.fibres",
    DATA,
    ORDER,
    Ask("/item/fibres", "Which fibres is the cloth made of, in percent? The sewn-in label says."),
)
def fibres(
    textile: bool | None = maybe("item.textile"),
    said: Mapping[str, float] | None = source("/item/fibres"),
    blank: Blank | None = maybe("blank.entry"),
    substrate: Substrate | None = maybe("substrate.entry"),
) -> Mapping[str, float] | None:
    """Percent by fibre code; empty for what is not cloth."""
    if textile is False:
        return {}
    known = said if said is not None or blank is None else blank.fibres
    return substrate.fibres if known is None and substrate is not None else known


def _share(name: str, about: str, counts: Callable[[str, Fibre], bool]) -> None:
    """Declare the percentage of the fibres that count."""

    def share(mix: Mapping[str, float] = read("item.fibres"), known: Mapping[str, Fibre] = entries("fibres")) -> float:
        return float(round(sum(percent for code, percent in mix.items() if counts(code, known[code])), 6))

    fact(f"item.{name}_share", number(units.PERCENT), ORDER, about=about)(share)


_share("polyester", "Percent of polyester, the fibre sublimation dye bonds to.", lambda _, f: f.dye_affinity == "full")
_share(
    "natural",
    "Percent of natural and regenerated fibres but acetate: sublimation dye does not bond to them.",
    lambda code, f: f.group in NATURAL_GROUPS and code not in ACETATES,
)
_share(
    "cellulose",
    "Percent of cotton, linen, viscose and the like; acetate is no such fibre to heat or dye.",
    lambda code, f: f.group in ("cellulose", "regenerated") and code not in ACETATES,
)
_share(
    "viscose",
    "Percent of viscose, modal, lyocell and cupro.",
    lambda code, f: f.group == "regenerated" and code not in ACETATES,
)
_share("protein", "Percent of wool, silk and other animal fibres.", lambda _, f: f.group == "protein")
_share("nylon", "Percent of polyamide (nylon).", lambda _, f: f.group == "polyamide")
_share("acetate", "Percent of acetate and triacetate.", lambda code, _: code in ACETATES)
_share("acrylic", "Percent of acrylic and modacrylic.", lambda _, f: f.group == "acrylic")
_share("elastane", "Percent of elastane and other elastomers.", lambda _, f: f.group == "elastomer")
_share("olefin", "Percent of polypropylene and polyethylene.", lambda _, f: f.group == "olefin")
_share("vinyl", "Percent of chlorofibre.", lambda _, f: f.group == "vinyl")
_share("technical", "Percent of aramid, fluorofibre, glass and metal fibres.", lambda _, f: f.group == "technical")


@fact("item.cloth_polyester", DATA, ORDER)
def cloth_polyester(
    cloth: bool = read("item.textile"), share: Callable[[], float | None] = later("item.polyester_share")
) -> float | None:
    """Percent of polyester of cloth; None for what is none."""
    return share() if cloth else None


@fact("item.keep_cool", BOOL, ORDER)
def keep_cool(
    mix: Mapping[str, float] | None = maybe("item.fibres"),
    substrate: Substrate | None = maybe("substrate.entry"),
    known: Mapping[str, Fibre] = entries("fibres"),
    least: float = limit("fibres.counted_from"),
) -> bool:
    """Whether some of what it is made of is pressed as cool as the transfer holds, since heat harms it early and for
    good."""
    fibres = (known[code] for code, share in (mix or {}).items() if share >= least)
    return any(part.keep_cool for part in (substrate, *fibres) if part is not None)


@fact("item.binding", DATA, ORDER)
def binding(
    mix: Mapping[str, float] = read("item.fibres"),
    known: Mapping[str, Fibre] = entries("fibres"),
    least: float = limit("fibres.counted_from"),
    nylon_share: Callable[[], float] = later("item.nylon_share"),
    nylon_main: float = limit("dye.nylon_share_main"),
) -> Fibre | None:
    """The counted fibre that heat harms first; unknown for what is not cloth.

    A minority of nylon, as in microfibre towels, is carried by the rest: rules require a sample above its limit.
    """
    if not mix:
        return None
    main = {code for code in mix if known[code].group != "polyamide" or nylon_share() >= nylon_main}
    counted = [code for code, share in mix.items() if share >= least and code in main] or list(mix)
    return known[min(counted, key=lambda code: (known[code].harmful_from, code))]


@fact("item.binding_fibre", TEXT, ORDER)
def binding_fibre(bound: Fibre = read("item.binding")) -> str:
    """The name of the fibre that heat harms first."""
    return bound.name


@fact("item.fibre_harm", TEXT, ORDER)
def fibre_harm(bound: Fibre = read("item.binding")) -> str:
    """What happens to that fibre."""
    return bound.harm


@fact("item.fibre_limit_c", number(units.TEMPERATURE), ORDER)
def fibre_limit_c(bound: Fibre = read("item.binding")) -> float:
    """The temperature from which heat harms the most sensitive fibre counted."""
    return bound.harmful_from


@fact("item.protective_words", TEXT, ORDER)
def protective_words(
    mix: Mapping[str, float] = read("item.fibres"),
    known: Mapping[str, Fibre] = entries("fibres"),
    least: float = limit("people.technical_share_from"),
    nylon_least: float = limit("people.arc_blend_nylon_least"),
    nylon_most: float = limit("people.arc_blend_nylon_most"),
) -> str:
    """What of the cloth is mostly there to protect its wearer, in words: "50 % aramid"; empty where nothing is."""
    technical = {code: share for code, share in mix.items() if known[code].group == "technical" or code == MODACRYLIC}
    if sum(technical.values()) >= least:
        return " and ".join(f"{share:g} % {known[code].name}" for code, share in sorted(technical.items()))
    nylon = sum(share for code, share in mix.items() if known[code].group == "polyamide")
    cotton = mix.get(COTTON, 0.0)
    is_arc_blend = nylon_least <= nylon <= nylon_most and cotton + nylon >= ALL_OF_IT
    return f"{cotton:g} % cotton with {nylon:g} % nylon" if is_arc_blend else ""


@fact("item.protective_cloth", BOOL, ORDER)
def protective_cloth(words: str = read("item.protective_words")) -> bool:
    """Whether its fibres are those of cloth that protects from flame, cuts or sparks."""
    return bool(words)
