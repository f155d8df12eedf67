"""The heat of one planned decoration as a drawing: what there is to draw, and the drawing in characters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_service.cli.output import Output

ROWS = 16
_LABELS = 10  # columns left of the plot
_LEAST_PLOT = 20
_ROOM_ABOVE_K = 8.0
_TICKS = 4
# Drawn over each other in this order.
_INK: Mapping[bool, Mapping[str, str]] = MappingProxyType(
    {
        True: MappingProxyType(
            {
                "band": "░",
                "ceiling": "═",
                "need": "─",
                "dwell": "│",
                "asked": "┊",
                "likely": "█",
                "axis": "│",
                "base": "─",
            }
        ),
        False: MappingProxyType(
            {
                "band": ".",
                "ceiling": "=",
                "need": "-",
                "dwell": "|",
                "asked": ":",
                "likely": "#",
                "axis": "|",
                "base": "-",
            }
        ),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One decoration's heat: times in s, temperatures in °C; ``asked_s`` is a dwell the order asked for in vain."""

    title: str
    times_s: tuple[float, ...]
    soon_c: tuple[float, ...]
    likely_c: tuple[float, ...]
    late_c: tuple[float, ...]
    need_c: float
    ceiling_c: float
    ceiling_because: str
    dwell_s: float
    asked_s: float | None
    note: str
    units: units.UnitPreferences

    @property
    def top_c(self) -> float:
        return max(self.ceiling_c, *self.soon_c) + _ROOM_ABOVE_K

    @property
    def bottom_c(self) -> float:
        return min(self.late_c) - 2.0

    @property
    def end_s(self) -> float:
        return max(self.times_s[-1], 1.05 * (self.asked_s or 0.0))

    def temperature(self, value_c: float) -> str:
        return units.show(units.TEMPERATURE, value_c, self.units)

    def at(self, values: Sequence[float], time_s: float) -> float | None:
        """A curve at a time, linear between its points; None beyond the last."""
        for (early, late), (before, after) in zip(pairwise(self.times_s), pairwise(values), strict=True):
            if early <= time_s <= late and early < late:  # times are rounded: the first two may both be 0 s
                return before + (after - before) * (time_s - early) / (late - early)
        return None


def curve_of(planned: Mapping[str, Any], press: str, asked_s: float | None) -> Curve | None:
    """What a plan's decoration says of its heat; None where there is no estimate. ``press``: its title."""
    explained = planned["explained"]
    heat, window = explained["heat"], explained["window"]
    if heat is None:
        return None
    drawn, dwell = heat["curve"], units.show(units.TIME, explained["time_s"])
    return Curve(
        title=f"{planned['title']} on {press}, {explained['temperature']} for {dwell}",
        times_s=tuple(drawn["times_s"]),
        soon_c=tuple(drawn["soon_c"]),
        likely_c=tuple(drawn["likely_c"]),
        late_c=tuple(drawn["late_c"]),
        need_c=heat["need_c"],
        ceiling_c=explained["surface_window"]["most_c"],
        ceiling_because=window["because"][1],
        dwell_s=heat["dwell_s"],
        asked_s=asked_s,
        note=heat["text"],
        # The answer's own units: what the press is set in.
        units=units.US_CUSTOMARY if "°F" in explained["temperature"] else units.METRIC,
    )


def draw(output: Output, curve: Curve) -> list[str]:
    """The drawing, line by line, no wider than the output."""
    width = max(_LEAST_PLOT, output.width - _LABELS - 1)
    ink = _INK[output.is_utf]
    grid = [[" "] * width for _ in range(ROWS)]
    _level(grid, curve, curve.ceiling_c, ink["ceiling"])
    _level(grid, curve, curve.need_c, ink["need"])
    for column in range(width):
        time_s = curve.end_s * column / (width - 1)
        ends = [curve.at(values, time_s) for values in (curve.soon_c, curve.late_c, curve.likely_c)]
        if None in ends:
            continue
        soon, late, likely = (_row(curve, temperature_c) for temperature_c in ends if temperature_c is not None)
        for row in range(soon, late + 1):
            if grid[row][column] == " ":
                grid[row][column] = ink["band"]
        grid[likely][column] = ink["likely"]
    _upright(grid, curve, curve.dwell_s, ink["dwell"], ink["likely"])
    if curve.asked_s is not None:
        _upright(grid, curve, curve.asked_s, ink["asked"], ink["likely"])
    return [*_with_labels(output, grid, curve, ink), *_time_axis(curve, width, ink)]


def _row(curve: Curve, value_c: float) -> int:
    share = (curve.top_c - value_c) / (curve.top_c - curve.bottom_c)
    return min(ROWS - 1, max(0, round(share * (ROWS - 1))))


def _level(grid: list[list[str]], curve: Curve, value_c: float, mark: str) -> None:
    grid[_row(curve, value_c)] = [mark] * len(grid[0])


def _upright(grid: list[list[str]], curve: Curve, time_s: float, mark: str, other_mark: str) -> None:
    column = round(time_s / curve.end_s * (len(grid[0]) - 1))
    for row in grid:
        if row[column] != other_mark:
            row[column] = mark


def _with_labels(output: Output, grid: list[list[str]], curve: Curve, ink: Mapping[str, str]) -> list[str]:
    """Each line with its temperature: need and ceiling where they lie, else every fourth line."""
    marked = {_row(curve, curve.need_c): curve.need_c, _row(curve, curve.ceiling_c): curve.ceiling_c}
    lines = []
    for row, cells in enumerate(grid):
        here_c = marked.get(row)
        beside_marked = any(abs(row - row_marked) == 1 for row_marked in marked)
        if here_c is None and row % _TICKS == ROWS % _TICKS and not beside_marked:
            here_c = curve.top_c - row / (ROWS - 1) * (curve.top_c - curve.bottom_c)
        label = "" if here_c is None else output.fit(curve.temperature(here_c))
        lines.append(f"{label:>{_LABELS - 1}} {ink['axis']}{''.join(cells)}")
    return lines


def _time_axis(curve: Curve, width: int, ink: Mapping[str, str]) -> list[str]:
    """The base line and the times below it, the dwell's first; those that would touch another are left out."""
    line = " " * (_LABELS + 1 + width)
    for time_s in (curve.dwell_s, *(curve.end_s * tick / _TICKS for tick in range(_TICKS + 1))):
        text = units.show(units.TIME, round(time_s)) if time_s else "0"
        middle = _LABELS + 1 + round(time_s / curve.end_s * (width - 1))
        place = min(middle - len(text) // 2, len(line) - len(text))
        if not line[place - 1 : place + len(text) + 1].strip():
            line = line[:place] + text + line[place + len(text) :]
    return [" " * _LABELS + "+" + ink["base"] * width, line.rstrip()]


def legend(output: Output, curve: Curve) -> list[str]:
    """What the marks mean, with the numbers."""
    ink = _INK[output.is_utf]
    lines = [
        f"{ink['likely']} likely at the print, {ink['band']} between the latest and the soonest it can be, by estimate",
        f"{ink['need']} {curve.temperature(curve.need_c)}: the transfer takes at that, where it meets the piece",
        f"{ink['ceiling']} {curve.temperature(curve.ceiling_c)}: the ceiling for the surface; {curve.ceiling_because}",
        f"{ink['dwell']} {units.show(units.TIME, curve.dwell_s)}: the dwell",
    ]
    if curve.asked_s is not None:
        lines.append(f"{ink['asked']} {units.show(units.TIME, curve.asked_s)}: the dwell the order asks for")
    return lines
