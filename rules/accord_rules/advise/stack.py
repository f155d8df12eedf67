"""What lies on what, from the heated platen down, with which face where."""

from __future__ import annotations

from collections.abc import Iterator

from accord_rules.derive.case import Case
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.verdict import StackLayer

# How the print lies, where its side says no more, and how the piece does, looked at from the heated platen.
_FACES = {
    "printed-side-down": ("", "up"),
    "adhesive-down": ("", "up"),
    "glue-down": ("", "up"),
    "face-up": ("face up", "up"),
    "piece-down": ("printed side up", "down"),
    "wrapped": ("printed side inwards", "outwards"),
}


def stack(case: Case) -> tuple[StackLayer, ...]:
    """The layers of one pressing."""
    return tuple(_layers(case))


def _layers(case: Case) -> Iterator[StackLayer]:
    print_lies, piece_lies = _FACES[case["lay.how"]]
    carrier = [] if case["transfer.carrier"] == "none" else [StackLayer(f"its {case['transfer.carrier']} carrier", "")]
    layers = (StackLayer(in_a_sentence(entry.title), "") for entry in case["layer.entries"][1:] if entry is not None)
    transfer = [*carrier, StackLayer(case["transfer.title"], print_lies or case["lay.side_words"]), *layers]
    piece = StackLayer(case["item.title"], f"{case['item.face_words']} {piece_lies}")
    wrapped = case["lay.how"] == "wrapped"
    above, below = _pressing_parts(case)
    yield StackLayer(case["press.title"] if wrapped else above, "")
    yield from _sheet(case["set.non_stick_title"] if case["lay.sheet_over"] else case["set.cover_title"])
    yield from (piece, *reversed(transfer)) if piece_lies == "down" else (*transfer, piece)
    paper, pad = case["set.blot_title"] if case["lay.paper_on_bed"] else None, case["set.pad_title"]
    for title in (pad, paper) if case["set.padded"] else (paper, pad):  # a pillow lies inside the piece
        yield from _sheet(title)
    if case["set.other_side_printed"]:
        yield from _sheet(case["set.non_stick_title"])
    if not wrapped:
        yield StackLayer(below, "")


def _pressing_parts(case: Case) -> tuple[str, str]:
    """What presses from above and from below; in an oven the clamp does both."""
    bed = case["press.bed_words"]
    if case["press.closing"] == "enclosed":
        return bed, bed
    return "heated platen", "heated lower platen" if case["press.heated"] == "both" else bed


def _sheet(title: str | None) -> Iterator[StackLayer]:
    if title is not None:
        yield StackLayer(title, "")
