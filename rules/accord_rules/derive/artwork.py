"""The print itself: its colours, detail and making, its place on the piece and its size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import floor, pi
from types import MappingProxyType

from accord_rules.documents import units
from accord_rules.documents.colour import Colour, contrast, read_colour
from accord_rules.orders.order import PLACEMENTS, PRINTER_WORDS, PRINTERS, Size
from accord_rules.revision.catalogue import Blank, Substrate, Transfer
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    Assume,
    Scope,
    fact,
    later,
    limit,
    maybe,
    number,
    one_of,
    read,
    source,
)

DECORATION = Scope.DECORATION
A4_MM = Size(210.0, 297.0)


# -- what it shows ---------------------------------------------------------------------------------------------------


@fact(
    "art.colours",
    number(units.COUNT),
    DECORATION,
    Assume("/decorations/{i}/artwork/colours", 1.0, "one unless said"),
)
def colours(
    said: int | None = source("/decorations/{i}/artwork/colours"),
    palette: tuple[str, ...] | None = source("/decorations/{i}/artwork/palette"),
) -> float | None:
    """How many colours the artwork has; the palette counts if it is given."""
    if said is None and palette is not None:
        return float(len(set(palette)))
    return None if said is None else float(said)


@fact(
    "art.white",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/white", False, "none unless said"),
)
def white(said: bool | None = source("/decorations/{i}/artwork/white")) -> bool | None:
    """Whether the artwork has white areas."""
    return said


@fact(
    "art.gradient",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/gradient", False, "none unless said"),
)
def gradient(said: bool | None = source("/decorations/{i}/artwork/gradient")) -> bool | None:
    """Whether the artwork has gradients or is a photograph."""
    return said


def usual_line_mm(transfer: Transfer | None = maybe("transfer.entry")) -> float:
    """A usual line, or the finest the transfer holds where that is coarser."""
    return max(2.0, transfer.finest_line if transfer is not None else 0.0)


@fact(
    "art.finest_line_mm",
    number(units.LENGTH),
    DECORATION,
    Assume(
        "/decorations/{i}/artwork/finest_line",
        usual_line_mm,
        "one that the transfer holds, 2 mm or more",
    ),
)
def finest_line_mm(said: float | None = source("/decorations/{i}/artwork/finest_line")) -> float | None:
    """The finest line in the artwork."""
    return said


@fact(
    "art.small_pieces",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/small_pieces", False, "none unless said"),
)
def small_pieces(said: bool | None = source("/decorations/{i}/artwork/small_pieces")) -> bool | None:
    """Whether the artwork has small isolated pieces."""
    return said


@fact("art.palette", DATA, DECORATION, Ask("/decorations/{i}/artwork/palette", "Which colours does the artwork use?"))
def palette(
    said: tuple[str, ...] | None = source("/decorations/{i}/artwork/palette"),
) -> tuple[Colour, ...] | None:
    """The artwork's colours."""
    if said is None:
        return None
    return tuple(colour for colour in map(read_colour, said) if colour is not None)


@fact("art.lightest", number(units.LIGHTNESS), DECORATION)
def lightest(colours: tuple[Colour, ...] = read("art.palette")) -> float | None:
    """CIELAB lightness of the artwork's lightest colour."""
    return round(max(colour.lightness for colour in colours), 4) if colours else None


@fact("art.lightest_laid", number(units.LIGHTNESS), DECORATION)
def lightest_laid(
    white: bool | None = source("/decorations/{i}/artwork/white"),
    lightest_l: Callable[[], float | None] = later("art.lightest"),
) -> float | None:
    """CIELAB lightness of the lightest colour that is laid down: white said as such is one of them."""
    return 100.0 if white else lightest_l()


@fact(
    "art.light",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/light", True, "light colours show bled dye", strict=True),
)
def light(
    said: bool | None = source("/decorations/{i}/artwork/light"),
    lightest_l: float | None = maybe("art.lightest_laid"),
    least_l: float = limit("film.light_art_lightness"),
) -> bool | None:
    """Whether the artwork has a colour light enough to show dye that bleeds into it; white, or the palette, says it if
    given."""
    return said if lightest_l is None else lightest_l >= least_l


@fact("art.contrast", number(units.RATIO), DECORATION)
def art_contrast(
    colours: tuple[Colour, ...] = read("art.palette"), ground: Colour = read("item.ground")
) -> float | None:
    """WCAG contrast of the artwork's best-visible colour against the ground, 1 to 21."""
    return round(max(contrast(colour, ground) for colour in colours), 4) if colours else None


