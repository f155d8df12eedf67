"""The window of a pressing as a chart: dwell to the right, the display upwards, in the shop's units.

Dark: settings that will do all over the platen. Around it, light: what the surface may have. Dashed: ceilings. The dot
is what is dialled, the bar through it what the display would show for the coldest and the hottest spot of the platen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from math import floor
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.units import Unit, UnitPreferences
from accord_service.pages.plot import Axis
from accord_service.pages.ticket.labels import Label, column, needed_mm
from accord_service.pages.ticket.scene import (
    ASCENT,
    DASHED,
    DESCENT,
    DOTTED,
    HEAT,
    LINE,
    SMALLEST,
    SOFT,
    Dot,
    Mark,
    Rect,
    Scene,
    Text,
    width_of,
    wrapped,
)
from accord_service.pages.ticket.scene import Line as Stroke

Document = Mapping[str, Any]
# What sets a ceiling, in words of a label.
CEILING_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "substrate": "the material",
        "fibre": "the fibre",
        "coating": "the coating",
        "finish": "the finish",
        "earlier-decoration": "an earlier print",
        "transfer": "the transfer",
        "pvc": "PVC fumes",
        "press": "the press's reach",
        "dye-migration": "dye bleeds",
    }
)
_CEILINGS_MOST = 3
_ROOM = 0.12  # of what is shown, above and below
_LEAST_PLOT_MM = 20.0
_CAPTION = 0.86  # of the size of its letters


def chart_scene(explained: Document, preferences: UnitPreferences, width: float, least_mm: float, size: float) -> Scene:
    """The chart of a main pressing, ``width`` mm wide and at least ``least_mm`` high, with letters of ``size`` mm."""
    unit = preferences.unit(units.TEMPERATURE)
    shown = _Shown(explained, unit)
    small = max(SMALLEST, size * _CAPTION)
    caption = wrapped(shown.caption, small, width)
    head, foot = size * (LINE + 0.5), size * (LINE + 1.1)
    captions_mm = small * (len(caption) * LINE + 0.3)
    right_from = width * 0.56
    labels_room = width - right_from - 4.5
    labels = [_label(0.0, name, more, size, labels_room) for _, name, more in shown.named()]
    plot_mm = max(_LEAST_PLOT_MM, needed_mm(labels), least_mm - head - foot - captions_mm)
    low, high = shown.extent
    least_tick = width_of("000", size) + 1.6
    left = least_tick
    apart = size * (ASCENT + DESCENT) + 1.4
    y_axis = Axis.between(low, high, head + plot_mm, head, apart)
    plot_width = right_from - left
    x_last = shown.longest
    widest = width_of(f"{floor(x_last)}", size) + 1.6
    x_axis = Axis.between(0.0, x_last, left, right_from, widest)
    x, y = x_axis.at, y_axis.at
    marks: list[Mark] = [
        Text(x=0.0, y=size * ASCENT, text=f"Display, {unit.symbol}, over dwell, s", size=size, ink=SOFT)
    ]
    marks += _frame(left, head, plot_width, plot_mm)
    marks += _ticks(x_axis, y_axis, size)
    marks += shown.drawn(x, y, left, right_from)
    placed = [_label(y(at), name, more, size, labels_room) for at, name, more in shown.named()]
    marks += column(placed, tie=right_from, left=width - labels_room, top=head, bottom=head + plot_mm)
    below = head + plot_mm + foot
    for number, line in enumerate(caption):
        base = below + small * (ASCENT + number * LINE)
        marks.append(Text(x=0.0, y=base, text=line, size=small, ink=SOFT))
    height = below + small * ((len(caption) - 1) * LINE + ASCENT + DESCENT)
    return Scene(width, height, tuple(marks), f"Window chart. {shown.caption}")


def window_words(explained: Document, preferences: UnitPreferences) -> str:
    """What the chart shows, in a sentence, for where there is no room to draw it."""
    return _Shown(explained, preferences.unit(units.TEMPERATURE)).words


def _label(at: float, name: str, more: str, size: float, room: float) -> Label:
    return Label(at, wrapped(name, size, room, bold=True), wrapped(more, size, room), size)


class _Shown:
    """What of an explained setting is drawn, with temperatures in the shop's unit."""

    def __init__(self, explained: Document, unit: Unit) -> None:
        self.explained = explained
        self.unit = unit
        self.dwell_s = explained.get("time_instead_s") or explained["time_s"]
        self.set = unit.outside(explained.get("temperature_instead_c") or explained["temperature_c"])
        self.window = self._ends(explained["window"])
        self.wide = self._ends(explained["widest_window"])
        self.spots = self._ends(explained["spots"])
        self.dwells = (explained["time_window"]["least_s"], explained["time_window"]["most_s"])
        near = max(self.wide[1], self.spots[1], self.set) + max(20.0, self.wide[1] - self.wide[0])
        ceilings = [(unit.outside(ceiling["most_c"]), ceiling) for ceiling in explained["ceilings"]]
        self.ceilings = _by_height([pair for pair in ceilings if pair[0] <= near])[:_CEILINGS_MOST]

    def _ends(self, ends: Document) -> tuple[float, float]:
        return self.unit.outside(ends["least_c"]), self.unit.outside(ends["most_c"])

    @property
    def extent(self) -> tuple[float, float]:
        """The lowest and the highest that is shown."""
        every = (*self.window, *self.wide, *self.spots, self.set, *(at for at, _ in self.ceilings))
        room = max(4.0, (max(every) - min(every)) * _ROOM)
        return min(every) - room, max(every) + room

    @property
    def longest(self) -> float:
        return 1.15 * float(max(self.dwells[1], self.dwell_s))

    @property
    def caption(self) -> str:
        return f"Dark: will do all over, {self._will_do}. Bar: the press's spread, {self._spread}."

    @property
    def words(self) -> str:
        ceilings = "".join(f"; ceiling {most}, {whose}" for _, most, whose in self._ceilings())
        return f"{self._will_do} will do all over on the display; the press's spread is {self._spread}{ceilings}."

    @property
    def _will_do(self) -> str:
        window, dwells = self.explained["window"], self.explained["time_window"]
        least, most = (units.show(units.TIME, dwells[end]) for end in ("least_s", "most_s"))
        return f"{_span(window['least'], window['most'])} for {_span(least, most)}"

    @property
    def _spread(self) -> str:
        return _span(self.explained["spots"]["least"], self.explained["spots"]["most"])

    def _ceilings(self) -> Iterator[tuple[float, str, str]]:
        """At which height, how hot as the display shows it, and whose."""
        for at, ceilings in self.ceilings:
            yield at, ceilings[0]["most"], " and ".join(dict.fromkeys(map(_words, ceilings)))

    def named(self) -> Iterator[tuple[float, str, str]]:
        """At which height, what it is, and what more there is to say."""
        for at, most, whose in self._ceilings():
            yield at, most, f"ceiling: {whose}"
        temperature = self.explained.get("temperature_instead") or self.explained["temperature"]
        yield self.set, f"{temperature}, {units.show(units.TIME, self.dwell_s)}", "set this"

    def drawn(
        self, x: Callable[[float], float], y: Callable[[float], float], left: float, right: float
    ) -> Iterator[Mark]:
        """The windows, the ceilings, what is set and the spread around it."""
        from_s, to_s = self.dwells
        for (low, high), fill in ((self.wide, "wide"), (self.window, "allowed")):
            yield Rect(
                x=x(from_s), y=y(high), width=x(to_s) - x(from_s), height=y(low) - y(high), fill=fill, stroke=0.15
            )
        for at, _ in self.ceilings:
            yield Stroke(x1=left, y1=y(at), x2=right, y2=y(at), style=DASHED, ink=HEAT, stroke=0.25)
        here_x, here_y = x(self.dwell_s), y(self.set)
        yield Stroke(x1=here_x, y1=here_y, x2=right, y2=here_y, style=DOTTED, stroke=0.15)
        low, high = map(y, self.spots)
        yield Stroke(x1=here_x, y1=low, x2=here_x, y2=high, stroke=0.45)
        for end in (low, high):
            yield Stroke(x1=here_x - 1.0, y1=end, x2=here_x + 1.0, y2=end, stroke=0.45)
        yield Dot(x=here_x, y=here_y, radius=0.95, fill="heat")


