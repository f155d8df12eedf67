"""What the piece is: its substrate, surface, coating, finishes, ground colour and what it carries already."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from math import ceil, hypot

from accord_rules.derive.fibres import NATURAL_GROUPS
from accord_rules.documents import units
from accord_rules.documents.colour import Colour, hue_difference, plain_name, read_colour, signals
from accord_rules.heat.materials import BOARD_DRIES_S_MM2, CLOTH_DRIES_KG_M2S, USUAL_WATER_SHARE
from accord_rules.orders.order import CORDS, DYES, FEATURES, PIECE_KINDS, PREPARATIONS, STAYING_FEATURES
from accord_rules.revision.catalogue import (
    PLASTICS,
    SHAPES,
    SUBSTRATE_FAMILIES,
    SURFACES,
    Blank,
    Coating,
    Fibre,
    Finish,
    Substrate,
)
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    Assume,
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
    set_of,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

ORDER = Scope.ORDER


# -- entries of the book ---------------------------------------------------------------------------------------------


@fact("blank.entry", DATA, ORDER)
def blank_entry(
    name: str | None = source("/item/blank"), blanks: Mapping[str, Blank] = entries("blanks")
) -> Blank | None:
    """The blank that the order names."""
    return None if name is None else blanks[name]


@fact("substrate.entry", DATA, ORDER)
def substrate_entry(
    name: str = read("item.substrate"), substrates: Mapping[str, Substrate] = entries("substrates")
) -> Substrate:
    """What the book knows of the substrate."""
    return substrates[name]


@fact("coating.entry", DATA, ORDER)
def coating_entry(name: str = read("item.coating"), coatings: Mapping[str, Coating] = entries("coatings")) -> Coating:
    """What the book knows of the coating."""
    return coatings[name]


# -- what it is ------------------------------------------------------------------------------------------------------


@fact(
    "item.substrate",
    one_of("substrates"),
    ORDER,
    Ask("/item/substrate", "What is the piece made of? Name a blank of the book, or its substrate."),
)
def substrate(said: str | None = source("/item/substrate"), blank: Blank | None = maybe("blank.entry")) -> str | None:
    """What the piece is made of under the print."""
    return said if said is not None or blank is None else blank.substrate


@fact("item.blank_named", BOOL, ORDER)
def blank_named(name: str | None = source("/item/blank")) -> bool:
    """Whether the order names a blank of the book."""
    return name is not None


@fact("item.title", TEXT, ORDER)
def title(
    blank: Blank | None = maybe("blank.entry"), entry: Callable[[], Substrate | None] = later("substrate.entry")
) -> str:
    """What the piece is called: the blank's title, else the substrate's."""
    named = blank if blank is not None else entry()
    return "the piece" if named is None else in_a_sentence(named.title)


@fact("item.substrate_title", TEXT, ORDER)
def substrate_title(entry: Substrate = read("substrate.entry")) -> str:
    """The substrate's plain name."""
    return in_a_sentence(entry.title)


@fact("item.kind", one_of(PIECE_KINDS), ORDER)
def kind(
    said: str | None = source("/item/kind"),
    blank: Blank | None = maybe("blank.entry"),
    entry: Callable[[], Substrate | None] = later("substrate.entry"),
) -> str | None:
    """What sort of goods: garment, headwear, hard good ...; guessed from the substrate if neither it nor a blank is
    said."""
    if said is not None:
        return said
    if blank is not None:
        return blank.kind
    material = entry()
    if material is None:
        return None
    if material.curved:
        return "headwear" if material.family == "cloth" else "drinkware"
    return {"cloth": "garment", "paper": "paper-good", "leather": "accessory"}.get(material.family, "hard-good")


@fact("item.family", one_of(SUBSTRATE_FAMILIES), ORDER)
def family(entry: Substrate = read("substrate.entry")) -> str:
    """The substrate's family: cloth, metal, wood ..."""
    return entry.family


@fact("item.surface", one_of(SURFACES), ORDER)
def surface(entry: Substrate = read("substrate.entry")) -> str:
    """The surface under the print: smooth, ribbed, pile, open or textured."""
    return entry.surface


