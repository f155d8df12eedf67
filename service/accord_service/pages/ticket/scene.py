"""What is drawn, whatever it is written as: rectangles, lines, dots, triangles and texts, in mm from the upper left.

A text knows how wide it is, by the letter widths of Helvetica (Adobe's font metrics, as the PDF library has them),
which the usual sans-serif fonts of browsers share. So labels can be placed, and held to not lying over anything.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import TypeVar

from reportlab.pdfbase.pdfmetrics import stringWidth

# Of the size of a letter: how far it reaches above and below the line it stands on.
ASCENT, DESCENT = 0.74, 0.22
LINE = 1.22  # from one line of text to the next, of its size
# The smallest letters on A5, mm: their x-height, 0.523 of Helvetica's size (Adobe's font metrics), is 0.9 mm, the least
# that Regulation (EU) No 1169/2011, Article 13(3), admits on small packs.
SMALLEST = 1.75
_SLACK_MM = 1e-6
# The space between a number and its unit.
_UNITS = re.compile(r"(?<=\d) (?=(?:s|min|h|in|mm|cm|%|°F|°C|kPa|psi|bar|kg|g)(?![\w/]))")

# Inks and fills; how each looks is the writers' business, and none is the only sign of anything.
INK, SOFT, HEAT, PAPER = "ink", "soft", "heat", "paper"
FILLS = ("none", "paper", "platen", "sheet", "pad", "carrier", "print", "piece", "allowed", "wide", "ink", "heat")
SOLID, DASHED, DOTTED = "solid", "dashed", "dotted"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle that something takes up, mm."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether they share more than an edge."""
        return (
            self.left < other.right - _SLACK_MM
            and other.left < self.right - _SLACK_MM
            and self.top < other.bottom - _SLACK_MM
            and other.top < self.bottom - _SLACK_MM
        )

    def holds(self, other: Box) -> bool:
        """Whether the other lies in it whole."""
        return (
            self.left <= other.left + _SLACK_MM
            and self.top <= other.top + _SLACK_MM
            and self.right >= other.right - _SLACK_MM
            and self.bottom >= other.bottom - _SLACK_MM
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rect:
    """A rectangle. ``edge``: how its outline is drawn, None for none."""

    x: float
    y: float
    width: float
    height: float
    fill: str = "none"
    edge: str | None = SOLID
    ink: str = INK
    stroke: float = 0.2

    @property
    def edges(self) -> tuple[Line, ...]:
        """Its outline as lines; none where none is drawn."""
        if self.edge is None:
            return ()
        right, bottom = self.x + self.width, self.y + self.height
        corners = ((self.x, self.y), (right, self.y), (right, bottom), (self.x, bottom), (self.x, self.y))
        return tuple(Line(x1=x1, y1=y1, x2=x2, y2=y2) for (x1, y1), (x2, y2) in pairwise(corners))


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    style: str = SOLID
    ink: str = INK
    stroke: float = 0.2

    def crosses(self, box: Box) -> bool:
        """Whether any part of it lies inside the box (Liang and Barsky's clipping)."""
        first, last = 0.0, 1.0
        along_x, along_y = self.x2 - self.x1, self.y2 - self.y1
        inside = (
            (-along_x, self.x1 - box.left - _SLACK_MM),
            (along_x, box.right - _SLACK_MM - self.x1),
            (-along_y, self.y1 - box.top - _SLACK_MM),
            (along_y, box.bottom - _SLACK_MM - self.y1),
        )
        for step, room in inside:
            if step == 0:
                if room < 0:
                    return False
            elif step < 0:
                first = max(first, room / step)
            else:
                last = min(last, room / step)
        return first <= last


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A filled circle around a middle."""

    x: float
    y: float
    radius: float
    fill: str = "ink"

    @property
    def box(self) -> Box:
        return Box(self.x - self.radius, self.y - self.radius, self.x + self.radius, self.y + self.radius)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """A filled triangle that points up or down, ``size`` wide, around a middle."""

    x: float
    y: float
    size: float
    points: str
    fill: str = "ink"

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        half, way = self.size / 2, 1 if self.points == "down" else -1
        base, tip = self.y - way * half * 0.8, self.y + way * half * 0.8
        return ((self.x - half, base), (self.x + half, base), (self.x, tip))

    @property
    def box(self) -> Box:
        half = self.size / 2
        return Box(self.x - half, self.y - half * 0.8, self.x + half, self.y + half * 0.8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of text, mm: ``x`` is its start, middle or end by ``anchor``, ``y`` the line it stands on."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    anchor: str = "start"
    ink: str = INK

    @property
    def width(self) -> float:
        return width_of(self.text, self.size, bold=self.bold)

    @property
    def left(self) -> float:
        return self.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width

    @property
    def box(self) -> Box:
        return Box(self.left, self.y - ASCENT * self.size, self.left + self.width, self.y + DESCENT * self.size)


Mark = Rect | Line | Dot | Arrow | Text
Placed = TypeVar("Placed", Rect, Line, Dot, Arrow, Text)


@dataclass(frozen=True, slots=True)
class Scene:
    """A drawing of a size, mm. ``title`` says in words what is drawn, for whoever does not see it."""

    width: float
    height: float
    marks: tuple[Mark, ...]
    title: str = ""

    @property
    def frame(self) -> Box:
        return Box(0.0, 0.0, self.width, self.height)

    @property
    def texts(self) -> tuple[Text, ...]:
        return tuple(mark for mark in self.marks if isinstance(mark, Text))

    @property
    def lines(self) -> tuple[Line, ...]:
        """Every line, those round rectangles too."""
        return tuple(self._lines())

    def _lines(self) -> Iterator[Line]:
        for mark in self.marks:
            if isinstance(mark, Line):
                yield mark
            elif isinstance(mark, Rect):
                yield from mark.edges

    def at(self, x: float, y: float) -> tuple[Mark, ...]:
        """Its marks as they lie with its upper left corner there."""
        return tuple(_moved(mark, x, y) for mark in self.marks)


def _moved(mark: Mark, x: float, y: float) -> Mark:
    if isinstance(mark, Line):
        return replace(mark, x1=mark.x1 + x, x2=mark.x2 + x, y1=mark.y1 + y, y2=mark.y2 + y)
    return replace(mark, x=mark.x + x, y=mark.y + y)


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a text is, mm."""
    return size * _width(text, bold)


@lru_cache(maxsize=8_000)
def _width(text: str, bold: bool) -> float:
    """The same in letters of 1 mm: of words, which come again and again. A letter that the metrics lack counts as wide
    as the letter it comes from, or as an average one."""
    measured = "".join(map(_measured, text))
    return float(stringWidth(measured, "Helvetica-Bold" if bold else "Helvetica", 1000)) / 1000


def _measured(letter: str) -> str:
    plain = unicodedata.normalize("NFKD", letter)[:1]
    for form in (letter, plain):
        try:
            form.encode("cp1252")
        except UnicodeEncodeError:
            continue
        return form
    wide = unicodedata.east_asian_width(letter) in "WF" or letter.isupper()
    return "" if unicodedata.combining(letter) else "M" if wide else "n"


def words_of(text: str) -> list[str]:
    """The words of a text; a number stays with its unit."""
    return _UNITS.sub("\u00a0", text).split(" ")


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> tuple[str, ...]:
    """The text in lines no wider than the room; a word that is wider by itself is cut."""
    lines: list[str] = []
    line, used, space = "", 0.0, width_of(" ", size, bold=bold)
    for word in words_of(text):
        wide = width_of(word, size, bold=bold)
        if line and used + space + wide <= room:
            line, used = f"{line} {word}", used + space + wide
            continue
        if line:
            lines.append(line)
        *full, line = _cut(word, size, room, bold=bold) if wide > room else (word,)
        lines += full
        used = width_of(line, size, bold=bold)
    return (*lines, line) if line else tuple(lines)


def _cut(word: str, size: float, room: float, *, bold: bool) -> tuple[str, ...]:
    """A word in pieces that fit, of a letter at least."""
    pieces, piece = [], ""
    for letter in word:
        if piece and width_of(piece + letter, size, bold=bold) > room:
            pieces.append(piece)
            piece = ""
        piece += letter
    return (*pieces, piece)
