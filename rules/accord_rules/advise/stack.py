"""What lies on what, from the heated platen down, with which face where."""

from __future__ import annotations

from collections.abc import Iterator

from accord_rules.derive.case import Case
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
    transfer = [*carrier, StackLayer(case["transfer.title"], print_lies or case["lay.side_words"])]
    piece = StackLayer(case["item.title"], f"{case['item.face_words']} {piece_lies}")
    wrapped = case["lay.how"] == "wrapped"
    yield StackLayer(case["press.title"] if wrapped else "heated platen", "")
    yield from _sheet(case["set.cover_title"])
    yield from (piece, *reversed(transfer)) if piece_lies == "down" else (*transfer, piece)
    if case["lay.how"] == "piece-down" and case["set.blot_sheet"] != "none":
        yield from _sheet(case["set.blot_title"])
    yield from _sheet(case["set.pad_title"])
    if case["set.other_side_printed"]:
        yield from _sheet(case["set.non_stick_title"])
    if not wrapped:
        yield StackLayer("heated lower platen" if case["press.heated"] == "both" else case["press.bed_words"], "")


def _sheet(title: str | None) -> Iterator[StackLayer]:
    if title is not None:
        yield StackLayer(title, "")