@fact("item.textile", BOOL, ORDER)
def textile(entry: Substrate = read("substrate.entry")) -> bool:
    """Whether the piece is cloth."""
    return entry.family == "cloth"


@fact("item.trial_words", TEXT, ORDER)
def trial_words(cloth: bool | None = maybe("item.textile"), washable: bool | None = maybe("care.washable")) -> str:
    """What the first piece is put to before the run: cloth stretches, and what is washed is washed."""
    if cloth:
        return "stretch it or wash it" if washable else "stretch it"
    return "wash it" if washable else "look at it closely and run a fingernail along the edges of the print"


@fact("item.rigid", BOOL, ORDER)
def rigid(entry: Substrate = read("substrate.entry")) -> bool:
    """Whether the piece is stiff, so that a platen must lie parallel on it."""
    return entry.rigid


@fact("item.takes_moisture", BOOL, ORDER)
def takes_moisture(
    entry: Substrate = read("substrate.entry"),
    fibres: Callable[[], Mapping[str, float] | None] = later("item.fibres"),
    known: Mapping[str, Fibre] = entries("fibres"),
) -> bool:
    """Whether it takes up moisture from the air, which turns to steam under the platen: its build holds some, unless
    none of its fibres does."""
    mix = fibres() if entry.takes_moisture else None
    return entry.takes_moisture and (not mix or any(known[code].regain for code in mix))


@fact("item.pressed_once", BOOL, ORDER)
def pressed_once(entry: Substrate = read("substrate.entry")) -> bool:
    """Whether a transfer's usual second pressing is left out on it: it shrinks, or stops the heat."""
    return entry.pressed_once


@fact("item.water_share", DATA, ORDER)
def water_share(
    entry: Substrate | None = maybe("substrate.entry"),
    fibres: Callable[[], Mapping[str, float] | None] = later("item.fibres"),
    known: Mapping[str, Fibre] = entries("fibres"),
) -> float:
    """Mass of moisture that has to boil off a piece that was not pre-pressed, per mass of dry piece."""
    if entry is None or not entry.takes_moisture:
        return 0.0
    mix = fibres()
    if not mix:
        return USUAL_WATER_SHARE.get(entry.family, 0.0)
    return float(sum(share * known[code].regain for code, share in mix.items()) / sum(mix.values()) / 100)


@fact("item.dry_from_s", DATA, ORDER)
def dry_from_s(
    entry: Substrate = read("substrate.entry"),
    thickness_mm: float = read("item.thickness_mm"),
    water_share: float = read("item.water_share"),
    least_s: float = limit("prepress.time_least"),
) -> float:
    """The shortest pre-press that drives its moisture out: steam leaves cloth all through, a board from its face on."""
    if entry.rigid:
        return max(least_s, BOARD_DRIES_S_MM2 * thickness_mm**2)
    return max(least_s, water_share * entry.density * thickness_mm / 1000 / CLOTH_DRIES_KG_M2S)


@fact("item.pre_press_s", DATA, ORDER)
def pre_press_s(
    entry: Substrate | None = maybe("substrate.entry"),
    takes: bool | None = maybe("item.takes_moisture"),
    dry_from_s: float | None = maybe("item.dry_from_s"),
    least_s: float = limit("prepress.time_least"),
    cloth_most_s: float = limit("prepress.cloth_most"),
    board_most_s: float = limit("prepress.board_most"),
) -> float:
    """The pre-press that the piece wants, in whole seconds: what dries it, as far as practice goes; none where it
    takes up no moisture."""
    if entry is None or not takes or dry_from_s is None:
        return 0.0
    if entry.family == "leather":
        return least_s
    return float(ceil(min(dry_from_s, board_most_s if entry.rigid else cloth_most_s)))


@fact("item.protective_film", BOOL, ORDER)
def protective_film(
    entry: Substrate = read("substrate.entry"), receptive: Callable[[], bool | None] = later("item.dye_receptive")
) -> bool:
    """Whether such a blank comes with a protective film on its printable face."""
    return entry.protective_film and bool(receptive())


