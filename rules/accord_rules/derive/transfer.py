"""The transfer of one decoration, as it applies to this piece, and what lies under it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.revision.catalogue import (
    LOOKS,
    PLASTICS,
    PRINCIPLES,
    PressureWindow,
    TemperatureWindow,
    TimeWindow,
    Transfer,
)
from accord_rules.revision.facts import BOOL, DATA, TEXT, Ask, FactType, Scope, fact, number, one_of
from accord_rules.revision.sentences import in_a_sentence

DECORATION = Scope.DECORATION
# Opaque films whose light colours show dye that migrates into them.
_FILM_PRINCIPLES = ("film", "powder-film", "ink-film", "receptive-film", "toner", "inkjet-paper")


@fact(
    "transfer.family",
    one_of("transfers"),
    DECORATION,
    Ask("/decorations/{i}/transfer", "Which transfer? Name a family or a stocked product of the book."),
)
def family(case: Case) -> str | None:
    """The family of the transfer."""
    return case.transfer.family if case.transfer else None


def _declare(name: str, type_: FactType, about: str, read: Callable[[Transfer], Any]) -> None:
    def compute(case: Case) -> Any:
        return read(case.transfer) if case["transfer.family"] is not None and case.transfer else None

    compute.__doc__ = about
    fact(f"transfer.{name}", type_, DECORATION)(compute)


_declare("title", TEXT, "The transfer's plain name.", lambda t: in_a_sentence(t.title))
_declare("principle", one_of(PRINCIPLES), "How it decorates: dye vapour, film, toner ...", lambda t: t.principle)
_declare("look", one_of(LOOKS), "Its look: plain, glitter, metallic ...", lambda t: t.look)
_declare("plastic", one_of(PLASTICS), "The plastic it is made of.", lambda t: t.plastic)
_declare("opaque", BOOL, "Whether it hides the ground.", lambda t: t.opaque)
_declare("stretch", number(units.PERCENT), "How far it follows a stretching cloth, percent.", lambda t: t.stretch)
_declare("thickness_mm", number(units.LENGTH), "How thick it is once applied.", lambda t: t.thickness)
_declare("finest_line_mm", number(units.LENGTH), "The finest line it holds.", lambda t: t.finest_line)
_declare("one_colour", BOOL, "Whether one piece of it has one colour only.", lambda t: t.one_colour)
_declare("gradients", BOOL, "Whether it shows gradients and photographs.", lambda t: t.gradients)
_declare("white", BOOL, "Whether it can print white itself.", lambda t: t.white)
_declare("nylon_rated", BOOL, "Whether its adhesive is made for nylon.", lambda t: t.nylon_rated)
_declare("finish_rated", BOOL, "Whether its adhesive is tested on repellent finishes.", lambda t: t.finish_rated)
_declare("blocks_migration", BOOL, "Whether it keeps ground dye out of the print.", lambda t: t.blocks_migration)
_declare("mirrored", BOOL, "Whether its print must be a mirror image on the carrier.", lambda t: t.mirrored)
_declare("taped", BOOL, "Whether its carrier has to be held with heat tape.", lambda t: t.taped)
_declare("fumes", BOOL, "Whether pressing it gives off fumes that want extraction.", lambda t: t.fumes)
_declare("crystal", BOOL, "Whether it has glass or crystal stones, which may hold lead.", lambda t: t.crystal)
_declare("loose_parts", BOOL, "Whether it has parts that can come off and be swallowed.", lambda t: t.loose_parts)
_declare(
    "phthalate_declared",
    BOOL,
    "Whether its maker declares it below the phthalate limits.",
    lambda t: t.phthalate_declared,
)
_declare("lead_declared", BOOL, "Whether its maker declares it below the lead limits.", lambda t: t.lead_declared)
_declare("needs_second_press", BOOL, "Whether it wants a second press.", lambda t: t.second_press > 0)
_declare("second_press_s", number(units.TIME), "The second press it wants; 0 s for none.", lambda t: t.second_press)
_declare("wash_limit_c", number(units.TEMPERATURE), "The hottest wash it bears.", lambda t: t.wash_limit)
_declare("carrier_title", TEXT, "Its carrier in words.", lambda t: {"none": "no carrier"}.get(t.carrier, t.carrier))


@fact("transfer.stocked", BOOL, DECORATION)
def stocked(case: Case) -> bool | None:
    """Whether the shop stocks it: the product named, be it out of use, or any product of the family named."""
    name = case.decoration.transfer
    if name is None:
        return None
    products = case.book.catalogue["products"]
    return case["transfer.withdrawn"] or any(
        each == name or products[each].family == name for each in case.shop.stock.products
    )


@fact("transfer.withdrawn", BOOL, DECORATION)
def withdrawn(case: Case) -> bool | None:
    """Whether the shop has taken out of use the product named, or of the family named all that it had."""
    name, stock = case.decoration.transfer, case.shop.stock
    if name is None:
        return None
    products = case.book.catalogue["products"]
    of_family = {product for product in (*stock.products, *stock.withdrawn) if _family(products, product) == name}
    return name in stock.withdrawn or (bool(of_family) and of_family <= set(stock.withdrawn))


def _family(products: Mapping[str, Any], name: str) -> str | None:
    return products[name].family if name in products else None


@fact("transfer.suits_item", BOOL, DECORATION)
def suits_item(case: Case) -> bool | None:
    """Whether it is made for this family of substrates."""
    goods = case["item.family"]
    return None if case.transfer is None or goods is None else goods in case.transfer.suits


@dataclass(frozen=True, slots=True)
class Needed:
    """What the transfer needs on this piece: the general window, or the substrate's own where the book has one."""

    temperature: TemperatureWindow
    time: TimeWindow
    pressure: PressureWindow
    peel: tuple[str, ...]
    cover: tuple[str, ...]
    pad: tuple[str, ...]
    aim_s: float