# -- how it is made --------------------------------------------------------------------------------------------------


@fact("place.seen_through", BOOL, DECORATION)
def seen_through(
    where: str = read("place.placement"),
    entry: Substrate = read("substrate.entry"),
    shape: str | None = maybe("item.shape"),
) -> bool:
    """Whether the print is looked at through the piece: it is on the back of a flat, clear one."""
    return entry.clear and shape == "flat" and where == "reverse"


@fact("art.mirrored_needed", BOOL, DECORATION)
def mirrored_needed(transfer: Transfer = read("transfer.entry"), through: bool = read("place.seen_through")) -> bool:
    """Whether the print on the carrier has to be a mirror image, so that the piece reads right.

    A print laid face down is turned round once, one laid face up is not; looking through the piece turns it once more.
    """
    return transfer.mirrored is not through


@fact("art.turned_words", TEXT, DECORATION)
def turned_words(
    transfer: Transfer = read("transfer.entry"),
    title: str | None = maybe("transfer.title"),
    through: bool | None = maybe("place.seen_through"),
) -> str:
    """How the print is turned round on its way from the carrier to the eye, as a clause."""
    down = transfer.mirrored
    side = "goes down onto the piece" if down else "stays up"
    if not through:
        return f"the print side {side} with {title}"
    turned = "turns it back again" if down else "turns it round"
    return f"the print side {side} with {title}, and looking at it through the piece {turned}"


def as_needed(needed: bool = read("art.mirrored_needed")) -> bool:
    """As the transfer needs it here."""
    return needed


@fact(
    "art.mirrored",
    BOOL,
    DECORATION,
    Assume(
        "/decorations/{i}/artwork/mirrored",
        as_needed,
        "as the transfer needs on this side of the piece",
    ),
)
def mirrored(said: bool | None = source("/decorations/{i}/artwork/mirrored")) -> bool | None:
    """Whether the print on the carrier is a mirror image."""
    return said


def usual_printer(transfer: Transfer = read("transfer.entry")) -> str:
    """What usually prints it."""
    return transfer.printed_by[0]


@fact(
    "art.printed_by",
    one_of(PRINTERS),
    DECORATION,
    Assume("/decorations/{i}/artwork/printed_by", usual_printer, "usual for the transfer"),
)
def printed_by(said: str | None = source("/decorations/{i}/artwork/printed_by")) -> str | None:
    """What made the print."""
    return said


@fact("art.printed_by_suits", BOOL, DECORATION)
def printed_by_suits(printer: str = read("art.printed_by"), transfer: Transfer = read("transfer.entry")) -> bool:
    """Whether that printer goes with this transfer."""
    return printer in transfer.printed_by


@fact("art.printers_words", TEXT, DECORATION)
def printers_words(transfer: Transfer = read("transfer.entry")) -> str:
    """What may make the print, in words."""
    *rest, last = (PRINTER_WORDS[printer] for printer in transfer.printed_by)
    return " or ".join(filter(None, (", ".join(rest), last)))


@fact("art.printer_words", TEXT, DECORATION)
def printer_words(printer: str = read("art.printed_by")) -> str:
    """What made the print, in words."""
    return PRINTER_WORDS[printer]


# -- where it goes ---------------------------------------------------------------------------------------------------

# Where a print goes if nobody says: the first of these that the blank has, the larger where two stand together;
# else the first by name.
_MAIN = (("all-round",), ("yoke",), ("front", "leg"), ("face",), ("reverse",))


@fact("place.main_area", one_of(PLACEMENTS), Scope.ORDER)
def main_area(
    blank: Blank | None = maybe("blank.entry"),
    entry: Callable[[], Substrate | None] = later("substrate.entry"),
    cloth: Callable[[], bool | None] = later("item.textile"),
    uses: tuple[str, ...] | None = maybe("use.kinds"),
) -> str | None:
    """Where a print goes if nobody says; unknown where face or back decides which way round the print has to be, and
    where food touches one side of the piece."""
    if "food-contact" in (uses or ()) and (blank is None or "food-face" in blank.areas):
        return None
    if blank is None:
        material = entry()
        if material is not None and material.clear:
            return None
        if material is not None and material.curved and cloth():
            return "crown"
        return "front" if cloth() else "face"
    areas = blank.areas
    for names in _MAIN:
        there = [name for name in names if name in areas]
        if there:
            return max(there, key=lambda name: areas[name].width * areas[name].height)
    return min(areas)


def _main_area(main: str | None = maybe("place.main_area")) -> str | None:
    return main