@fact("item.cushioned", BOOL, ORDER)
def cushioned(entry: Substrate = read("substrate.entry")) -> bool:
    """Whether foam, flutes or a cushion of threads in it sinks for good under firm pressure."""
    return entry.cushioned


@fact("item.one_sided", BOOL, ORDER)
def one_sided(entry: Substrate = read("substrate.entry")) -> bool:
    """Whether what lies behind its face bears no hot platen: foam, rubber, membrane or filling."""
    return entry.one_sided


@fact("item.brittle", BOOL, ORDER)
def brittle(entry: Substrate = read("substrate.entry")) -> bool:
    """Whether quick cooling can crack it (untempered glass, slate, ceramic)."""
    return entry.brittle


@fact("item.shape", one_of(SHAPES), ORDER)
def shape(entry: Substrate = read("substrate.entry")) -> str:
    """The platen shape the piece needs: flat, mug (curved ware) or cap (a structured cap's front)."""
    if not entry.curved:
        return "flat"
    return "cap" if entry.family == "cloth" else "mug"


@fact("item.thickness_mm", number(units.LENGTH), ORDER)
def thickness_mm(
    said: float | None = source("/item/thickness"),
    blank: Blank | None = maybe("blank.entry"),
    entry: Callable[[], Substrate | None] = later("substrate.entry"),
) -> float | None:
    """How thick the piece is under the print."""
    known = said if said is not None or blank is None else blank.thickness
    if known is not None:
        return known
    material = entry()
    return None if material is None else material.thickness


def usual_diameter(entry: Substrate | None = maybe("substrate.entry")) -> float | None:
    """A mug is as wide as mugs are; tumblers, bottles and glasses are not."""
    return None if entry is None else entry.diameter


@fact(
    "item.diameter_mm",
    number(units.LENGTH),
    ORDER,
    Assume("/item/diameter", usual_diameter, "a usual mug", "How wide is the ware across its outside?"),
)
def diameter_mm(
    said: float | None = source("/item/diameter"), blank: Blank | None = maybe("blank.entry")
) -> float | None:
    """How wide round ware is, across its outside."""
    return said if said is not None or blank is None else blank.diameter


@fact(
    "item.mass_g_m2",
    number(units.AREA_DENSITY),
    ORDER,
    Assume("/item/mass_per_area", 150.0, "a usual cloth"),
)
def mass_g_m2(
    said: float | None = source("/item/mass_per_area"), blank: Blank | None = maybe("blank.entry")
) -> float | None:
    """How heavy the cloth is."""
    return said if said is not None or blank is None else blank.mass_per_area


# -- what is on it ---------------------------------------------------------------------------------------------------


@fact(
    "item.coating",
    one_of("coatings"),
    ORDER,
    Ask("/item/coating", "Is the printable face coated, and with what? Say none if it is bare."),
)
def coating(
    said: str | None = source("/item/coating"),
    blank: Blank | None = maybe("blank.entry"),
    cloth: Callable[[], bool | None] = later("item.textile"),
) -> str | None:
    """The coating on the printable face; cloth of which none is said has none."""
    known = said if said is not None or blank is None else blank.coating
    return "none" if known is None and cloth() else known


@fact("item.coated", BOOL, ORDER)
def coated(name: str = read("item.coating")) -> bool:
    """Whether the printable face has a coating."""
    return name != "none"


@fact("item.dye_receptive", BOOL, ORDER)
def dye_receptive(entry: Coating = read("coating.entry")) -> bool:
    """Whether the coating takes sublimation dye."""
    return entry.dye_receptive


@fact("item.coating_title", TEXT, ORDER)
def coating_title(entry: Coating = read("coating.entry")) -> str:
    """The coating's plain name."""
    return in_a_sentence(entry.title)


@fact("item.coating_plastic", one_of(PLASTICS), ORDER)
def coating_plastic(entry: Coating = read("coating.entry")) -> str | None:
    """The plastic the coating is made of."""
    return entry.plastic


