"""The print itself: its colours, detail and making, its place on the piece and its size."""

from __future__ import annotations

from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.documents.colour import Colour, contrast, read_colour
from accord_rules.orders.order import PLACEMENTS, PRINTERS, Artwork, Decoration, Size
from accord_rules.revision.facts import BOOL, DATA, TEXT, Ask, Assume, Scope, fact, number, one_of

DECORATION = Scope.DECORATION
A4_MM = Size(210.0, 297.0)


def _art(case: Case) -> Artwork:
    return case.decoration.artwork or Artwork()


@fact(
    "art.colours",
    number(units.COUNT),
    DECORATION,
    Assume("/decorations/{i}/artwork/colours", 1.0, "number of colours not said: taken as one"),
)
def colours(case: Case) -> float | None:
    """How many colours the artwork has; the palette counts if it is given."""
    art = _art(case)
    if art.colours is None and art.palette is not None:
        return float(len(set(art.palette)))
    return None if art.colours is None else float(art.colours)


@fact(
    "art.white",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/white", False, "white areas not said: taken to have none"),
)
def white(case: Case) -> bool | None:
    """Whether the artwork has white areas."""
    return _art(case).white


@fact(
    "art.gradient",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/gradient", False, "gradients not said: taken to have none"),
)
def gradient(case: Case) -> bool | None:
    """Whether the artwork has gradients or is a photograph."""
    return _art(case).gradient


def _usual_line_mm(case: Case) -> float:
    """A usual line, or the finest the transfer holds where that is coarser."""
    return max(2.0, case.transfer.finest_line if case.transfer is not None else 0.0)


@fact(
    "art.finest_line_mm",
    number(units.LENGTH),
    DECORATION,
    Assume(
        "/decorations/{i}/artwork/finest_line",
        _usual_line_mm,
        "finest line not said: taken as one that the transfer holds, 2 mm or more",
    ),
)
def finest_line_mm(case: Case) -> float | None:
    """The finest line in the artwork."""
    return _art(case).finest_line


@fact(
    "art.small_pieces",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/small_pieces", False, "small loose pieces not said: taken to have none"),
)
def small_pieces(case: Case) -> bool | None:
    """Whether the artwork has small isolated pieces."""
    return _art(case).small_pieces


@fact("place.seen_through", BOOL, DECORATION)
def seen_through(case: Case) -> bool | None:
    """Whether the print is looked at through the piece: it is on the back of a flat, clear one."""
    where, shape = case["place.placement"], case["item.shape"]
    if case.substrate is None or where is None:
        return None
    return case.substrate.clear and shape == "flat" and where == "reverse"


@fact("art.mirrored_needed", BOOL, DECORATION)
def mirrored_needed(case: Case) -> bool | None:
    """Whether the print on the carrier has to be a mirror image, so that the piece reads right.

    A print laid face down is turned round once, one laid face up is not; looking through the piece turns it once more.
    """
    through = case["place.seen_through"]
    return None if case.transfer is None or through is None else case.transfer.mirrored is not through


@fact("art.turned_words", TEXT, DECORATION)
def turned_words(case: Case) -> str | None:
    """How the print is turned round on its way from the carrier to the eye, as a clause."""
    if case.transfer is None:
        return None
    down = case.transfer.mirrored
    side = "goes down onto the piece" if down else "stays up"
    if not case["place.seen_through"]:
        return f"the print side {side} with {case['transfer.title']}"
    turned = "turns it back again" if down else "turns it round"
    return f"the print side {side} with {case['transfer.title']}, and looking at it through the piece {turned}"


def _as_needed(case: Case) -> bool | None:
    needed: bool | None = case["art.mirrored_needed"]
    return needed


@fact(
    "art.mirrored",
    BOOL,
    DECORATION,
    Assume(
        "/decorations/{i}/artwork/mirrored",
        _as_needed,
        "mirroring not said: taken to be as the transfer needs on this side of the piece",
    ),
)
def mirrored(case: Case) -> bool | None:
    """Whether the print on the carrier is a mirror image."""
    return _art(case).mirrored


def _usual_printer(case: Case) -> str | None:
    return case.transfer.printed_by[0] if case.transfer is not None else None


@fact(
    "art.printed_by",
    one_of(PRINTERS),
    DECORATION,
    Assume("/decorations/{i}/artwork/printed_by", _usual_printer, "how it was printed not said: taken as usual for it"),
)
def printed_by(case: Case) -> str | None:
    """What made the print."""
    return _art(case).printed_by


@fact("art.printed_by_suits", BOOL, DECORATION)
def printed_by_suits(case: Case) -> bool | None:
    """Whether that printer goes with this transfer."""
    printer = case["art.printed_by"]
    return None if printer is None or case.transfer is None else printer in case.transfer.printed_by


@fact("art.printers_words", TEXT, DECORATION)
def printers_words(case: Case) -> str | None:
    """What may make the print, in words."""
    return None if case.transfer is None else " or ".join(case.transfer.printed_by)


@fact("art.palette", DATA, DECORATION, Ask("/decorations/{i}/artwork/palette", "Which colours does the artwork use?"))
def palette(case: Case) -> tuple[Colour, ...] | None:
    """The artwork's colours."""
    said = _art(case).palette
    if said is None:
        return None
    return tuple(colour for colour in map(read_colour, said) if colour is not None)


@fact("art.lightest", number(units.LIGHTNESS), DECORATION)
def lightest(case: Case) -> float | None:
    """CIELAB lightness of the artwork's lightest colour."""
    found = case["art.palette"]
    return None if not found else round(max(colour.lightness for colour in found), 4)


