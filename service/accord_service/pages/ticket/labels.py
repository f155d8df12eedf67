"""Labels beside a drawing: each at the height of what it names where that is free, else as near as it can be.

Labels keep the order of what they name, and each has a leader to it, which bends between the drawing and the labels: so
no leader crosses another or a label, whatever there is to say.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from accord_service.pages.ticket.scene import ASCENT, DESCENT, LINE, SOFT, Line, Mark, Text

_BETWEEN = 0.5  # mm between two labels


@dataclass(frozen=True, slots=True)
class Label:
    """Lines of text about something at a height, mm: what it is, bold, and what more there is to say of it."""

    at: float
    name: tuple[str, ...]
    more: tuple[str, ...]
    size: float

    @property
    def lines(self) -> tuple[str, ...]:
        return (*self.name, *self.more)

    @property
    def height(self) -> float:
        return self.size * ((len(self.lines) - 1) * LINE + ASCENT + DESCENT)


def needed_mm(labels: Sequence[Label]) -> float:
    """How high a column has to be for all of them."""
    return sum(label.height for label in labels) + _BETWEEN * max(0, len(labels) - 1)


def column(labels: Sequence[Label], *, tie: float, left: float, top: float, bottom: float) -> Iterator[Mark]:
    """The labels and their leaders. ``tie``: where leaders begin, ``left``: where texts do, mm.

    Between ``top`` and ``bottom`` there has to be room for all of them (``needed_mm``).
    """
    ordered = sorted(labels, key=lambda label: label.at)
    for label, place in zip(ordered, _tops(ordered, top, bottom), strict=True):
        middle = place + label.height / 2
        bend, end = tie + (left - tie) * 0.35, left - 0.6
        yield Line(x1=tie, y1=label.at, x2=bend, y2=label.at, ink=SOFT, stroke=0.12)
        yield Line(x1=bend, y1=label.at, x2=end - 0.8, y2=middle, ink=SOFT, stroke=0.12)
        yield Line(x1=end - 0.8, y1=middle, x2=end, y2=middle, ink=SOFT, stroke=0.12)
        for number, text in enumerate(label.lines):
            base = place + label.size * (ASCENT + number * LINE)
            yield Text(x=left, y=base, text=text, size=label.size, bold=number < len(label.name))


def _tops(labels: Sequence[Label], top: float, bottom: float) -> list[float]:
    """Where each begins: pushed down by the one above, then up where the last would lie too low."""
    tops: list[float] = []
    free = top
    for label in labels:
        tops.append(max(free, label.at - label.height / 2))
        free = tops[-1] + label.height + _BETWEEN
    least = bottom
    for place in range(len(labels) - 1, -1, -1):
        tops[place] = min(tops[place], least - labels[place].height)
        least = tops[place] - _BETWEEN
    return tops