@fact("item.pvc", BOOL, ORDER)
def pvc(
    entry: Substrate = read("substrate.entry"), plastic: Callable[[], str | None] = later("item.coating_plastic")
) -> bool | None:
    """Whether it is made of PVC, or coated with it."""
    if entry.pvc:
        return True
    coat = plastic()
    return None if coat is None else coat == "pvc"


@fact("item.shell", BOOL, ORDER)
def shell(
    blank: Blank | None = maybe("blank.entry"),
    entry: Substrate | None = maybe("substrate.entry"),
    goods: str | None = maybe("item.kind"),
    surface: Callable[[], bool | None] = later("item.coated"),
    mix: Callable[[], Mapping[str, float] | None] = later("item.fibres"),
    known: Mapping[str, Fibre] = entries("fibres"),
    grown_most: float = limit("people.shell_grown_most"),
) -> bool:
    """Whether it is cloth as shells are made of: laminated, padded, coated, or woven of synthetic fibres.

    Of the last two only what no blank of the book names: the book has looked at its blanks."""
    if entry is None or entry.family != "cloth":
        return False
    if entry.often_finished:
        return True
    if blank is not None:
        return False
    return bool(surface()) or (
        entry.often_finished_synthetic
        and goods in ("garment", "bag")
        and _synthetic_enough(mix() or {}, known, grown_most)
    )


def _synthetic_enough(mix: Mapping[str, float], known: Mapping[str, Fibre], grown_most: float) -> bool:
    grown = sum(share for code, share in mix.items() if known[code].group in NATURAL_GROUPS)
    return bool(mix) and 100 * grown <= grown_most * sum(mix.values())  # labels sum to 100 or nearly so


def usual_finishes(shell: bool | None = maybe("item.shell")) -> tuple[str, ...] | None:
    """None said: untreated, unless such cloth usually is treated."""
    return None if shell else ()


@fact(
    "item.finishes",
    set_of("finishes"),
    ORDER,
    Assume(
        "/item/finishes",
        usual_finishes,
        "untreated unless said",
        "Is the cloth treated, for instance water-repellent? Such cloth usually is. Say so too if it is not.",
        taken="the cloth is untreated",
    ),
)
def finishes(
    said: tuple[str, ...] | None = source("/item/finishes"), blank: Blank | None = maybe("blank.entry")
) -> tuple[str, ...] | None:
    """The textile finishes on the piece."""
    return said if said is not None or blank is None else blank.finishes


@fact("item.repellent", BOOL, ORDER)
def repellent(
    names: tuple[str, ...] = read("item.finishes"), known: Mapping[str, Finish] = entries("finishes")
) -> bool:
    """Whether a finish keeps adhesives from holding."""
    return any(known[name].repels for name in names)


@fact("item.ground", DATA, ORDER, Ask("/item/colour", "What colour is the ground under the print?"))
def ground(said: str | None = source("/item/colour"), blank: Blank | None = maybe("blank.entry")) -> Colour | None:
    """The colour under the print."""
    colour = said if said is not None or blank is None else blank.colour
    return None if colour is None else read_colour(colour)


@fact("item.ground_lightness", number(units.LIGHTNESS), ORDER)
def ground_lightness(colour: Colour = read("item.ground")) -> float:
    """CIELAB lightness of the ground: 0 black, 100 white."""
    return round(colour.lightness, 4)


@fact("item.ground_chroma", number(units.RATIO), ORDER)
def ground_chroma(colour: Colour = read("item.ground")) -> float:
    """CIELAB chroma of the ground: 0 grey, above about 8 visibly coloured."""
    return round(colour.chroma, 4)


@fact("item.ground_white", BOOL, ORDER)
def ground_white(
    lightness: float = read("item.ground_lightness"),
    chroma: float = read("item.ground_chroma"),
    lightness_least: float = limit("ground.white_lightness_least"),
    chroma_most: float = limit("ground.white_chroma_most"),
) -> bool:
    """Whether the ground passes for white: light enough and nearly grey."""
    return lightness >= lightness_least and chroma <= chroma_most