@fact(
    "place.placement",
    one_of(PLACEMENTS),
    DECORATION,
    Assume(
        "/decorations/{i}/placement",
        _main_area,
        "the main printable area",
        "Does the print go on the face of the piece, on its reverse, or on the side that food or drink touches?",
    ),
)
def placement(said: str | None = source("/decorations/{i}/placement")) -> str | None:
    """Where on the piece the print goes."""
    return said


@fact("place.area", DATA, DECORATION)
def area(
    blank: Blank | None = maybe("blank.entry"), where: Callable[[], str | None] = later("place.placement")
) -> Size | None:
    """The blank's printable area at the placement; None if no blank or no such area is known."""
    return blank.areas.get(where() or "") if blank is not None else None


@fact("place.area_open", BOOL, DECORATION)
def area_open(
    blank: Blank | None = maybe("blank.entry"), where: Callable[[], str | None] = later("place.placement")
) -> bool:
    """Whether the named blank has printable areas, and it is not known which of them is meant."""
    return blank is not None and bool(blank.areas) and where() is None


@fact("place.known", BOOL, DECORATION)
def known(
    blank: Blank | None = maybe("blank.entry"),
    where: Callable[[], str | None] = later("place.placement"),
    principle: str | None = maybe("transfer.principle"),
    goods: str | None = maybe("item.kind"),
    open_: bool = read("place.area_open"),
) -> bool | None:
    """Whether the named blank has a printable area at the placement; true if no blank is named.

    Every garment has room inside for a label: in the neck, or at the waistband.
    """
    if principle == "label" and goods == "garment" and where() == "inside":
        return True
    return None if open_ else blank is None or where() in blank.areas


@fact("place.areas_words", TEXT, DECORATION)
def areas_words(blank: Blank | None = maybe("blank.entry")) -> str:
    """The blank's printable areas, in words."""
    return "" if blank is None else ", ".join(blank.areas)


@fact("place.elsewhere_words", TEXT, DECORATION)
def elsewhere_words(
    blank: Blank | None = maybe("blank.entry"), where: Callable[[], str | None] = later("place.placement")
) -> str:
    """ ", choose another placement (back, sleeve)": the blank's other printable areas; empty where it has none."""
    others = () if blank is None else tuple(name for name in blank.areas if name != where())
    return f", choose another placement ({', '.join(others)})" if others else ""


def usual_size(room: Size | None = maybe("place.area")) -> Size:
    """The printable area if it is no larger than A4, else A4."""
    if room is None:
        return A4_MM
    return Size(min(room.width, A4_MM.width), min(room.height, A4_MM.height))


@fact(
    "place.size",
    DATA,
    DECORATION,
    Assume("/decorations/{i}/size", usual_size, "the printable area, A4 at most"),
)
def size(said: Size | None = source("/decorations/{i}/size")) -> Size | None:
    """Width and height of the print."""
    return said


@fact("place.sides_mm", DATA, DECORATION)
def sides_mm(
    least_mm: float = limit("order.print_side_least"), most_mm: float = limit("order.print_side_most")
) -> tuple[float, float]:
    """The shortest and the longest side that a print may have."""
    return least_mm, most_mm


@fact("place.label_side_mm", DATA, DECORATION)
def label_side_mm(most_mm: float = limit("order.label_side_most")) -> float:
    """The longest side that a label may have."""
    return most_mm


@fact("place.width_mm", number(units.LENGTH), DECORATION)
def width_mm(print_size: Size = read("place.size")) -> float:
    """Width of the print."""
    return print_size.width


@fact("place.height_mm", number(units.LENGTH), DECORATION)
def height_mm(print_size: Size = read("place.size")) -> float:
    """Height of the print."""
    return print_size.height


# Of a size in inches, which is no whole number of millimetres.
_ROUNDING_MM = 1e-6
# Families whose plain flat sheets are cut to size, where the order names no blank that says so.
_CUT_TO_SIZE = frozenset({"metal", "wood", "ceramic"})


@fact("place.may_bleed", BOOL, DECORATION)
def may_bleed(
    principle: str = read("transfer.principle"),
    blank: Blank | None = maybe("blank.entry"),
    shape: Callable[[], str | None] = later("item.shape"),
    goods: Callable[[], str | None] = later("item.family"),
    substrate: Callable[[], str | None] = later("item.substrate"),
) -> bool | None:
    """Whether the print may run over the edge of the piece: dye on a flat face that is coated out to an even edge,
    where a picture to the edge wants it so. Not where the printable area ends inside the edge, as a slate's does."""
    if principle != "dye-vapour":
        return False
    if blank is not None:
        return blank.full_face
    form = shape()
    if form is None:
        return None
    if form != "flat":
        return False
    family, material = goods(), substrate()
    return None if family is None or material is None else family in _CUT_TO_SIZE or material == "neoprene-faced"


