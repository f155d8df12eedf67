"""What the law of the place says of this order: rows of the order's market, as far as its ages and papers leave them.

An order without a market is sold in its shop's; where the book has neither, ``elsewhere`` holds. What a shop's own
place says of circuits and plugs hangs on the shop alone, wherever the pieces go.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from accord_rules.documents import units
from accord_rules.orders.order import Circuit
from accord_rules.revision.catalogue import PressType
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Scope,
    entries,
    fact,
    limit,
    maybe,
    number,
    one_of,
    read,
    source,
)
from accord_rules.revision.markets import ELSEWHERE, AgeRow, CordRow, Market, MarketRow, PhthalateRow
from accord_rules.verdict import LEVELS

ORDER = Scope.ORDER
SILENT = "none"  # there is no row, it is not of this order, or a paper settles it
SAYS = (*LEVELS, SILENT)
# A circuit of this rating, A, and more feeds sockets whose plugs are fused; a smaller one is a supply of its own.
# BS 7671: radials of 20 A, rings of 30 or 32 A, from memory.
_SOCKETS_FROM_A = 20.0
_PPM_A_PERCENT = 10_000.0

Evidence = tuple[str, ...]


class Wearer(NamedTuple):
    """Whom a piece is for, as laws go by it: years and body height, where they are known; and the papers there are."""

    papers: Evidence
    youngest: float | None
    oldest: float | None
    height_mm: float | None = None


@fact("market.wearer", DATA, ORDER)
def wearer(
    papers: Evidence = read("order.evidence"),
    youngest: float | None = maybe("use.age_from"),
    oldest: float | None = maybe("use.age_to"),
    height_mm: float | None = maybe("use.height_mm"),
) -> Wearer:
    """Whom it is for, and what is on record."""
    return Wearer(papers, youngest, oldest, height_mm)


@fact("market.entry", DATA, ORDER)
def entry(
    said: str | None = source("/use/market"),
    own: str = source("shop/market"),
    markets: Mapping[str, Market] = entries("markets"),
) -> Market:
    """What the book knows of the law where it will be sold: the order's market, else the shop's, else elsewhere."""
    return markets.get(said or own) or markets[ELSEWHERE]


@fact("market.own", DATA, ORDER)
def own(name: str = source("shop/market"), markets: Mapping[str, Market] = entries("markets")) -> Market:
    """What the book knows of the law where the shop stands, whose code its circuits follow."""
    return markets.get(name) or markets[ELSEWHERE]


@fact("market.where", TEXT, ORDER)
def where(market: Market = read("market.entry")) -> str:
    """Where it will be sold, as a sentence says it: "in Canada"."""
    return market.where


def level_of(row: MarketRow | None, papers: Evidence, covered: bool | None = True) -> str | None:
    """What a row comes to for an order; None while it is not known whether it is of this order."""
    if row is None or set(row.lifted_by) & set(papers) or covered is False:
        return SILENT
    return row.level if covered else None


def covers(row: AgeRow, wearer: Wearer) -> bool | None:
    """Whether somebody for whom it is meant is young, or short, enough for a row; None where nobody can tell."""
    tallest = row.height_most if isinstance(row, CordRow) else None
    if wearer.height_mm is not None and tallest is not None and wearer.height_mm <= tallest:
        return True
    return _is_younger(row.age_under, wearer)


def _is_younger(age_under: float, wearer: Wearer) -> bool | None:
    """Whether the youngest of them is; an oldest age alone tells it only where it is below as well."""
    if wearer.youngest is not None:
        return wearer.youngest < age_under
    return True if wearer.oldest is not None and wearer.oldest < age_under else None


def _of_ages(row: AgeRow | None, wearer: Wearer) -> str | None:
    return level_of(row, wearer.papers, row is not None and covers(row, wearer))


# -- children --------------------------------------------------------------------------------------------------------


@fact("market.child", BOOL, ORDER)
def child(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> bool | None:
    """Whether the law where it is sold takes it for a child's."""
    return covers(market.childrens_product, wearer)