@fact("transfer.needed", DATA, DECORATION)
def needed(case: Case) -> Needed | None:
    """Windows, peel, cover and pad for this transfer on this substrate at this size."""
    transfer, substrate, goods = case.transfer, case["item.substrate"], case["item.family"]
    if case["transfer.family"] is None or transfer is None or substrate is None:
        return None
    variant = transfer.on.get(substrate) or transfer.on.get(goods)
    time = (variant.time if variant else None) or transfer.time
    aim_s, print_size = time.aim, case["place.size"]
    if variant is not None and variant.aim_by_size and print_size is not None:
        points = tuple((each.longer_side, each.time) for each in variant.aim_by_size)
        longer_mm = max(print_size.width, print_size.height)
        aim_s = min(max(interpolate(points, longer_mm), time.least), time.most)
    return Needed(
        (variant.temperature if variant else None) or transfer.temperature,
        time,
        (variant.pressure if variant else None) or transfer.pressure,
        (variant.peel if variant else None) or transfer.peel,
        transfer.cover if variant is None or variant.cover is None else variant.cover,
        transfer.pad if variant is None or variant.pad is None else variant.pad,
        aim_s,
    )


def interpolate(points: tuple[tuple[float, float], ...], x: float) -> float:
    """Piecewise linear through ``points`` (sorted by x), held level beyond both ends."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]


def _needed(name: str, type_: FactType, about: str, read: Callable[[Case, Needed], Any]) -> None:
    def compute(case: Case) -> Any:
        found = case["transfer.needed"]
        return None if found is None else read(case, found)

    compute.__doc__ = about
    fact(f"transfer.{name}", type_, DECORATION)(compute)


_needed(
    "least_c",
    number(units.TEMPERATURE),
    "The least surface temperature it needs here.",
    lambda _, n: n.temperature.least,
)
_needed("aim_c", number(units.TEMPERATURE), "The surface temperature to aim at.", lambda _, n: n.temperature.aim)
_needed("most_c", number(units.TEMPERATURE), "The most surface temperature it bears.", lambda _, n: n.temperature.most)
_needed(
    "pressure_least_kpa",
    number(units.PRESSURE),
    "The least pressure on the print it needs.",
    lambda case, n: case.limit(f"pressure.{n.pressure.least}_least"),
)
_needed(
    "pressure_most_kpa",
    number(units.PRESSURE),
    "The most pressure on the print it bears.",
    lambda case, n: case.limit(f"pressure.{n.pressure.most}_most"),
)
_needed("pressure_word", TEXT, "The least pressure it needs, in the trade's word.", lambda _, n: n.pressure.least)
_needed(
    "peel_words",
    TEXT,
    "How its carrier, or the sheet that covered it, comes off.",
    lambda _, n: " or ".join(each for each in n.peel if each != "none") or "none",
)


@fact("transfer.migrates", BOOL, DECORATION)
def migrates(case: Case) -> bool | None:
    """Whether dye from this ground can migrate into this transfer and visibly tint it."""
    if case.transfer is None:
        return None
    if case.transfer.principle not in _FILM_PRINCIPLES or case.transfer.blocks_migration:
        return False
    dyed, light = case["item.disperse_dyed"], case["art.light"]
    if dyed is False or light is False:
        return False
    return None if dyed is None or light is None else True


@fact("layer.over", BOOL, DECORATION)
def over(case: Case) -> bool:
    """Whether it lies on another decoration of this order."""
    return case.decoration.over is not None


def _under(case: Case) -> Transfer | None:
    below = case.decoration.over
    return None if below is None else case.book.transfer(case.order.decorations[below].transfer)


@fact("layer.under_may", BOOL, DECORATION)
def under_may(case: Case) -> bool | None:
    """Whether the decoration below may be covered."""
    below = _under(case)
    return None if below is None else below.may_lie_under


@fact("layer.over_may", BOOL, DECORATION)
def over_may(case: Case) -> bool | None:
    """Whether this one may lie on another."""
    return case.transfer.may_lie_over if case.transfer is not None else None


@fact("layer.under_principle", one_of(PRINCIPLES), DECORATION)
def under_principle(case: Case) -> str | None:
    """How the decoration below decorates."""
    below = _under(case)
    return None if below is None else below.principle


@fact("layer.under_title", TEXT, DECORATION)
def under_title(case: Case) -> str | None:
    """What lies below, in words."""
    below = _under(case)
    return None if below is None else in_a_sentence(below.title)


def layers(case: Case) -> list[Transfer | None]:
    """The decorations from this one down to the ground."""
    found: list[Transfer | None] = []
    index = case.index
    while len(found) <= len(case.order.decorations):
        found.append(case.book.transfer(case.order.decorations[index].transfer))
        below = case.order.decorations[index].over
        if below is None:
            break
        index = below
    return found


@fact("layer.depth", number(units.COUNT), DECORATION)
def depth(case: Case) -> float:
    """How many layers lie here, this one counted."""
    return float(len(layers(case)))


@fact("layer.depth_most", number(units.COUNT), DECORATION)
def depth_most(case: Case) -> float | None:
    """How many layers the pickiest of them bears."""
    stack = layers(case)
    known = [each.layers_most for each in stack if each is not None]
    return float(min(known)) if len(known) == len(stack) else None
