"""The transfer of one decoration, as it applies to this piece, and what lies under it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any, NamedTuple

from accord_rules.documents import units
from accord_rules.orders.order import Size
from accord_rules.orders.sheet import Sheet
from accord_rules.revision.catalogue import (
    LOOKS,
    PLASTICS,
    PRINCIPLES,
    BlendWindow,
    MainPressing,
    PressAim,
    PressureWindow,
    TemperatureWindow,
    TimeWindow,
    Transfer,
    Variant,
    before_print,
    transfer_named,
)
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    FactType,
    Scope,
    entries,
    fact,
    later,
    limits,
    maybe,
    number,
    one_of,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

DECORATION = Scope.DECORATION
# Opaque films whose light colours show dye that migrates into them.
_FILM_PRINCIPLES = ("film", "powder-film", "ink-film", "receptive-film", "toner", "inkjet-paper")


@fact("transfer.entry", DATA, DECORATION)
def entry(
    name: str | None = source("/decorations/{i}/transfer"),
    products: Mapping[str, Transfer] = entries("products"),
    families: Mapping[str, Transfer] = entries("transfers"),
    dyed_over: bool | None = maybe("layer.dyed_over"),
) -> Transfer | None:
    """What the book knows of the transfer: a product, or a family as such; of a film whose dye is a print of its own,
    the film alone."""
    known = transfer_named(name, products, families)
    return before_print(known) if known is not None and dyed_over else known


@fact(
    "transfer.family",
    one_of("transfers"),
    DECORATION,
    Ask("/decorations/{i}/transfer", "Which transfer? Name a family or a stocked product of the book."),
)
def family(entry: Transfer = read("transfer.entry")) -> str:
    """The family of the transfer."""
    return entry.family


def _of_entry(name: str, type_: FactType, about: str, pick: Callable[[Transfer], Any]) -> None:
    """Declare a fact that the transfer's entry says."""

    def said(entry: Transfer = read("transfer.entry")) -> Any:
        return pick(entry)

    fact(f"transfer.{name}", type_, DECORATION, blamed=("transfer.family",), about=about)(said)


_of_entry("title", TEXT, "The transfer's plain name.", lambda t: in_a_sentence(t.title))
_of_entry("principle", one_of(PRINCIPLES), "How it decorates: dye vapour, film, toner ...", lambda t: t.principle)
_of_entry("look", one_of(LOOKS), "Its look: plain, glitter, metallic ...", lambda t: t.look)
_of_entry("plastic", one_of(PLASTICS), "The plastic it is made of.", lambda t: t.plastic)
_of_entry("opaque", BOOL, "Whether it hides the ground.", lambda t: t.opaque)
_of_entry("stretch", number(units.PERCENT), "How far it follows a stretching cloth, percent.", lambda t: t.stretch)
_of_entry("thickness_mm", number(units.LENGTH), "How thick it is once applied.", lambda t: t.thickness)
_of_entry("finest_line_mm", number(units.LENGTH), "The finest line it holds.", lambda t: t.finest_line)
_of_entry("one_colour", BOOL, "Whether one piece of it has one colour only.", lambda t: t.one_colour)
_of_entry("gradients", BOOL, "Whether it shows gradients and photographs.", lambda t: t.gradients)
_of_entry("white", BOOL, "Whether it can print white itself.", lambda t: t.white)
_of_entry("nylon_rated", BOOL, "Whether its adhesive is made for nylon.", lambda t: t.nylon_rated)
_of_entry("finish_rated", BOOL, "Whether its adhesive is tested on repellent finishes.", lambda t: t.finish_rated)
_of_entry("blocks_migration", BOOL, "Whether it keeps ground dye out of the print.", lambda t: t.blocks_migration)
_of_entry("mirrored", BOOL, "Whether its print must be a mirror image on the carrier.", lambda t: t.mirrored)
_of_entry("taped", BOOL, "Whether its carrier has to be held with heat tape.", lambda t: t.taped)
_of_entry("fumes", BOOL, "Whether pressing it gives off fumes that want extraction.", lambda t: t.fumes)
_of_entry("crystal", BOOL, "Whether it has glass or crystal stones, which may hold lead.", lambda t: t.crystal)
_of_entry("loose_parts", BOOL, "Whether it has parts that can come off and be swallowed.", lambda t: t.loose_parts)
_of_entry(
    "phthalate_declared",
    BOOL,
    "Whether its maker declares it below the phthalate limits.",
    lambda t: t.phthalate_declared,
)
_of_entry("wash_limit_c", number(units.TEMPERATURE), "How hot it may be washed.", lambda t: t.wash_limit)
_of_entry("lead_declared", BOOL, "Whether its maker declares it below the lead limits.", lambda t: t.lead_declared)
_of_entry("nickel_declared", BOOL, "Whether its maker declares it below the nickel limit.", lambda t: t.nickel_declared)


