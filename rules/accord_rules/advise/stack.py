"""What lies on what in each pressing of a plan, from the heated platen down, with which face where."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from accord_rules.derive.case import Case
from accord_rules.orders.order import NONE
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.verdict import PressingStack, StackLayer

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
    sheets = (StackLayer("printed sheet", "printed side down"), StackLayer("adhesive sheet", "adhesive side up"))
    yield from _between(case, _cover(case, "marry"), sheets)


def _adhesive(case: Case) -> Iterator[StackLayer]:
    adhesive = (StackLayer("carrier of the adhesive", ""), StackLayer("adhesive", "adhesive side down"))
    yield from _between(case, _cover(case, "adhesive"), (*adhesive, *_beneath(case), *_piece_up(case)))


def _tack(case: Case) -> Iterator[StackLayer]:
    """A lower layer lies as it does in its main pressing; a film that dye goes into lies without its dye."""
    if not case["main.done"]:
        yield from _between(case, _cover_of_main(case), (*_print(case), *_piece_up(case)))
        return
    film = (StackLayer("carrier of the film", ""), StackLayer(case["transfer.title"], "adhesive side down"))
    yield from _between(case, _cover(case, "tack"), (*film, *_beneath(case), *_piece_up(case)))


def _main(case: Case) -> Iterator[StackLayer]:
    _, piece_lies = _FACES[case["lay.how"]]
    piece = StackLayer(case["item.title"], f"{case['item.face_words']} {piece_lies}")
    transfer = tuple(_print(case))
    lying = (piece, *reversed(transfer)) if piece_lies == "down" else (*transfer, piece)
    yield from _between(case, _cover_of_main(case), (*lying, *_under(case)))


def _again(case: Case) -> Iterator[StackLayer]:
    """The carrier is off: the print lies bare under its cover."""
    printed = StackLayer(case["transfer.title"], "face up")
    yield from _between(case, _cover(case, "again"), (printed, *_beneath(case), *_piece_up(case)))


def _reverse(case: Case) -> Iterator[StackLayer]:
    """The piece is turned: its own cloth alone lies over the print, which lies face down on a pad."""
    piece = StackLayer(case["item.title"], f"{case['item.face_words']} down")
    printed = (*reversed(tuple(_beneath(case))), StackLayer(case["transfer.title"], "face down"))
    yield from _between(case, _cover(case, "reverse"), (piece, *printed, StackLayer("a pad", "")))


_PILES: Mapping[str, Callable[[Case], Iterator[StackLayer]]] = MappingProxyType(
    {"marry": _marry, "adhesive": _adhesive, "tack": _tack, "main": _main, "reverse": _reverse, "again": _again}
)


# -- what they are made of -------------------------------------------------------------------------------------------


def _between(case: Case, cover: str | None, lying: tuple[StackLayer, ...]) -> Iterator[StackLayer]:
    """What lies between what presses from above, with its cover, and what presses from below."""
    wrapped = case["lay.how"] == "wrapped"
    above, below = _pressing_parts(case)
    yield StackLayer(case["press.title"] if wrapped else above, "")
    yield from _sheet(cover)
    yield from lying
    if not wrapped:
        yield StackLayer(below, "")


def _cover(case: Case, pressing: str) -> str | None:
    return None if case[f"{pressing}.cover"] == NONE else case[f"{pressing}.cover_title"]


def _cover_of_main(case: Case) -> str | None:
    title: str | None = case["set.non_stick_title"] if case["lay.sheet_over"] else case["set.cover_title"]
    return title


def _print(case: Case) -> Iterator[StackLayer]:
    """The print with its carrier, what was pressed on for it before, and the layers below."""
    print_lies = _FACES[case["lay.how"]][0] or case["lay.side_words"]
    if case["transfer.carrier"] != NONE:
        yield StackLayer(_carrier(case["transfer.carrier"], case["transfer.principle"]), "")
    if case["tack.done"] and case["main.done"]:  # the film is on already, and its dye comes on it
        yield StackLayer("its dye print", print_lies)
        yield StackLayer(case["transfer.title"], "face up")
    elif case["adhesive.done"]:
        yield StackLayer(case["transfer.title"], "bright side up")
        yield StackLayer("its adhesive", "face up")
    else:
        yield StackLayer(case["transfer.title"], print_lies)
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
        StackLayer(in_a_sentence(entry.title), "face up") for entry in case["layer.entries"][1:] if entry is not None
    )


def _piece_up(case: Case) -> Iterator[StackLayer]:
    yield StackLayer(case["item.title"], f"{case['item.face_words']} up")
    yield from _under(case)


def _under(case: Case) -> Iterator[StackLayer]:
    """Papers and pads below the face that is pressed."""
    paper, pad = case["set.blot_title"] if case["lay.paper_on_bed"] else None, case["set.pad_title"]
    inside = case["set.padded"] and case["item.layered"]
    for title in (pad, paper) if inside else (paper, pad):
        yield from _sheet(title)
    if case["set.other_side_printed"]:
        yield from _sheet(case["set.non_stick_title"])


def _pressing_parts(case: Case) -> tuple[str, str]:
    """What presses from above and from below; in an oven the clamp does both."""
    bed = case["press.bed_words"]
    if case["press.closing"] == "enclosed":
        return bed, bed
    return "heated platen", "heated lower platen" if case["press.heated"] == "both" else bed


def _sheet(title: str | None) -> Iterator[StackLayer]:
    if title is not None:
        yield StackLayer(title, "")