@fact("item.ground_bears_black", DATA, ORDER)
def ground_bears_black(
    lightness: float | None = maybe("item.ground_lightness"), least: float = limit("film.mid_ground_lightness")
) -> bool:
    """Whether a black print shows on the ground; taken to where its colour is not known."""
    return lightness is None or lightness >= least


def usual_dye(
    cloth: bool | None = maybe("item.textile"),
    white: bool = read("item.ground_white"),
    mix: Mapping[str, float] = read("item.fibres"),
    polyester: Callable[[], float] = later("item.polyester_share"),
    nylon: Callable[[], float] = later("item.nylon_share"),
    protein: Callable[[], float] = later("item.protein_share"),
    polyester_least: float = limit("migration.polyester_share_least"),
) -> str:
    """What a cloth of this ground and fibre is usually dyed with."""
    if not cloth or white:
        return "undyed"
    if polyester() >= polyester_least:
        return "disperse"
    return "acid" if nylon() + protein() >= 50 else "reactive"


@fact(
    "item.dye",
    one_of(DYES),
    ORDER,
    Assume("/item/dye", usual_dye, "what such a cloth is usually dyed with", taken="dye {shown}"),
)
def dye(said: str | None = source("/item/dye"), blank: Blank | None = maybe("blank.entry")) -> str | None:
    """The dye class of the ground."""
    return said if said is not None or blank is None else blank.dye


def usual_features(
    blank: Blank | None = maybe("blank.entry"),
    shell: Callable[[], bool | None] = later("item.shell"),
    small: Callable[[], bool | None] = later("use.under_three"),
    uses: Callable[[], tuple[str, ...] | None] = later("use.kinds"),
) -> tuple[str, ...] | None:
    """None said: nothing in the pressed area. A blank of the book says its own; of what none tells, shells have zips
    and seam tape, and what comes off a toy, or a piece for under threes, is swallowed."""
    if blank is not None:
        return ()
    for_play = bool({"toy", "childcare"} & set(uses() or ()))
    return None if shell() or small() or for_play else ()


@fact(
    "item.features",
    set_of(FEATURES),
    ORDER,
    Assume(
        "/item/features",
        usual_features,
        "none in the pressed area unless said",
        "What is on the piece: zip, seams, seam tape, pocket, hood, cords, buttons, small parts?"
        " Say so too if there is nothing.",
        taken="nothing else in it",
    ),
)
def features(
    said: tuple[str, ...] | None = source("/item/features"),
    blank: Blank | None = maybe("blank.entry"),
    age: Callable[[], float | None] = later("use.age_from"),
    cord_age: float = limit("people.cord_age_most"),
) -> tuple[str, ...] | None:
    """Raised, fragile or dangerous things in the pressed area, and what of the named blank hurts wherever it sits.

    An order clears the pressed area of a zip by leaving it out; it takes no battery out of a power bank like that, and
    no cord off a child's piece.
    """
    if said is None or blank is None:
        return said if blank is None else blank.features
    lasting = set(blank.features) & STAYING_FEATURES
    if not lasting.isdisjoint(CORDS):
        youngest = age()
        lasting -= CORDS if youngest is not None and youngest > cord_age else frozenset()
    return tuple(sorted({*said, *lasting}))


@fact(
    "item.already",
    set_of("transfers"),
    ORDER,
    Assume("/item/already", (), "undecorated unless said", taken="it carries no print yet"),
)
def already(said: tuple[str, ...] | None = source("/item/already")) -> tuple[str, ...] | None:
    """Families of the decorations the piece carries from before."""
    return said


@fact("item.small_parts_words", TEXT, ORDER)
def small_parts_words(
    blank: Blank | None = maybe("blank.entry"),
    entry: Substrate | None = maybe("substrate.entry"),
    known: tuple[str, ...] | None = maybe("item.features"),
) -> str:
    """What of the piece can be swallowed, in words: "sequins"; empty where nothing is known to."""
    built_in = (part.small_parts for part in (blank, entry) if part is not None)
    said = ("the small parts named",) if known is not None and "small-parts" in known else ()
    return " and ".join(dict.fromkeys(words for words in (*built_in, *said) if words))