@fact(
    "art.light",
    BOOL,
    DECORATION,
    Assume("/decorations/{i}/artwork/light", True, "colours not said: taken as light, which shows bled dye"),
)
def light(case: Case) -> bool | None:
    """Whether the artwork has a colour light enough to show dye that bleeds into it."""
    lightest_l = case["art.lightest"]
    return _art(case).light if lightest_l is None else bool(lightest_l >= case.limit("film.light_art_lightness"))


@fact("art.contrast", number(units.RATIO), DECORATION)
def art_contrast(case: Case) -> float | None:
    """WCAG contrast of the artwork's best-visible colour against the ground, 1 to 21."""
    found, ground = case["art.palette"], case["item.ground"]
    return None if not found or ground is None else round(max(contrast(each, ground) for each in found), 4)


# Where a print goes if nobody says: the first of these that the blank has, the larger where two stand together;
# else the first by name.
_MAIN = (("all-round",), ("yoke",), ("front", "leg"), ("face",), ("reverse",))


def _main_area(case: Case) -> str | None:
    if case.blank is None and case.substrate is not None and case.substrate.clear:
        return None  # face or back decides which way round the print has to be
    if case.blank is None:
        return "front" if case["item.textile"] else "face"
    areas = case.blank.areas
    for names in _MAIN:
        there = [name for name in names if name in areas]
        if there:
            return max(there, key=lambda name: areas[name].width * areas[name].height)
    return min(areas)


def placement_of(case: Case, decoration: Decoration) -> str | None:
    """Where any decoration of the order goes: where it says, else where it is taken to; None if that must be asked."""
    return decoration.placement or (_main_area(case) if case.assume else None)


@fact(
    "place.placement",
    one_of(PLACEMENTS),
    DECORATION,
    Assume(
        "/decorations/{i}/placement",
        _main_area,
        "placement not said: taken as the main printable area",
        "Does the print go on the face of the piece, or on its reverse, to be looked at through it?",
    ),
)
def placement(case: Case) -> str | None:
    """Where on the piece the print goes."""
    return case.decoration.placement


@fact("place.area", DATA, DECORATION)
def area(case: Case) -> Size | None:
    """The blank's printable area at the placement; None if no blank or no such area is known."""
    return case.blank.areas.get(case["place.placement"]) if case.blank is not None else None


@fact("place.known", BOOL, DECORATION)
def known(case: Case) -> bool:
    """Whether the named blank has a printable area at the placement; true if no blank is named."""
    return case.blank is None or case["place.placement"] in case.blank.areas


@fact("place.areas_words", TEXT, DECORATION)
def areas_words(case: Case) -> str:
    """The blank's printable areas, in words."""
    return "" if case.blank is None else ", ".join(case.blank.areas)


def _usual_size(case: Case) -> Size:
    """The printable area if it is no larger than A4, else A4."""
    found = case["place.area"]
    if found is None:
        return A4_MM
    return Size(min(found.width, A4_MM.width), min(found.height, A4_MM.height))


@fact(
    "place.size",
    DATA,
    DECORATION,
    Assume("/decorations/{i}/size", _usual_size, "size not said: taken as the printable area, A4 at most"),
)
def size(case: Case) -> Size | None:
    """Width and height of the print."""
    return case.decoration.size


@fact("place.width_mm", number(units.LENGTH), DECORATION)
def width_mm(case: Case) -> float | None:
    """Width of the print."""
    found = case["place.size"]
    return None if found is None else found.width


@fact("place.height_mm", number(units.LENGTH), DECORATION)
def height_mm(case: Case) -> float | None:
    """Height of the print."""
    found = case["place.size"]
    return None if found is None else found.height


@fact("place.fits_area", BOOL, DECORATION)
def fits_area(case: Case) -> bool | None:
    """Whether the print fits the blank's printable area; true if none is known."""
    found, print_size = case["place.area"], case["place.size"]
    if found is None:
        return True
    return None if print_size is None else print_size.width <= found.width and print_size.height <= found.height


@fact("place.area_words", TEXT, DECORATION)
def area_words(case: Case) -> str:
    """The printable area in words."""
    found = case["place.area"]
    return "" if found is None else size_words(case, found.width, found.height)


def size_words(case: Case, width_mm: float, height_mm: float) -> str:
    """ "280 mm x 300 mm" in the shop's units."""
    return f"{case.show(units.LENGTH, width_mm)} x {case.show(units.LENGTH, height_mm)}"


@fact("place.size_words", TEXT, DECORATION)
def print_size_words(case: Case) -> str | None:
    """The print's size in words."""
    found = case["place.size"]
    return None if found is None else size_words(case, found.width, found.height)


@fact("place.shared", BOOL, DECORATION)
def shared(case: Case) -> bool:
    """Whether another decoration of the order goes to the same placement and neither is said to lie on the other."""
    mine, here = case.decoration, placement_of(case, case.decoration)
    return any(
        index != case.index and placement_of(case, other) == here and other.over is None and mine.over is None
        for index, other in enumerate(case.order.decorations)
    )


@fact("place.food_face", BOOL, DECORATION)
def food_face(case: Case) -> bool | None:
    """Whether the print is where food or drink touches."""
    side, where = case["use.food_side"], case["place.placement"]
    if side is None or where is None:
        return None
    return bool(where == "food-face" or (side and where == "inside"))


@fact(
    "place.rim_distance_mm",
    number(units.LENGTH),
    DECORATION,
    Assume(
        "/decorations/{i}/rim_distance",
        25.0,
        "distance from the drinking rim not said: taken as 25 mm",
    ),
)
def rim_distance_mm(case: Case) -> float | None:
    """From the print to the drinking rim."""
    return 0.0 if placement_of(case, case.decoration) == "rim" else case.decoration.rim_distance