@fact("place.beyond_mm", number(units.LENGTH), DECORATION)
def beyond_mm(
    bleeds: bool | None = read("place.may_bleed"),
    blank: Blank | None = maybe("blank.entry"),
    cloth: bool | None = maybe("item.textile"),
    bleed_most_mm: float = limit("order.bleed_most"),
    slack_mm: float = limit("order.area_slack_most"),
) -> float:
    """How far a print may run over the printable area on each side: over the edge of a full face, or by the slack of
    an area of cloth, which is nominal. None on what ends where its area does."""
    if bleeds:
        return bleed_most_mm
    return slack_mm if cloth and blank is not None and not blank.full_face else 0.0


@fact("place.fits_area", BOOL, DECORATION)
def fits_area(
    room: Size | None = maybe("place.area"),
    open_: bool = read("place.area_open"),
    print_size: Size | None = maybe("place.size"),
    most_mm: Callable[[], float | None] = later("place.beyond_mm"),
) -> bool | None:
    """Whether the print fits the blank's printable area, with what it may run over on each side; true if the blank has
    none there, or none is named."""
    if room is None:
        return None if open_ else True
    if print_size is None:
        return None
    over_mm = _over_mm(print_size, room)
    if over_mm <= 0:
        return True
    beyond = most_mm()
    return None if beyond is None else over_mm <= beyond + _ROUNDING_MM


@fact("place.over_mm", number(units.LENGTH), DECORATION)
def over_mm(room: Size | None = maybe("place.area"), print_size: Size | None = maybe("place.size")) -> float:
    """By how much the print runs over the printable area on the side where it does so furthest; 0 where it does not, or
    no area is known."""
    return 0.0 if room is None or print_size is None else max(0.0, round(_over_mm(print_size, room), 2))


def _over_mm(print_size: Size, room: Size) -> float:
    """By how much a print in the middle runs over on the side where it does so furthest; negative where it does not."""
    return max(print_size.width - room.width, print_size.height - room.height) / 2


@fact("place.over_edge", BOOL, DECORATION)
def over_edge(
    room: Size | None = maybe("place.area"),
    open_: bool = read("place.area_open"),
    print_size: Size | None = maybe("place.size"),
) -> bool | None:
    """Whether the print is wider or higher than the blank's printable area; false if the blank has none there, or none
    is named."""
    if room is None:
        return None if open_ else False
    return None if print_size is None else _over_mm(print_size, room) > 0