@fact("item.small_parts", BOOL, ORDER)
def small_parts(
    words: str = read("item.small_parts_words"), known: tuple[str, ...] | None = maybe("item.features")
) -> bool | None:
    """Whether the piece itself has parts that can be swallowed, whatever is printed on it."""
    return True if words else None if known is None else False


@fact("item.decorated", BOOL, ORDER)
def decorated(names: tuple[str, ...] = read("item.already")) -> bool:
    """Whether the piece carries a decoration from before."""
    return bool(names)


@fact(
    "item.preparation",
    set_of(PREPARATIONS),
    ORDER,
    Assume("/item/preparation", (), "none unless said", taken="no solvent on it"),
)
def preparation(said: tuple[str, ...] | None = source("/item/preparation")) -> tuple[str, ...] | None:
    """What was done to the piece beforehand."""
    return said


@fact("item.high_visibility_look", BOOL, ORDER)
def high_visibility_look(
    goods: str | None = maybe("item.kind"),
    colour: Colour | None = maybe("item.ground"),
    dyed: str | None = source("/item/dye"),
    said: tuple[str, ...] | None = source("/item/features"),
    blank: Blank | None = maybe("blank.entry"),
    cloth: bool | None = maybe("item.textile"),
) -> bool:
    """Whether colour, dye or tape of what is worn are those of high-visibility wear."""
    if not cloth or goods not in ("garment", "headwear"):
        return False
    bright = dyed == "fluorescent" or (colour is not None and signals(colour))
    known = said if said is not None or blank is None else blank.features
    return bright or "reflective-tape" in (known or ())


# -- where the order contradicts itself ------------------------------------------------------------------------------


@fact("item.contradiction", TEXT, ORDER)
def contradiction(
    blank: Blank | None = maybe("blank.entry"),
    kind: str | None = source("/item/kind"),
    substrate: str | None = source("/item/substrate"),
    fibres: Mapping[str, float] | None = source("/item/fibres"),
    coating: str | None = source("/item/coating"),
    substrates: Mapping[str, Substrate] = entries("substrates"),
    coatings: Mapping[str, Coating] = entries("coatings"),
) -> str:
    """Where the description and the named blank disagree, in words; empty if they do not."""
    if blank is None:
        return ""

    def titled(name: str | None, entries_of: Mapping[str, Substrate] | Mapping[str, Coating]) -> str:
        entry = None if name is None else entries_of.get(name)
        return "not said" if entry is None else in_a_sentence(entry.title)

    clashes = []
    if kind is not None and kind != blank.kind:
        clashes.append(f"it is described as {_in_words(kind)}, the blank is {_in_words(blank.kind)}")
    if substrate is not None and substrate != blank.substrate:
        is_of = titled(blank.substrate, substrates)
        clashes.append(f"it is described as {titled(substrate, substrates)}, the blank is {is_of}")
    if fibres is not None and blank.fibres is not None and dict(fibres) != dict(blank.fibres):
        clashes.append(f"its fibres are given as {mixture(fibres)}, the blank's are {mixture(blank.fibres)}")
    if coating is not None and coating != blank.coating:
        coated_with = titled(blank.coating, coatings)
        clashes.append(f"its coating is given as {titled(coating, coatings)}, the blank's is {coated_with}")
    return "; ".join(clashes)


def _in_words(name: str) -> str:
    return name.replace("-", " ")


@fact("item.colour_words", TEXT, ORDER)
def colour_words(said: str | None = source("/item/colour")) -> str | None:
    """The colour that the order says, as people say it."""
    return None if said is None else plain_name(said)


COLOURS_APART = (
    "order.colour_lightness_apart",
    "order.colour_hue_apart",
    "order.coloured_chroma_least",
    "ground.white_chroma_most",
)


