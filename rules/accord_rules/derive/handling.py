"""What the hands need to know of a job: how print and piece lie, what is kept off the heat, what goes between.

Steps of plans are asked for with these facts. Which way the piece lies where heat has to cross it is a fact of the heat
room (``heat.face_down``); the rest is common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from accord_rules.derive.covers import RAISED, Consumables, hottest_c, in_stock, meant_for, named, titles
from accord_rules.derive.process import pressure_words
from accord_rules.documents import units
from accord_rules.documents.colour import plain_name
from accord_rules.orders.order import NONE, Decoration
from accord_rules.revision.catalogue import CARRIERS, Blank, Fibre, Substrate, Transfer, transfer_named
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Scope,
    entries,
    fact,
    later,
    limit,
    limits,
    maybe,
    number,
    one_of,
    read,
    source,
)

ORDER, DECORATION, PRESSING = Scope.ORDER, Scope.DECORATION, Scope.PRESSING
# How a print comes to lie on the piece, or the piece on its print.
LAYS = ("printed-side-down", "adhesive-down", "glue-down", "face-up", "piece-down", "wrapped")
_HARD = frozenset({"metal", "stone", "ceramic", "glass", "wood", "cork", "plastic"})
# What a bare platen marks by its own heat: wood and card scorch, leather loses its grain.
_MARKED = frozenset({"leather", "wood", "cork", "paper"})
# Hard fittings by the feature that tells of them, as people call them.
_FITTINGS: Mapping[str, str] = {"zip": "the zip", "button": "buttons", "eyelets": "eyelets"}
_OFF_THE_EDGE: Mapping[str, str] = {
    "garment": "collar, sleeves, seams and hem",
    "headwear": "brim, sweatband and seams",
    "bag": "handles, seams and base",
}
_FROM_COLLAR = ("plan.front_below_collar", "plan.back_below_collar")
_FROM_SHOULDER = ("plan.chest_from_middle", "plan.chest_below_shoulder")


# -- the piece -------------------------------------------------------------------------------------------------------


@fact("item.hard", BOOL, ORDER)
def hard(goods: str = read("item.family")) -> bool:
    """Whether it leaves the press hot and is handled hot: metal, stone, ceramic, glass, wood, cork, plastic."""
    return goods in _HARD


@fact("item.piece_words", TEXT, ORDER)
def piece_words(title: str = read("item.title"), said: str | None = source("/item/colour")) -> str:
    """The piece as it was ordered: its title, and the colour where the order says one that the title does not."""
    if said is None:
        return title
    plain = plain_name(said)
    return title if plain in title.lower() else f"{title}, colour {plain}"


@fact("item.loose_words", TEXT, ORDER)
def loose_words(
    blank: Blank | None = maybe("blank.entry"),
    entry: Callable[[], Substrate | None] = later("substrate.entry"),
) -> str | None:
    """What is loose on the piece and comes off before it is pressed; unknown where nothing is. Of ware that no blank
    tells, and that is no mug, what such ware may have."""
    if blank is not None:
        return blank.loose
    material = entry()
    may_have = material is not None and material.curved and material.family not in ("cloth", "ceramic")
    return "lid, seal, straw and rubber foot, as far as it has them" if may_have else None


@fact("item.metal_words", TEXT, ORDER)
def metal_words(features: tuple[str, ...] = read("item.features")) -> str | None:
    """The fittings in or beside the pressed area that are of metal, or hard as metal; unknown where there are none."""
    return _listed([words for name, words in _FITTINGS.items() if name in features])


@fact("item.closed_words", TEXT, ORDER)
def closed_words(shape: str = read("item.shape")) -> str:
    """How a press that is set by its closing has to close on the piece."""
    return "parallel to it" if shape == "flat" else "tight round it"


@fact("item.fibres_words", TEXT, ORDER)
def fibres_words(
    mix: Mapping[str, float] = read("item.fibres"), known: Mapping[str, Fibre] = entries("fibres")
) -> str | None:
    """Fibres as a label says them: "65 % polyester, 35 % cotton"; unknown where none is counted."""
    shares = sorted(mix.items(), key=lambda share: (-share[1], share[0]))
    return ", ".join(f"{percent:g} % {known[code].name.lower()}" for code, percent in shares) or None


@fact("item.marked_bare", BOOL, ORDER)
def marked_bare(
    goods: str = read("item.family"),
    cloth: bool = read("item.textile"),
    shiny: Callable[[], float | None] = later("item.shiny_share"),
) -> bool | None:
    """Whether a bare platen leaves shine, scorch or its rim on it: cloth mostly of synthetic fibre, wool or silk,
    leather, wood."""
    share = shiny() if cloth else None
    return (None if share is None else share >= 50) if cloth else goods in _MARKED


@fact("item.shiny_share", DATA, ORDER)
def shiny_share(
    polyester: float = read("item.polyester_share"),
    nylon: float = read("item.nylon_share"),
    acrylic: float = read("item.acrylic_share"),
    acetate: float = read("item.acetate_share"),
    olefin: float = read("item.olefin_share"),
    protein: float = read("item.protein_share"),
) -> float:
    """Percent of fibres that glaze, or turn shiny and harsh, under bare metal."""
    return polyester + nylon + acrylic + acetate + olefin + protein


@fact("item.layered", BOOL, ORDER)
def layered(
    cloth: bool = read("item.textile"),
    kind: str = read("item.kind"),
    shape: str = read("item.shape"),
    features: tuple[str, ...] | None = maybe("item.features"),
) -> bool:
    """Whether a second layer of cloth lies behind the print: garments, bags, covers and sleeves sewn to a hollow."""
    return cloth and shape == "flat" and (kind in ("garment", "bag") or not {"zip", "seam"}.isdisjoint(features or ()))


@fact("item.pillow_where_words", TEXT, ORDER)
def pillow_where_words(two_layers: bool = read("item.layered")) -> str:
    """Where a pillow goes: between the two layers of cloth, or beneath the only one there is."""
    return "inside the piece under the print area" if two_layers else "under the piece, below the print area"


@fact("item.clear_of_words", TEXT, ORDER)
def clear_of_words(kind: str = read("item.kind"), features: tuple[str, ...] | None = maybe("item.features")) -> str:
    """What is kept off the heated area, whether or not the order lists it."""
    usual = _OFF_THE_EDGE.get(kind, "edges and seams")
    more = [_in_words(name) for name in features or () if name in RAISED and name not in ("collar", "seam")]
    return f"{', '.join(more)}, {usual}" if more else usual


@fact("item.raised_words", TEXT, ORDER)
def raised_words(features: tuple[str, ...] = read("item.features")) -> str:
    """What stands up in the pressed area, in words."""
    return _listed([_in_words(name) for name in features if name in RAISED]) or "whatever stands up"


def _in_words(word: str) -> str:
    return word.replace("-", " ")


def _listed(words: Sequence[str]) -> str | None:
    if not words:
        return None
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


@fact("place.words", TEXT, DECORATION)
def place_words(where: str = read("place.placement")) -> str:
    """Where on the piece the print goes, as people say it."""
    return _in_words(where)


@fact("place.fasteners_words", TEXT, DECORATION)
def fasteners_words(
    features: tuple[str, ...] = read("item.features"),
    across: bool = read("place.across_closure"),
    where: str = read("place.placement"),
    kind: str = read("item.kind"),
) -> str | None:
    """What is done with the piece's fasteners before it is laid down, as a clause; unknown where it has none.

    A zip that the print crosses is open, so that the print has two halves; so is that under a print on the other side,
    which would lie on the bed, and that of a cover or a bag, through which goes what lies inside.
    """
    zip_words = "Open the zip" if across or where == "back" or kind != "garment" else "Close the zip"
    told = {"button": "Do up the buttons", "zip": zip_words, "drawstring": "Pull the cords out of the way"}
    words = [clause for name, clause in told.items() if name in features]
    return ", ".join([*words[:1], *(clause[:1].lower() + clause[1:] for clause in words[1:])]) or None


# -- how it lies -----------------------------------------------------------------------------------------------------


@fact("transfer.carrier", one_of(CARRIERS), DECORATION)
def carrier(entry: Transfer = read("transfer.entry")) -> str:
    """What carries it."""
    return entry.carrier


@fact("transfer.backing", BOOL, DECORATION)
def backing(entry: Transfer = read("transfer.entry")) -> bool:
    """Whether it comes on a sheet that is taken off before it is laid on."""
    return entry.backing


@fact("lay.how", one_of(LAYS), DECORATION)
def how(
    entry: Transfer = read("transfer.entry"),
    shape: str = read("item.shape"),
    piece_down: bool = read("heat.face_down"),
    goods: str = read("item.family"),
) -> str:
    """How the print lies on the piece, or the piece on its print.

    Sheet metal is laid on its print as brittle goods are: it lets the heat through at once. Board is not, since heat
    takes longer through it than the dwell lasts.
    """
    if shape == "mug":
        return "wrapped"
    if entry.backing or (not entry.mirrored and entry.principle == "ink-film"):
        return "face-up"
    if piece_down or (goods == "metal" and entry.principle == "dye-vapour"):
        return "piece-down"
    if entry.carrier == NONE:
        return "glue-down"
    return "printed-side-down" if entry.carrier == "paper" else "adhesive-down"


@fact("lay.side_words", TEXT, DECORATION)
def side_words(how: str = read("lay.how"), principle: str = read("transfer.principle")) -> str:
    """Which side of the print lies against the piece, in words."""
    if principle == "ink-film" and how != "face-up":
        return "ink side down"
    if principle == "powder-film":
        return "powder side down"
    return {"adhesive-down": "adhesive side down", "glue-down": "glue side down"}.get(how, "printed side down")


@fact("lay.up_words", TEXT, DECORATION)
def up_words(where: str = read("place.placement")) -> str:
    """The side of the piece that lies up."""
    side = {"left-chest": "front", "yoke": "back", "reverse": "reverse", "inside": "inside"}.get(where, where)
    return {"face": "printable face"}.get(side, side)


@fact("lay.from_words", TEXT, DECORATION)
def from_words(
    kind: str = read("item.kind"),
    where: str = read("place.placement"),
    over: bool = read("layer.over"),
    preferences: units.UnitPreferences = source("shop/units"),
    collar_mm: Mapping[str, float] = limits(*_FROM_COLLAR),
    shoulder_mm: Mapping[str, float] = limits(*_FROM_SHOULDER),
    label_mm: float = limit("plan.label_below_collar"),
) -> str:
    """From where the place of the print is measured, unless the ticket says otherwise."""

    def shown(length_mm: float) -> str:
        return units.show(units.LENGTH, length_mm, preferences)

    if over:
        return "centred on the layer below, or as the ticket shows"
    if kind == "garment" and where in ("front", "back"):
        below = shown(collar_mm[_FROM_COLLAR[where == "back"]])
        return f"its top edge {below} below the collar seam, midway between the armholes"
    if kind == "garment" and where == "left-chest":
        aside, below = (shown(shoulder_mm[name]) for name in _FROM_SHOULDER)
        return f"its middle {aside} to the wearer's left of the middle, {below} below the shoulder seam"
    if kind == "garment" and where == "inside":
        return f"its top edge {shown(label_mm)} below the collar seam, in the middle of the neck"
    if where == "crown":
        return "on the crown, level, its middle over the middle of the brim"
    return f"on the {_in_words(where)}, measured from two edges"


@fact("item.face_words", TEXT, DECORATION)
def face_words(through: bool = read("place.seen_through"), coated: bool | None = maybe("item.coated")) -> str:
    """The face that meets the print."""
    return "coated back" if through else "coated face" if coated else "printable face"


# -- sheets, pads and tape in words ----------------------------------------------------------------------------------


def _set_title(part: str) -> None:
    """Declare what is set of cover, pad or tape, in words."""

    def title(name: str | None = source(f"chosen/{part}"), known: Consumables = entries("consumables")) -> str | None:
        return None if name in (None, NONE) else named(known[str(name)])

    about = f"The {part} that is set, in words; unknown where none is."
    fact(f"set.{part}_title", TEXT, PRESSING, blamed=("set.open",), about=about)(title)


for _part in ("cover", "pad", "tape"):
    _set_title(_part)


def _sheet_title(name: str, from_fact: str, about: str) -> None:
    """Declare the sheet at hand for something, in words; what has to be got where there is none."""

    def title(
        sheet: str = read(from_fact),
        words: str = read("set.non_stick_words"),
        known: Consumables = entries("consumables"),
    ) -> str:
        return f"a non-stick sheet ({words}; none is at hand)" if sheet == NONE else named(known[sheet])

    fact(name, TEXT, PRESSING, blamed=("set.open",), about=about)(title)


_sheet_title("set.pre_press_sheet_title", "set.pre_press_sheet", "The sheet for the pre-press, in words.")
_sheet_title("set.non_stick_title", "set.non_stick_sheet", "The non-stick sheet at hand, in words.")
_sheet_title("set.blot_title", "set.blot_sheet", "The paper at hand that takes up dye, in words.")


def _sheet_for(name: str, purpose: str, about: str) -> None:
    """Declare the sheet at hand for a purpose that bears the heat; none where there is none."""

    def sheet(
        surface_c: float | None = source("chosen/surface_c"),
        spread_k: float = source("chosen/spread_k"),
        known: Consumables = entries("consumables"),
        stock: tuple[str, ...] = source("shop/stock/consumables"),
    ) -> str:
        return in_stock(meant_for(known, "cover", purpose), known, stock, hottest_c(surface_c, spread_k)) or NONE

    fact(name, one_of("consumables|none"), PRESSING, blamed=("set.open",), about=about)(sheet)


_sheet_for("set.non_stick_sheet", "non-stick", "The non-stick sheet at hand; none where there is none.")
_sheet_for("set.blot_sheet", "blot", "The paper at hand that takes up dye; none where there is none.")


@fact("lay.paper_on_bed", BOOL, PRESSING)
def paper_on_bed(
    sheet: str = read("set.blot_sheet"), shape: str = read("item.shape"), dyes: bool = read("transfer.dyes")
) -> bool:
    """Whether paper that takes up dye lies under a flat piece."""
    return sheet != NONE and shape == "flat" and dyes


@fact("lay.sheet_over", BOOL, PRESSING)
def sheet_over(
    marked: bool = read("item.marked_bare"), cover: str = read("set.cover"), shape: str = read("item.shape")
) -> bool:
    """Whether a non-stick sheet lies over a flat piece although no cover is set: the platen would mark the piece."""
    return marked and cover == NONE and shape == "flat"


@fact("set.blot_words", TEXT, PRESSING)
def blot_words(known: Consumables = entries("consumables")) -> str:
    """Papers that take up dye, in words."""
    return titles(meant_for(known, "cover", "blot"), known)


# -- pressing --------------------------------------------------------------------------------------------------------


@fact("set.pre_pressed", BOOL, PRESSING, blamed=("set.open",))
def pre_pressed(pre_press_s: float = source("chosen/pre_press_s")) -> bool:
    """Whether there is a pre-press."""
    return pre_press_s > 0


@fact("set.second_pressed", BOOL, PRESSING, blamed=("set.open",))
def second_pressed(second_press_s: float = source("chosen/second_press_s")) -> bool:
    """Whether there is a second press."""
    return second_press_s > 0


@fact("set.pressure_shown", TEXT, PRESSING, blamed=("set.open",))
def pressure_shown(
    pressure: str | float | None = source("chosen/pressure"),
    print_kpa: float | None = source("chosen/pressure_kpa"),
    bands_kpa: Mapping[str, tuple[float, float]] = read("press.bands_kpa"),
    by_hand: bool = read("press.hand_held"),
    closing: str = read("press.closing"),
    shape: str = read("item.shape"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str | None:
    """The pressure as people read it: "medium pressure", "light hand pressure", "40 psi on the gauge (medium)".

    An oven has none: nothing presses there but the clamp or the wrap.
    """
    if closing == "enclosed":
        return f"none: the {'clamp' if shape == 'flat' else 'wrap'} presses"
    if pressure is None:
        return None
    words = [word for word, (least, most) in bands_kpa.items() if print_kpa and least <= print_kpa <= most]
    band = f" ({words[0]})" if words and isinstance(pressure, float) else ""
    return pressure_words(pressure, by_hand, preferences) + band


@fact("press.bed_words", TEXT, PRESSING)
def bed_words(closing: str = read("press.closing"), shape: str = read("item.shape")) -> str:
    """What the piece lies on, or in."""
    if shape == "cap" and closing == "hinged":
        return "cap form"
    return {"hand": "table", "wrap": "wrap", "enclosed": "clamp"}.get(closing, "lower platen")


@fact("press.machine_words", TEXT, PRESSING)
def machine_words(closing: str = read("press.closing")) -> str:
    """What is set and switched on, as people call it."""
    return "oven" if closing == "enclosed" else "press"


@fact("press.heater_words", TEXT, PRESSING)
def heater_words(closing: str = read("press.closing"), shape: str = read("item.shape")) -> str:
    """What touches the piece or its cover and is hot."""
    if closing == "enclosed":
        return "clamp" if shape == "flat" else "sleeve"
    return "heater" if closing == "wrap" else "platen"


@fact("peel.cold_wait_s", number(units.TIME), DECORATION)
def cold_wait_s(
    hard: bool = read("item.hard"),
    cloth: bool = read("item.textile"),
    look: str = read("transfer.look"),
    principle: str = read("transfer.principle"),
    waits_s: Mapping[str, float] = limits("plan.cold_wait_cloth", "plan.cold_wait_thick", "plan.cold_wait_hard"),
) -> float:
    """About how long a print takes to get cold to the hand: flock, stones and leather stay hot, hard goods longer."""
    thin = cloth and look != "flock" and principle != "stud"
    return waits_s[f"plan.cold_wait_{'hard' if hard else 'cloth' if thin else 'thick'}"]


# -- the job ---------------------------------------------------------------------------------------------------------


@fact("job.first", BOOL, PRESSING)
def first(earlier: Mapping[int, Decoration] = source("sequence/earlier")) -> bool:
    """Whether this decoration is the first that is pressed for the order."""
    return not earlier


@fact("job.last", BOOL, PRESSING)
def last(
    earlier: Mapping[int, Decoration] = source("sequence/earlier"), decorations: float = read("order.decorations")
) -> bool:
    """Whether this decoration is the last that is pressed for the order."""
    return len(earlier) + 1 >= decorations


@fact("job.transfers", DATA, DECORATION)
def transfers(
    own: Transfer = read("transfer.entry"),
    others: Mapping[int, str | None] = source("/decorations/{j}/transfer"),
    products: Mapping[str, Transfer] = entries("products"),
    families: Mapping[str, Transfer] = entries("transfers"),
) -> tuple[Transfer, ...]:
    """All transfers of the order, as far as they are said."""
    known = (transfer_named(name, products, families) for name in others.values())
    return (own, *(transfer for transfer in known if transfer is not None))