@fact("transfer.stocked", BOOL, DECORATION)
def stocked(
    name: str | None = source("/decorations/{i}/transfer"),
    withdrawn: Callable[[], bool | None] = later("transfer.withdrawn"),
    products: Mapping[str, Transfer] = entries("products"),
    in_stock: tuple[str, ...] = source("shop/stock/products"),
) -> bool | None:
    """Whether the shop stocks it: the product named, be it out of use, or any product of the family named."""
    if name is None:
        return None
    return withdrawn() or any(product == name or products[product].family == name for product in in_stock)


@fact("transfer.withdrawn", BOOL, DECORATION)
def withdrawn(
    name: str | None = source("/decorations/{i}/transfer"),
    products: Mapping[str, Transfer] = entries("products"),
    in_stock: tuple[str, ...] = source("shop/stock/products"),
    out_of_use: tuple[str, ...] = source("shop/stock/withdrawn"),
) -> bool | None:
    """Whether the shop has taken out of use the product named, or of the family named all that it had."""
    if name is None:
        return None
    of_family = {
        product for product in (*in_stock, *out_of_use) if product in products and products[product].family == name
    }
    return name in out_of_use or (bool(of_family) and of_family <= set(out_of_use))


@fact("transfer.suits_item", BOOL, DECORATION)
def suits_item(entry: Transfer = read("transfer.entry"), goods: str = read("item.family")) -> bool:
    """Whether it is made for this family of substrates."""
    return goods in entry.suits


# -- what it needs here ----------------------------------------------------------------------------------------------


class Needed(NamedTuple):
    """What the transfer needs on this piece.

    ``aim_by_size``: the dwell to aim at, s, by the longer side of the print, mm; empty where size does not matter.
    ``by_press``: what to aim at on types of press whose practice is their own.
    """

    temperature: TemperatureWindow
    time: TimeWindow
    pressure: PressureWindow
    peel: tuple[str, ...]
    cover: tuple[str, ...]
    pad: tuple[str, ...]
    aim_by_size: tuple[tuple[float, float], ...]
    by_press: Mapping[str, PressAim]


def sheet_of(entry: Transfer, substrate: str, goods: str) -> MainPressing:
    """What the sheet of a product in the book decides of its main pressing here; of a family, nothing.

    A sheet that says nothing of this substrate was written for common pieces: what the family says of it stands first.
    """
    if entry.sheet is None:
        return _UNSAID
    here, variant = _on(entry.sheet.on, substrate, goods) or _UNSAID, _on(entry.on, substrate, goods) or _UNSAID
    general = {name: getattr(entry.sheet, name) for name in _SAYS if getattr(variant, name) is None}
    return MainPressing(**general | {name: said for name in _SAYS if (said := getattr(here, name)) is not None})


def practice_of(
    entry: Transfer,
    substrate: str,
    goods: str,
    polyester: float | None = None,
    *,
    said: MainPressing | None = None,
) -> Needed:
    """What the product's sheet decides, or what is ``said`` in its place; the rest as is usual of its family: on the
    substrate (or its family), else on cloth with so much polyester (percent; None for what is no cloth, and for unknown
    fibres), else in general."""
    variant: Variant | None = _on(entry.on, substrate, goods)
    sheet = sheet_of(entry, substrate, goods) if said is None else said
    usual = variant or _NO_VARIANT
    sizes = usual.aim_by_size if sheet.time is None else ()
    needed = {name: _first(name, sheet, usual, entry) for name in _SAYS}
    if sheet.temperature is None and usual.temperature is None:
        needed["temperature"] = _of_blend(entry, polyester)
    return Needed(
        **needed,
        aim_by_size=tuple((sized.longer_side, sized.time) for sized in sizes),
        by_press=_by_press(entry, variant, sheet),
    )


class OfStock(NamedTuple):
    """What all that the shop has of a family wants otherwise than is usual of it, and what it is called.

    ``said``: by the book's sheets, whose date or number is ``edition``, of the main pressing here. ``sheet``: the
    shop's own sheet for it, if it has one.
    """

    said: MainPressing
    edition: str | None
    sheet: Sheet | None
    title: str