def is_another_colour(said: str, blank: Blank, apart: Mapping[str, float]) -> bool:
    """Whether nobody would call a blank's colour what was said: far lighter or darker, of another hue, or grey for
    coloured. Names of colours are loose, so that shades of one colour do not count. ``apart``: ``COLOURS_APART``."""
    one, other = read_colour(said), read_colour(blank.colour)
    if one is None or other is None:
        return False
    if abs(one.lightness - other.lightness) >= apart["order.colour_lightness_apart"]:
        return True
    greyer, stronger = sorted((one.chroma, other.chroma))
    if greyer < apart["ground.white_chroma_most"]:
        return stronger >= apart["order.coloured_chroma_least"]
    return hue_difference(one, other) >= apart["order.colour_hue_apart"]


@fact("item.pvc_said_away", BOOL, ORDER)
def pvc_said_away(
    blank: Blank | None = maybe("blank.entry"),
    substrates: Mapping[str, Substrate] = entries("substrates"),
    piece: Callable[[], Substrate | None] = later("substrate.entry"),
    coated: Callable[[], str | None] = later("item.coating"),
) -> bool:
    """Whether the named blank is of PVC or coated with it, and the order describes a piece that is neither."""
    if blank is None:
        return False
    if not (blank.coating == "pvc" or (blank.substrate in substrates and substrates[blank.substrate].pvc)):
        return False
    entry = piece()
    return entry is not None and not entry.pvc and coated() != "pvc"


@fact("item.colour_contradicts_blank", BOOL, ORDER)
def colour_contradicts_blank(
    blank: Blank | None = maybe("blank.entry"),
    said: str | None = source("/item/colour"),
    apart: Mapping[str, float] = limits(*COLOURS_APART),
) -> bool:
    """Whether the order says a colour that nobody would call the named blank's."""
    return blank is not None and said is not None and is_another_colour(said, blank, apart)


@fact("item.fibres_said_words", TEXT, ORDER)
def fibres_said_words(
    blank: Blank | None = maybe("blank.entry"),
    said: Mapping[str, float] | None = source("/item/fibres"),
    known: Mapping[str, Fibre] = entries("fibres"),
) -> str:
    """What the order says of the fibres, and what the named blank is made of, as a question puts them; empty where they
    are the same, or only one is said."""
    if blank is None or said is None or blank.fibres is None or dict(said) == dict(blank.fibres):
        return ""

    def listed(mix: Mapping[str, float]) -> str:
        shares = sorted(mix.items(), key=lambda share: (-share[1], share[0]))
        return ", ".join(f"{percent:g} % {known[code].name.lower()}" for code, percent in shares)

    return f"the order says {listed(said)}, and {in_a_sentence(blank.title)} is of {listed(blank.fibres)}"


@fact("item.shade_off_blank", BOOL, ORDER)
def shade_off_blank(
    blank: Blank | None = maybe("blank.entry"),
    said: str | None = source("/item/colour"),
    contradicted: bool = read("item.colour_contradicts_blank"),
    apart: float = limit("order.colour_shade_apart"),
) -> bool:
    """Whether the order says a colour that could pass for the named blank's and is still seen to be another: silver for
    white. Not where the blank's title has that very word."""
    if blank is None or said is None or contradicted or plain_name(said) in _words(blank.title):
        return False
    one, other = read_colour(said), read_colour(blank.colour)
    if one is None or other is None:
        return False
    return hypot(one.lightness - other.lightness, one.a - other.a, one.b - other.b) >= apart


def _words(title: str) -> frozenset[str]:
    return frozenset(re.findall(r"[a-z]+", title.lower()))


@fact("item.contradicts_blank", BOOL, ORDER)
def contradicts_blank(clashes: str = read("item.contradiction")) -> bool:
    """Whether the description and the named blank disagree on kind, substrate, fibres or coating."""
    return bool(clashes)


def mixture(fibres: Mapping[str, float]) -> str:
    """Fibres as a label writes them: "65 % PES, 35 % CO"."""
    shares = sorted(fibres.items(), key=lambda share: (-share[1], share[0]))
    return ", ".join(f"{percent:g} % {code}" for code, percent in shares)