@fact("place.most_words", TEXT, DECORATION)
def most_words(
    room: Size | None = maybe("place.area"),
    may_bleed: bool | None = maybe("place.may_bleed"),
    beyond: float | None = maybe("place.beyond_mm"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str:
    """The largest that a print there should be, in words: the printable area, with the bleed that it may have."""
    if room is None:
        return ""
    bleed_mm = 2 * beyond if may_bleed and beyond is not None else 0.0
    return size_words(Size(room.width + bleed_mm, room.height + bleed_mm), preferences)


@fact("place.wrap_gap_mm", number(units.LENGTH), DECORATION)
def wrap_gap_mm(
    print_size: Size | None = maybe("place.size"), diameter: float | None = maybe("item.diameter_mm")
) -> float:
    """What stays free round ware between the two ends of a print; none where its width is not known."""
    if print_size is None or diameter is None:
        return 0.0
    return round(max(0.0, pi * diameter - print_size.width), 1)


@fact("place.area_words", TEXT, DECORATION)
def area_words(
    room: Size | None = maybe("place.area"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """The printable area in words."""
    return "" if room is None else size_words(room, preferences)


@fact("place.share_of_piece", number(units.PERCENT), DECORATION)
def share_of_piece(print_size: Size = read("place.size"), cloth_m2: float = limit("label.garment_area")) -> float:
    """Percent of a garment's cloth that the print covers, front and back counted."""
    return round(100 * print_size.width * print_size.height / 1e6 / cloth_m2, 2)


def size_words(size: Size, preferences: units.UnitPreferences) -> str:
    """ "280 mm x 300 mm" in the shop's units."""
    return " x ".join(units.show(units.LENGTH, side, preferences) for side in (size.width, size.height))


@fact("place.size_words", TEXT, DECORATION)
def print_size_words(
    print_size: Size = read("place.size"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """The print's size in words."""
    return size_words(print_size, preferences)


# Placements on the side of a piece that its closure may run through.
_SIDES_CLOSED = MappingProxyType({"front": ("front",), "back": ("back", "reverse"), "edge": ()})


@fact("place.across_closure", BOOL, DECORATION)
def across_closure(where: str = read("place.placement"), blank: Blank | None = maybe("blank.entry")) -> bool:
    """Whether the print goes where a zip, buttons or a placket run, if the piece has any: on a garment's front unless
    its blank says otherwise, and on the front of a piece that no blank describes. In a seam beside it they are not."""
    if blank is None:
        return where in _SIDES_CLOSED["front"]
    return where in _SIDES_CLOSED[blank.closure or ("front" if blank.kind == "garment" else "edge")]


@fact("place.on_sequins", BOOL, DECORATION)
def on_sequins(
    substrate: str = read("item.substrate"), where: Callable[[], str | None] = later("place.placement")
) -> bool | None:
    """Whether the print lies on sequins: the back of a piece that is covered with them is plain."""
    if substrate != "sequin-cloth":
        return False
    placement = where()
    return None if placement is None else placement not in ("back", "reverse")


@fact("place.shared", BOOL, DECORATION)
def shared(
    placement: str | None = source("/decorations/{i}/placement"),
    over: int | None = source("/decorations/{i}/over"),
    placements: Mapping[int, str | None] = source("/decorations/{j}/placement"),
    overs: Mapping[int, int | None] = source("/decorations/{j}/over"),
    main: str | None = maybe("place.main_area"),
) -> bool:
    """Whether another decoration of the order goes to the same placement and neither is said to lie on the other."""
    here = placement or main
    return over is None and any((there or main) == here and overs[i] is None for i, there in placements.items())


@fact("place.food_face", BOOL, DECORATION)
def food_face(
    side: bool | None = maybe("use.food_side"),
    where: str = read("place.placement"),
    blank: Blank | None = maybe("blank.entry"),
    goods: str | None = maybe("item.kind"),
    cloth: bool | None = maybe("item.textile"),
) -> bool | None:
    """Whether the print is where food or drink touches: of a board or plate with no food face told, on its face too."""
    if where == "food-face":
        return True
    told = blank is not None and "food-face" in blank.areas
    face = where == "face" and not told and goods != "drinkware" and not cloth
    return side if where == "inside" or face else False


# How far below the drinking rim a print is usually kept; common practice, no source.
_USUAL_RIM_MM = 25.0


def _free_above_mm(wall: Size, print_size: Size) -> float:
    """What the printable wall of ware leaves above a print that ends at its foot, whole mm."""
    return float(max(0, floor(wall.height - print_size.height)))


@fact("place.rim_distance_derived", BOOL, DECORATION)
def rim_distance_derived(
    placement: str | None = source("/decorations/{i}/placement"),
    main: str | None = maybe("place.main_area"),
    said: float | None = source("/decorations/{i}/rim_distance"),
    blank: Blank | None = maybe("blank.entry"),
    ordered: Size | None = source("/decorations/{i}/size"),
    room: Size | None = maybe("place.area"),
) -> bool | None:
    """Whether the order says no distance from the drinking rim, and the print is too high for the usual one, so that
    what its height leaves is the most there can be. A print of no size fills its printable area."""
    wall = blank.areas.get("all-round") if blank is not None else None
    if said is not None or wall is None or (placement or main) == "rim":
        return False
    print_size = ordered or room
    return None if print_size is None else _free_above_mm(wall, print_size) < _USUAL_RIM_MM


@fact(
    "place.rim_distance_mm",
    number(units.LENGTH),
    DECORATION,
    Assume(
        "/decorations/{i}/rim_distance",
        _USUAL_RIM_MM,
        "a usual distance",
        taken="print {shown} below the rim",
    ),
)
def rim_distance_mm(
    placement: str | None = source("/decorations/{i}/placement"),
    main: str | None = maybe("place.main_area"),
    said: float | None = source("/decorations/{i}/rim_distance"),
    derived: bool | None = maybe("place.rim_distance_derived"),
    blank: Blank | None = maybe("blank.entry"),
    ordered: Size | None = source("/decorations/{i}/size"),
    room: Size | None = maybe("place.area"),
) -> float | None:
    """From the print to the drinking rim; of a print too high for the usual distance, the most that it leaves."""
    if (placement or main) == "rim":
        return 0.0
    if not derived:
        return said
    assert blank is not None
    print_size = ordered or room
    assert print_size is not None
    return _free_above_mm(blank.areas["all-round"], print_size)