@fact("transfer.of_stock", DATA, DECORATION)
def of_stock(
    entry: Transfer = read("transfer.entry"),
    name: str | None = source("/decorations/{i}/transfer"),
    products: Mapping[str, Transfer] = entries("products"),
    in_stock: tuple[str, ...] = source("shop/stock/products"),
    sheets: Mapping[str, Sheet] = source("shop/stock/sheets"),
    substrate: str | None = maybe("item.substrate"),
    goods: str | None = maybe("item.family"),
    polyester: float | None = maybe("item.cloth_polyester"),
    dyed_over: bool | None = maybe("layer.dyed_over"),
) -> OfStock | None:
    """Of a family named, what all that the shop has of it for such goods wants where that is not as is usual of the
    family: what one of them wants otherwise than another stays the family's. None where that is nothing."""
    of_family = [stocked for stocked in in_stock if stocked in products and products[stocked].family == name]
    suited = [stocked for stocked in of_family if goods is None or goods in products[stocked].suits]
    if not suited or dyed_over:
        return None
    here = (substrate or "", goods or "")
    usual, own = practice_of(entry, *here, polyester), [sheet_of(products[stocked], *here) for stocked in suited]
    shops = [sheets.get(stocked) for stocked in suited]
    peels = {sheet.peel if sheet and sheet.peel else of_book.peel for sheet, of_book in zip(shops, own, strict=True)}
    ways = {setting: {getattr(of_book, setting) for of_book in own} for setting in _SAYS} | {"peel": peels}
    alike = {setting: way for setting, (way, *others) in ways.items() if way is not None and not others}
    said = {setting: way for setting, way in alike.items() if way != getattr(usual, setting)}
    sheet = shops[0] if all(other == shops[0] for other in shops) else None
    if not said and sheet is None:
        return None
    title = " and ".join(in_a_sentence(products[stocked].title) for stocked in suited)
    editions = {None if whole is None else whole.edition for whole in (products[stocked].sheet for stocked in suited)}
    return OfStock(MainPressing(**said), editions.pop() if len(editions) == 1 else None, sheet, title)


