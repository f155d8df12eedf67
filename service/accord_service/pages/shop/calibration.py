"""The calibration plot of a press: what the display said against what was read on the platen, in the shop's unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.counted import counted
from accord_service.pages.plot import Axis
from accord_service.steps.readable import plain_number

Document = Mapping[str, Any]

# Drawn for a phone; on a desk it is drawn larger.
WIDTH, HEIGHT = 400, 330
_LEFT, _RIGHT, _TOP, _BOTTOM = 54, 382, 12, 276
COUNTS, WAITS, CONTRADICTS = "counts", "waits", "contradicts"


@dataclass(frozen=True, slots=True)
class Tick:
    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Point:
    """One spot of a reading in pixels; ``state`` chooses its sign, ``text`` says it in words."""

    x: float
    y: float
    state: str
    text: str


@dataclass(frozen=True, slots=True)
class Stem:
    """The line on which the spots of one reading lie, all at its setting of the display; ``text`` says how many."""

    x: float
    top: float
    bottom: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Everything in pixels; ``mean`` and ``band`` are points of lines as SVG has them, empty where nothing counts."""

    unit: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    points: tuple[Point, ...]
    stems: tuple[Stem, ...]
    mean: tuple[tuple[float, float], ...]
    band: str
    even: tuple[tuple[float, float], tuple[float, float]] | None
    frame: Mapping[str, int]
    summary: str

    @property
    def states(self) -> tuple[str, ...]:
        """The states that there are points of, for the legend."""
        return tuple(state for state in (COUNTS, WAITS, CONTRADICTS) if any(p.state == state for p in self.points))

    @property
    def mean_line(self) -> str:
        return " ".join(f"{x},{y}" for x, y in self.mean)


def state_of(reading: Document) -> str:
    """How a reading stands: it counts, it waits, or it waits and contradicts what counts."""
    if reading["counts"]:
        return COUNTS
    return CONTRADICTS if reading["contradicts"] else WAITS


def calibration_plot(
    readings: Sequence[Document], calibration: Document | None, system: units.UnitPreferences
) -> Plot | None:
    """The drawing of a press's readings and of what the service takes its surface to be; None without any reading."""
    if not readings:
        return None
    unit = system.unit(units.TEMPERATURE)

    def shown(text: str) -> float:
        return unit.outside(units.parse(units.TEMPERATURE, text))

    spots = [
        (shown(reading["display"]), shown(spot), reading, place)
        for reading in readings
        for place, spot in enumerate(reading["surface"], 1)
    ]
    curve = [_numbers(point) for point in (calibration["curve"] if calibration is not None else ())]
    edges = [surface + side * spread for _, surface, spread in curve for side in (-1, 1)]
    displays = [display for display, *_ in spots]
    x = Axis.around([min(displays) - 5, max(displays) + 5], _LEFT, _RIGHT)
    y = Axis.around([*(surface for _, surface, *_ in spots), *edges], _BOTTOM, _TOP, 7)
    upper = [(_pixel(x, display), _pixel(y, surface + spread)) for display, surface, spread in curve]
    lower = [(_pixel(x, display), _pixel(y, surface - spread)) for display, surface, spread in curve]
    return Plot(
        unit=unit.symbol,
        across=tuple(Tick(_pixel(x, value), plain_number(value)) for value in x.ticks),
        up=tuple(Tick(_pixel(y, value), plain_number(value)) for value in y.ticks),
        points=tuple(
            Point(
                _pixel(x, display),
                _pixel(y, surface),
                state_of(reading),
                f"display {display:.0f}, spot {place}: {surface:.0f}",
            )
            for display, surface, reading, place in spots
        ),
        stems=tuple(
            Stem(
                _pixel(x, shown(reading["display"])),
                _pixel(y, max(map(shown, reading["surface"]))),
                _pixel(y, min(map(shown, reading["surface"]))),
                f"{counted(len(reading['surface']), 'spot')} of one reading",
            )
            for reading in readings
            if len(reading["surface"]) > 1
        ),
        mean=tuple((_pixel(x, display), _pixel(y, surface)) for display, surface, _ in curve),
        band=" ".join(f"{px},{py}" for px, py in [*upper, *reversed(lower)]),
        even=_even(x, y),
        frame={"left": _LEFT, "right": _RIGHT, "top": _TOP, "bottom": _BOTTOM, "width": WIDTH, "height": HEIGHT},
        summary=_summary(readings, calibration),
    )


def _pixel(axis: Axis, value: float) -> float:
    """Where a value lies, to a tenth of a pixel."""
    return round(axis.at(value), 1)


def _numbers(point: Document) -> tuple[float, float, float]:
    """Display, surface and spread, which are in the shop's unit already."""
    display, surface, spread = (float(str(point[name]).split()[0]) for name in ("display", "surface", "spread"))
    return display, surface, spread


def _even(x: Axis, y: Axis) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The line on which the surface is what the display says, as far as it lies in the drawing."""
    low, high = max(x.low, y.low), min(x.high, y.high)
    if low >= high:
        return None
    start, end = ((_pixel(x, value), _pixel(y, value)) for value in (low, high))
    return start, end


def _summary(readings: Sequence[Document], calibration: Document | None) -> str:
    counting = sum(reading["counts"] for reading in readings)
    count = counted(counting, "reading counts", "readings count")
    if counting < len(readings):
        count += f", {counted(len(readings) - counting, 'waits', 'wait')}"
    if calibration is None:
        return f"{count}."
    points = "; ".join(
        f"display {point['display']}, surface {point['surface']} give or take {point['spread']}"
        for point in calibration["curve"]
    )
    return f"{count}. {points}."