@fact("market.hood_cords", one_of(SAYS), ORDER)
def hood_cords(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of a cord in hood or neck of a garment for these ages and sizes."""
    levels = [_of_ages(row, wearer) for row in (market.hood_cords, market.hood_cord_ends) if row]
    known = [level for level in levels if level is not None]
    firmest = min(known, key=SAYS.index, default=SILENT if not levels else None)
    # What is not known yet could be firmer.
    return firmest if len(known) == len(levels) or firmest in LEVELS[:2] else None


@fact("market.cord_words", TEXT, ORDER)
def cord_words(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str:
    """What may not be in its hood or neck, in words: "any cord", or "cords with free ends"."""
    row = market.hood_cords
    for_the_youngest = row is not None and covers(row, wearer) is not False
    return "any cord" if for_the_youngest else "cords with free ends"


@fact("market.waist_cords", one_of(SAYS), ORDER)
def waist_cords(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of a cord at the waist or hem of a garment for these ages and sizes."""
    return _of_ages(market.waist_cords, wearer)


@fact("market.waist_cord_words", TEXT, ORDER)
def waist_cord_words(
    market: Market = read("market.entry"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """By how much the ends of a waist cord may stick out, in words."""
    row = market.waist_cords
    return "a hand's breadth" if row is None else units.show(units.LENGTH, row.out_most, preferences)


@fact("market.small_parts_words", TEXT, ORDER)
def small_parts_words(
    market: Market = read("market.entry"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """What counts as a small part, in words."""
    row = market.small_parts
    if row is None:
        return "what a child can swallow"
    return f"what fits a cylinder {units.show(units.LENGTH, row.across, preferences)} wide"


@fact("market.small_parts_warning", one_of(SAYS), ORDER)
def small_parts_warning(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of the warning on a toy with small parts, for those older than the parts are barred for."""
    return _of_ages(market.small_parts_warning, wearer)


@fact("market.toys", one_of(SAYS), ORDER)
def toys(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of tests and markings of a toy for these ages."""
    return _of_ages(market.toys, wearer)


@fact("market.magnets", one_of(SAYS), ORDER)
def magnets(market: Market = read("market.entry"), papers: Evidence = read("order.evidence")) -> str | None:
    """What its market says of magnets that can be swallowed."""
    return level_of(market.magnets, papers)


@fact("market.magnet_words", TEXT, ORDER)
def magnet_words(market: Market = read("market.entry")) -> str:
    """How strong a magnet that can be swallowed may be, in words."""
    row = market.magnets
    return "too weak to pinch" if row is None else f"below {units.show(units.FLUX_INDEX, row.flux_index_under)}"


# -- what is in it ---------------------------------------------------------------------------------------------------


@fact("market.lead", one_of(SAYS), ORDER)
def lead(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of lead in a piece for these ages."""
    return _of_ages(market.lead, wearer)


@fact("market.lead_words", TEXT, ORDER)
def lead_words(market: Market = read("market.entry")) -> str:
    """How much lead it may have, in words: "100 ppm, 90 ppm in its coating"."""
    row = market.lead
    if row is None:
        return "no figure is known"
    blank, coating = (units.show(units.MASS_FRACTION, most) for most in (row.blank_most, row.coating_most))
    return blank if blank == coating else f"{blank}, {coating} in its coating"


@fact("market.certificate", one_of(SAYS), ORDER)
def certificate(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of papers that whoever sells a piece for these ages issues."""
    return _of_ages(market.certificate, wearer)


@fact("market.nickel", one_of(SAYS), ORDER)
def nickel(market: Market = read("market.entry"), papers: Evidence = read("order.evidence")) -> str | None:
    """What its market says of nickel in metal on the skin."""
    return level_of(market.nickel, papers)


@fact("market.metal_words", TEXT, ORDER)
def metal_words(market: Market = read("market.entry"), markets: Mapping[str, Market] = entries("markets")) -> str:
    """What metal on the skin may give off and hold, in words; the strictest where its market says nothing."""
    words = []
    nickel = market.nickel or markets[ELSEWHERE].nickel
    if nickel is not None:
        words.append(f"nickel up to {units.show(units.METAL_RELEASE, nickel.release_most)}")
    if market.cadmium is not None:
        words.append(f"cadmium up to {units.show(units.MASS_FRACTION, market.cadmium.most)}")
    return ", ".join(words) or "no figure is known"


@fact("market.cadmium_in_plastic", one_of(SAYS), ORDER)
def cadmium_in_plastic(market: Market = read("market.entry"), papers: Evidence = read("order.evidence")) -> str | None:
    """What its market says of cadmium in PVC and other plastics."""
    row = market.cadmium
    return SILENT if row is None or row.plastic_most is None else level_of(row, papers)


@fact("market.cadmium_plastic_words", TEXT, ORDER)
def cadmium_plastic_words(market: Market = read("market.entry")) -> str:
    """How much cadmium plastic may hold, in words."""
    row = market.cadmium
    if row is None or row.plastic_most is None:
        return "what can be traced of it"
    return f"{row.plastic_most / _PPM_A_PERCENT:g} %"


@fact("market.cloth_words", TEXT, ORDER)
def cloth_words(
    market: Market = read("market.entry"),
    papers: Evidence = read("order.evidence"),
    family: str = read("item.family"),
    worn: bool = read("use.worn"),
    dyed: str | None = maybe("item.dye"),
    repellent: bool | None = maybe("item.repellent"),
) -> str:
    """What its market lets such cloth or leather hold that only its supplier can say, in words; empty for nothing."""
    if family not in ("cloth", "leather"):
        return ""
    coloured = dyed != "undyed" or family == "leather"
    rows = (
        (market.azo_dyes, worn and coloured),
        (market.cloth_metals, worn and coloured and family == "cloth"),
        (market.fluorine, bool(repellent)),
    )
    telling = (row for row, of_it in rows if of_it and level_of(row, papers) == "notes" and row is not None)
    return ", ".join(f"{row.substances} up to {units.show(units.MASS_FRACTION, row.most)}" for row in telling)


@fact("market.cloth_papers", BOOL, ORDER)
def cloth_papers(words: str = read("market.cloth_words")) -> bool:
    """Whether its market sets limits to dyes or finish of such cloth that no order tells."""
    return bool(words)


@fact("market.alteration", one_of(SAYS), ORDER)
def alteration(
    market: Market = read("market.entry"),
    papers: Evidence = read("order.evidence"),
    uses: tuple[str, ...] = read("use.kinds"),
) -> str | None:
    """What its market says of whoever alters wear that protects, or medical wear; none for other goods."""
    if "medical" in uses:
        return level_of(market.medical_devices, papers)
    if {"protective", "high-visibility", "flame-resistant"} & set(uses):
        return level_of(market.protective_wear, papers)
    return SILENT


@fact("market.fibre_label_percent", number(units.PERCENT), ORDER)
def fibre_label_percent(market: Market = read("market.entry"), all_of_it: float = limit("label.whole_piece")) -> float:
    """Up to which share of a piece its label may leave out fibres of a decoration; all of it where nothing is known."""
    return all_of_it if market.fibre_label is None else market.fibre_label.share_most


def _plasticiser_words(row: PhthalateRow | None) -> str:
    if row is None:
        return "what can be traced of the listed phthalates"
    share = f"{row.most / _PPM_A_PERCENT:g} %"
    return f"{share} of {row.substances} {'together' if row.together else 'each'}"


@fact("market.toy_phthalate_words", TEXT, ORDER)
def toy_phthalate_words(market: Market = read("market.entry")) -> str:
    """How much plasticiser a toy or childcare article may have, in words."""
    return _plasticiser_words(market.toy_phthalates)


@fact("market.skin_phthalate_words", TEXT, ORDER)
def skin_phthalate_words(market: Market = read("market.entry")) -> str:
    """How much plasticiser may lie on the skin, in words."""
    return _plasticiser_words(market.skin_phthalates)


@fact("market.skin_phthalates", one_of(SAYS), ORDER)
def skin_phthalates(market: Market = read("market.entry"), wearer: Wearer = read("market.wearer")) -> str | None:
    """What its market says of plasticisers in what lies on the skin of these ages for long."""
    row = market.skin_phthalates
    if row is None or row.age_under is None:
        return level_of(row, wearer.papers)
    return level_of(row, wearer.papers, _is_younger(row.age_under, wearer))


# -- fire, food ------------------------------------------------------------------------------------------------------


@fact("market.nightwear", one_of(SAYS), ORDER)
def nightwear(
    market: Market = read("market.entry"),
    wearer: Wearer = read("market.wearer"),
    cut: str = read("use.cut"),
) -> str | None:
    """What its market says of fire in nightwear of this cut for these ages and sizes."""
    row = market.nightwear
    level = _of_ages(row, wearer)
    return level if row is None or level in (None, SILENT) or cut == "loose" else row.fitted_level


@fact("market.clothing_fire", one_of(SAYS), ORDER)
def clothing_fire(market: Market = read("market.entry"), papers: Evidence = read("order.evidence")) -> str | None:
    """What its market says of fire in clothing."""
    return level_of(market.clothing_fire, papers)


@fact("market.plain_from_g_m2", number(units.AREA_DENSITY), ORDER)
def plain_from_g_m2(market: Market = read("market.entry")) -> float | None:
    """From which weight plain cloth is not tested for fire; unknown where its market says nothing of it."""
    return None if market.clothing_fire is None else market.clothing_fire.plain_from


@fact("market.food_words", TEXT, ORDER)
def food_words(market: Market = read("market.entry")) -> str:
    """What ware may give off into food, in words."""
    row = market.food_contact
    if row is None:
        return "no figure is known"
    lead, cadmium = (units.show(units.LEACHING, most) for most in (row.lead_most, row.cadmium_most))
    return f"lead up to {lead}, cadmium up to {cadmium}"


@fact("market.decorated_ware", one_of(SAYS), ORDER)
def decorated_ware(market: Market = read("market.entry"), papers: Evidence = read("order.evidence")) -> str | None:
    """What its market says of decorated ware for food, wherever the print is."""
    return level_of(market.decorated_ware, papers)


# -- the shop's own place --------------------------------------------------------------------------------------------


@fact("market.continuous_load", one_of(SAYS), ORDER)
def continuous_load(market: Market = read("market.own")) -> str:
    """What the law where the shop stands says of a load that lasts, above its share of the circuit."""
    return SILENT if market.continuous_load is None else market.continuous_load.level


@fact("market.continuous_share_most", number(units.PERCENT), ORDER)
def continuous_share_most(market: Market = read("market.own"), whole: float = limit("electric.circuit_full")) -> float:
    """Which share of a circuit a load that lasts may use where the shop stands; all of it where nothing is said."""
    return whole if market.continuous_load is None else market.continuous_load.share_most


@fact("market.plug_fuse", one_of(SAYS), ORDER)
def plug_fuse(market: Market = read("market.own")) -> str:
    """What the law where the shop stands says of more current than the fuse of a plug bears."""
    return SILENT if market.plug_fuse is None else market.plug_fuse.level


@fact("press.fused", BOOL, Scope.PRESSING)
def fused(circuit: Circuit | None = source("press/circuit")) -> bool:
    """Whether the shop has said what fuse the press's plug has."""
    return circuit is not None and circuit.fuse is not None


@fact("press.maybe_fused", BOOL, Scope.PRESSING)
def maybe_fused(circuit: Circuit | None = source("press/circuit"), market: Market = read("market.own")) -> bool:
    """Whether its plug has a fuse for all that is said: nothing of the fuse, and no supply of its own."""
    if market.plug_fuse is None or (circuit is not None and circuit.fuse is not None):
        return False
    return circuit is None or (not circuit.three_phase and circuit.rating >= _SOCKETS_FROM_A)


@fact("press.fuse_a", number(units.CURRENT), Scope.PRESSING)
def fuse_a(circuit: Circuit | None = source("press/circuit"), market: Market = read("market.own")) -> float | None:
    """What the fuse of its plug bears: as said, else as plugs have it where the shop stands."""
    if circuit is not None and circuit.fuse is not None:
        return circuit.fuse
    return None if market.plug_fuse is None else market.plug_fuse.rating


@fact("press.long_load_most_a", number(units.CURRENT), Scope.PRESSING)
def long_load_most_a(market: Market = read("market.own")) -> float | None:
    """What a fused plug bears for hours without getting hot."""
    return None if market.plug_fuse is None else market.plug_fuse.long_load_most


@fact("press.draw_a", number(units.CURRENT), Scope.PRESSING)
def draw_a(
    own_w: float | None = source("press/power"),
    circuit: Circuit | None = source("press/circuit"),
    nameplate_v: float | None = source("press/voltage"),
    market: Market = read("market.own"),
    usual: PressType = read("press.entry"),
) -> float | None:
    """What the press alone draws at full power: W / V, on three phases W / (√3 V)."""
    power = own_w if own_w is not None else usual.power
    if circuit is not None:
        return round(power / circuit.watts_per_ampere, 6)
    if nameplate_v is None and market.plug_fuse is not None:
        nameplate_v = market.plug_fuse.voltage
    return None if nameplate_v is None else round(power / nameplate_v, 6)