@fact("transfer.stock_peels", DATA, DECORATION)
def stock_peels(
    name: str | None = source("/decorations/{i}/transfer"),
    products: Mapping[str, Transfer] = entries("products"),
    in_stock: tuple[str, ...] = source("shop/stock/products"),
    sheets: Mapping[str, Sheet] = source("shop/stock/sheets"),
    needed: Needed = read("transfer.needed"),
    substrate: str | None = maybe("item.substrate"),
    goods: str | None = maybe("item.family"),
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Of a family named, what the shop has of it for such goods: the title of each, and how that is peeled by the
    shop's own sheet, else by the book's, else as is usual of the family."""
    return tuple(
        (in_a_sentence(product.title), _peel_of(product, sheets.get(stocked), needed, substrate or "", goods or ""))
        for stocked in in_stock
        if (product := products.get(stocked)) is not None
        and product.family == name
        and (goods is None or goods in product.suits)
    )


def _peel_of(product: Transfer, own: Sheet | None, needed: Needed, substrate: str, goods: str) -> tuple[str, ...]:
    by_shop = own.peel if own is not None else None
    return by_shop or sheet_of(product, substrate, goods).peel or needed.peel


def _on(variants: Mapping[str, Any], substrate: str, goods: str) -> Any:
    """What is said of the substrate, else of its family; None for nothing."""
    return variants.get(substrate) or variants.get(goods)


def _first(name: str, *layers: MainPressing | Transfer) -> Any:
    """What the first of the layers says that says anything."""
    return next((said for layer in layers if (said := getattr(layer, name)) is not None), None)


def _by_press(entry: Transfer, variant: Variant | None, sheet: MainPressing) -> Mapping[str, PressAim]:
    """The substrate's own aims, else the general ones, as far as neither it nor the sheet says otherwise."""
    if sheet.temperature is not None:
        return NO_PRESS_AIMS
    own = variant is not None and (variant.by_press or variant.temperature is not None)
    aims = variant.by_press if variant is not None and own else entry.by_press
    timed = sheet.time is not None or (variant is not None and not own and variant.time is not None)
    return {press: replace(aim, time=None) for press, aim in aims.items()} if timed else aims


def _of_blend(entry: Transfer, polyester: float | None) -> TemperatureWindow:
    """The window of the largest share that the cloth reaches."""
    reached = (blend for blend in entry.by_polyester if polyester is not None and blend.polyester <= polyester)
    return max(reached, key=_share, default=entry).temperature


def _share(blend: BlendWindow) -> float:
    return blend.polyester


_UNSAID, _NO_VARIANT = MainPressing(), Variant()
NO_PRESS_AIMS: Mapping[str, PressAim] = MappingProxyType({})
_SAYS = tuple(name for name in Needed._fields if name not in ("aim_by_size", "by_press"))


@fact("transfer.time_aim_s", DATA, DECORATION)
def time_aim_s(needed: Needed = read("transfer.needed"), print_size: Size | None = maybe("place.size")) -> float | None:
    """The dwell to aim at for a print of this size, before what a press adds."""
    if not needed.aim_by_size:
        return needed.time.aim
    if print_size is None:
        return None
    aim_s = interpolate(needed.aim_by_size, max(print_size.width, print_size.height))
    return min(max(aim_s, needed.time.least), needed.time.most)


def interpolate(points: Sequence[tuple[float, float]], x: float) -> float:
    """Piecewise linear through ``points`` (sorted by x), held level beyond both ends."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]


@fact("transfer.keep_cool", BOOL, DECORATION)
def keep_cool(entry: Transfer = read("transfer.entry"), cool: bool = read("item.keep_cool")) -> bool:
    """Whether it is pressed here as cool as it holds, for the piece's sake; dye is not, since it pales instead."""
    return cool and entry.principle != "dye-vapour"


@fact("transfer.least_c", number(units.TEMPERATURE), DECORATION)
def least_c(needed: Needed = read("transfer.needed")) -> float:
    """The least surface temperature it needs here."""
    return needed.temperature.least


@fact("transfer.aim_c", number(units.TEMPERATURE), DECORATION)
def aim_c(needed: Needed = read("transfer.needed")) -> float:
    """The surface temperature to aim at."""
    return needed.temperature.aim


@fact("transfer.most_c", number(units.TEMPERATURE), DECORATION)
def most_c(needed: Needed = read("transfer.needed")) -> float:
    """The most surface temperature it bears."""
    return needed.temperature.most


@fact("transfer.pressure_least_kpa", number(units.PRESSURE), DECORATION)
def pressure_least_kpa(
    needed: Needed = read("transfer.needed"),
    least: Mapping[str, float] = limits("pressure.light_least", "pressure.medium_least", "pressure.firm_least"),
) -> float:
    """The least pressure on the print it needs."""
    return least[f"pressure.{needed.pressure.least}_least"]


@fact("transfer.pressure_most_kpa", number(units.PRESSURE), DECORATION)
def pressure_most_kpa(
    needed: Needed = read("transfer.needed"),
    most: Mapping[str, float] = limits("pressure.light_most", "pressure.medium_most", "pressure.firm_most"),
) -> float:
    """The most pressure on the print it bears."""
    return most[f"pressure.{needed.pressure.most}_most"]


@fact("transfer.pressure_word", TEXT, DECORATION)
def pressure_word(needed: Needed = read("transfer.needed")) -> str:
    """The least pressure it needs, in the trade's word."""
    return needed.pressure.least


@fact("transfer.peel_words", TEXT, DECORATION)
def peel_words(needed: Needed = read("transfer.needed")) -> str:
    """How its carrier, or the sheet that covered it, comes off."""
    return " or ".join(peel for peel in needed.peel if peel != "none") or "none"


@fact("transfer.migrates", BOOL, DECORATION)
def migrates(
    entry: Transfer = read("transfer.entry"),
    dye: Callable[[], str | None] = later("migration.dye"),
    light: Callable[[], bool | None] = later("art.light"),
    blocked: bool | None = maybe("layer.blocked"),
) -> bool | None:
    """Whether dye from beneath, of the cloth or a fresh dye print, can migrate into this transfer and visibly tint it:
    not through a print below that blocks it."""
    if entry.principle not in _FILM_PRINCIPLES or entry.blocks_migration or blocked:
        return False
    beneath, with_light = dye(), light()
    if beneath == "none" or with_light is False:
        return False
    return None if beneath is None or with_light is None else True


# -- what lies under it ----------------------------------------------------------------------------------------------


@fact("layer.over", BOOL, DECORATION)
def over(below: int | None = source("/decorations/{i}/over")) -> bool:
    """Whether it lies on another decoration of this order."""
    return below is not None


@fact("layer.under_another", BOOL, DECORATION)
def under_another(
    index: int = source("layers/index"), overs: Mapping[int, int | None] = source("/decorations/{j}/over")
) -> bool:
    """Whether another decoration of this order lies on it."""
    return index in overs.values()


@fact("layer.entries", DATA, DECORATION)
def layer_entries(
    names: tuple[str | None, ...] = source("layers/transfers"),
    products: Mapping[str, Transfer] = entries("products"),
    families: Mapping[str, Transfer] = entries("transfers"),
) -> tuple[Transfer | None, ...]:
    """The transfers of the decorations from this one down to the ground."""
    return tuple(transfer_named(name, products, families) for name in names)


@fact("layer.dyed_over", BOOL, DECORATION)
def dyed_over(
    names: tuple[str | None, ...] = source("layers/above"),
    products: Mapping[str, Transfer] = entries("products"),
    families: Mapping[str, Transfer] = entries("transfers"),
) -> bool | None:
    """Whether a dye print of this order lies on it."""
    above = [transfer_named(name, products, families) for name in names]
    if any(upper is not None and upper.principle == "dye-vapour" for upper in above):
        return True
    return None if None in above else False


@fact("transfer.dyes", BOOL, DECORATION)
def dyes(principle: str = read("transfer.principle"), dyed_over: bool | None = maybe("layer.dyed_over")) -> bool:
    """Whether dye is driven into it while it is pressed: a dye print, or a film that is pressed with its dye."""
    return principle == "dye-vapour" or (principle == "receptive-film" and not dyed_over)


@fact("layer.blocked", BOOL, DECORATION)
def blocked(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> bool | None:
    """Whether a print of this order that lies below keeps the ground's dye from it."""
    below = stack[1:]
    if any(layer is not None and layer.blocks_migration for layer in below):
        return True
    return None if None in below else False


# -- the ground: what the print meets ---------------------------------------------------------------------------------


@fact("ground.printed", BOOL, DECORATION)
def ground_printed(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> bool | None:
    """Whether it meets the face of another print of this order and not the piece. A dye print has no face of its own:
    what lies on it meets what the dye went into."""
    return _known_face(stack[1:], lambda face: face is not None)


@fact("ground.receptive", BOOL, DECORATION)
def ground_receptive(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> bool | None:
    """Whether it meets the face of a dye-receptive film of this order, which takes dye as a coating of polymer does."""
    return _known_face(stack[1:], lambda face: face is not None and face.principle == "receptive-film")


def _known_face(below: Sequence[Transfer | None], holds: Callable[[Transfer | None], bool]) -> bool | None:
    """What holds of the face that a print meets, None being the piece's own; None while a layer is not known."""
    for layer in below:
        if layer is None:
            return None
        if layer.principle != "dye-vapour":
            return holds(layer)
    return holds(None)


@fact("ground.textile", BOOL, DECORATION)
def ground_textile(
    cloth: bool | None = maybe("item.textile"), printed: Callable[[], bool | None] = later("ground.printed")
) -> bool | None:
    """Whether it meets cloth: that of the piece, with no face of another print between."""
    if cloth is False:
        return False
    covered = printed()
    return False if covered else None if covered is None else cloth


@fact("ground.film", DATA, DECORATION)
def ground_film(
    entry: Transfer = read("transfer.entry"), stack: tuple[Transfer | None, ...] = read("layer.entries")
) -> Transfer | None:
    """The dye-receptive film that a dye print goes into; unknown where it goes into something else."""
    faces = (layer for layer in stack[1:] if layer is None or layer.principle != "dye-vapour")
    face = next(faces, None)
    takes = entry.principle == "dye-vapour" and face is not None and face.principle == "receptive-film"
    return face if takes else None


@fact("layer.under_entry", DATA, DECORATION)
def under_entry(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> Transfer | None:
    """The transfer of the decoration below."""
    return stack[1] if len(stack) > 1 else None


@fact("layer.under_may", BOOL, DECORATION)
def under_may(below: Transfer = read("layer.under_entry"), into: Transfer | None = maybe("ground.film")) -> bool:
    """Whether the decoration below may be covered; dye goes into a film that takes it, however rough that is."""
    return below.may_lie_under or into is not None


@fact("layer.over_may", BOOL, DECORATION)
def over_may(entry: Transfer = read("transfer.entry")) -> bool:
    """Whether this one may lie on another."""
    return entry.may_lie_over


@fact("layer.under_principle", one_of(PRINCIPLES), DECORATION)
def under_principle(below: Transfer = read("layer.under_entry")) -> str:
    """How the decoration below decorates."""
    return below.principle


@fact("layer.under_title", TEXT, DECORATION)
def under_title(below: Transfer = read("layer.under_entry")) -> str:
    """What lies below, in words."""
    return in_a_sentence(below.title)


@fact("layer.depth", number(units.COUNT), DECORATION)
def depth(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> float:
    """How many layers lie here, this one counted."""
    return float(len(stack))


@fact("layer.depth_most", number(units.COUNT), DECORATION)
def depth_most(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> float | None:
    """How many layers the pickiest of them bears."""
    known = [layer.layers_most for layer in stack if layer is not None]
    return float(min(known)) if len(known) == len(stack) else None
