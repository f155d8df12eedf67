"""What lies on what in each pressing of a plan, from the heated platen down, with which face where."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from accord_rules.derive.case import Case
from accord_rules.heat.build import transfer_layers
from accord_rules.orders.order import NONE
from accord_rules.revision.catalogue import Transfer
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.verdict import PressingStack, StackLayer

Layers = tuple[StackLayer, ...]
# How the print lies, where its side says no more, and how the piece does, looked at from the heated platen.
_FACES = {
    "printed-side-down": ("", "up"),
    "adhesive-down": ("", "up"),
    "glue-down": ("", "up"),
    "face-up": ("face up", "up"),
    "piece-down": ("printed side up", "down"),
    "wrapped": ("printed side inwards", "outwards"),
}


def stacks(case: Case) -> tuple[PressingStack, ...]:
    """One for each pressing that is done, in the order they come."""
    return tuple(
        PressingStack(pressing=closing.name, layers=tuple(_PILES[closing.name](case)))
        for closing in case["process.closings"]
    )


# -- each pressing ---------------------------------------------------------------------------------------------------


def _marry(case: Case) -> Iterator[StackLayer]:
    """Two sheets face to face; the piece is not on the press yet."""
    sheets = (
        StackLayer("print", "printed sheet", "printed side down", None),
        StackLayer("carrier", "adhesive sheet", "adhesive side up", None),
    )
    yield from _between(case, _cover(case, "marry"), sheets)


def _adhesive(case: Case) -> Iterator[StackLayer]:
    adhesive = (
        StackLayer("carrier", "carrier of the adhesive", "", None),
        StackLayer("print", "adhesive", "adhesive side down", None),
    )
    yield from _between(case, _cover(case, "adhesive"), (*adhesive, *_beneath(case), *_piece_up(case)))


def _tack(case: Case) -> Iterator[StackLayer]:
    """A lower layer lies as it does in its main pressing; a film that dye goes into lies without its dye."""
    if not case["main.done"]:
        yield from _between(case, _cover_of_main(case), (*_print(case), *_piece_up(case)))
        return
    film = (
        StackLayer("carrier", "carrier of the film", "", None),
        StackLayer("print", case["transfer.title"], "adhesive side down", case["transfer.thickness_mm"]),
    )
    yield from _between(case, _cover(case, "tack"), (*film, *_beneath(case), *_piece_up(case)))


def _main(case: Case) -> Iterator[StackLayer]:
    _, piece_lies = _FACES[case["lay.how"]]
    piece = _piece(case, piece_lies)
    transfer = tuple(_print(case))
    lying = (piece, *reversed(transfer)) if piece_lies == "down" else (*transfer, piece)
    yield from _between(case, _cover_of_main(case), (*lying, *_under(case)))


def _again(case: Case) -> Iterator[StackLayer]:
    """The carrier is off: the print lies bare under its cover."""
    printed = StackLayer("print", case["transfer.title"], "face up", _stays_mm(case))
    yield from _between(case, _cover(case, "again"), (printed, *_beneath(case), *_piece_up(case)))


def _reverse(case: Case) -> Iterator[StackLayer]:
    """The piece is turned: its own cloth alone lies over the print, which lies face down on a pad."""
    printed = (
        *reversed(tuple(_beneath(case))),
        StackLayer("print", case["transfer.title"], "face down", _stays_mm(case)),
    )
    pad = StackLayer("pad", "a pad", "", None)
    yield from _between(case, _cover(case, "reverse"), (_piece(case, "down"), *printed, pad))


_PILES: Mapping[str, Callable[[Case], Iterator[StackLayer]]] = MappingProxyType(
    {"marry": _marry, "adhesive": _adhesive, "tack": _tack, "main": _main, "reverse": _reverse, "again": _again}
)


# -- what they are made of -------------------------------------------------------------------------------------------


def _between(case: Case, cover: Layers, lying: Layers) -> Iterator[StackLayer]:
    """What lies between what presses from above, with its cover, and what presses from below."""
    wrapped = case["lay.how"] == "wrapped"
    above, below = _pressing_parts(case)
    yield StackLayer("platen", case["press.title"] if wrapped else above, "", None)
    yield from cover
    yield from lying
    if not wrapped:
        yield StackLayer("platen", below, "", None)


def _cover(case: Case, pressing: str) -> Layers:
    return _consumable(case, case[f"{pressing}.cover"], case[f"{pressing}.cover_title"])


def _cover_of_main(case: Case) -> Layers:
    if case["lay.sheet_over"]:
        return _consumable(case, case["set.non_stick_sheet"], case["set.non_stick_title"], needed=True)
    return _consumable(case, case["set.cover"], case["set.cover_title"])


def _print(case: Case) -> Iterator[StackLayer]:
    """The print with its carrier, what was pressed on for it before, and the layers below."""
    print_lies = _FACES[case["lay.how"]][0] or case["lay.side_words"]
    title, stays_mm = case["transfer.title"], _stays_mm(case)
    if case["transfer.carrier"] != NONE:
        words = _carrier(case["transfer.carrier"], case["transfer.principle"])
        yield StackLayer("carrier", words, "", _carrier_mm(case))
    if case["tack.done"] and case["main.done"]:  # the film is on already, and its dye comes on it
        yield StackLayer("print", "its dye print", print_lies, 0.0)
        yield StackLayer("print", title, "face up", case["transfer.thickness_mm"])
    elif case["adhesive.done"]:
        yield StackLayer("print", title, "bright side up", stays_mm)
        yield StackLayer("print", "its adhesive", "face up", None)
    else:
        yield StackLayer("print", title, print_lies, stays_mm)
    yield from _beneath(case)


def _carrier(carrier: str, principle: str) -> str:
    """What carries the print, in words: a film by what it does for such a print, since all are clear and look alike."""
    return _CARRIER_FILMS.get(principle, f"its {carrier} carrier") if carrier == "film" else f"its {carrier} carrier"


_CARRIER_FILMS: Mapping[str, str] = MappingProxyType(
    {
        "film": "the clear carrier it was cut and weeded on",
        "foil": "the clear film that the foil comes off",
        "ink-film": "the clear film it lies on",
        "powder-film": "the clear film it is printed on",
        "stud": "the clear sticky film that holds the pieces",
    }
)


def _beneath(case: Case) -> Iterator[StackLayer]:
    """The prints of this order that lie below, the uppermost first."""
    return (
        StackLayer("print", in_a_sentence(entry.title), "face up", _applied_mm(entry))
        for entry in case["layer.entries"][1:]
        if entry is not None
    )


def _piece_up(case: Case) -> Iterator[StackLayer]:
    yield _piece(case, "up")
    yield from _under(case)


def _piece(case: Case, lies: str) -> StackLayer:
    return StackLayer("piece", case["item.title"], f"{case['item.face_words']} {lies}", case["item.thickness_mm"])


def _under(case: Case) -> Iterator[StackLayer]:
    """Papers and pads below the face that is pressed."""
    pad = _consumable(case, case["set.pad"], case["set.pad_title"])
    blot: Layers = ()
    if case["lay.paper_on_bed"]:
        blot = _consumable(case, case["set.blot_sheet"], case["set.blot_title"], needed=True)
    inside = case["set.padded"] and case["item.layered"]
    yield from (*pad, *blot) if inside else (*blot, *pad)
    if case["set.other_side_printed"]:
        yield from _consumable(case, case["set.non_stick_sheet"], case["set.non_stick_title"], needed=True)


def _pressing_parts(case: Case) -> tuple[str, str]:
    """What presses from above and from below; in an oven the clamp does both."""
    bed = case["press.bed_words"]
    if case["press.closing"] == "enclosed":
        return bed, bed
    return "heated platen", "heated lower platen" if case["press.heated"] == "both" else bed


def _consumable(case: Case, name: str, title: str, *, needed: bool = False) -> Layers:
    """A sheet or pad of the book; none for none, unless it is ``needed`` and has to be got."""
    if name == NONE:
        return (StackLayer("sheet", title, "", None),) if needed else ()
    entry = case.book.catalogue["consumables"][name]
    return (StackLayer("pad" if entry.kind == "pad" else "sheet", title, "", entry.thickness),)


def _applied_mm(entry: Transfer) -> float:
    """What stays on the piece: of dye, whose entry has its paper's thickness, nothing that could be measured."""
    return 0.0 if entry.principle == "dye-vapour" else entry.thickness


def _stays_mm(case: Case) -> float:
    return _applied_mm(case["transfer.entry"])


def _carrier_mm(case: Case) -> float:
    """As the heat is worked out with: the first of the transfer's layers."""
    return transfer_layers(case["transfer.entry"])[0].thickness_m * 1000