def _by_height(ceilings: list[tuple[float, Document]]) -> list[tuple[float, list[Document]]]:
    """Ceilings that lie at the same height are one line with one label."""
    levels: dict[float, list[Document]] = {}
    for at, ceiling in ceilings:
        levels.setdefault(round(at, 3), []).append(ceiling)
    return sorted(levels.items())


def _words(ceiling: Document) -> str:
    return CEILING_WORDS.get(ceiling["what"], str(ceiling["what"]))


def _span(least: str, most: str) -> str:
    return least if least == most else f"{least} to {most}"


def _frame(left: float, top: float, width: float, height: float) -> Iterator[Mark]:
    yield Stroke(x1=left, y1=top, x2=left, y2=top + height)
    yield Stroke(x1=left, y1=top + height, x2=left + width, y2=top + height)


def _ticks(x_axis: Axis, y_axis: Axis, size: float) -> Iterator[Mark]:
    left, bottom = x_axis.start, y_axis.start
    for value in y_axis.ticks:
        yield Stroke(x1=left - 0.8, y1=y_axis.at(value), x2=left, y2=y_axis.at(value))
        middle = y_axis.at(value) + size * (ASCENT - DESCENT) / 2
        yield Text(x=left - 1.2, y=middle, text=f"{value:g}", size=size, anchor="end")
    for value in x_axis.ticks:
        yield Stroke(x1=x_axis.at(value), y1=bottom, x2=x_axis.at(value), y2=bottom + 0.8)
        yield Text(x=x_axis.at(value), y=bottom + 1.1 + size * ASCENT, text=f"{value:g}", size=size, anchor="middle")
