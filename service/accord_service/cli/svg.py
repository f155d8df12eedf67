"""The same drawing as SVG: one panel a decoration, readable on light and on dark ground, and without colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from accord_rules.documents import units
from accord_service.cli.curve import Curve

WIDTH, PANEL = 720, 420
_LEFT, _RIGHT, _TOP, _BOTTOM = 76, 704, 52, 330
_TICKS = 5

_TEMPLATES = Environment(
    loader=PackageLoader("accord_service", "cli/templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


@dataclass(frozen=True, slots=True)
class Tick:
    at: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One curve in pixels from the panel's own corner."""

    top: int
    title: str
    band: str
    likely: str
    need: Tick
    ceiling: Tick
    ceiling_because: str
    dwell: Tick
    order_dwell: Tick | None
    times: tuple[Tick, ...]
    temperatures: tuple[Tick, ...]
    note: str


def svg(curves: Sequence[Curve]) -> str:
    """The document, with text escaped."""
    panels = [_panel(place, curve) for place, curve in enumerate(curves)]
    frame = {"left": _LEFT, "right": _RIGHT, "top": _TOP, "bottom": _BOTTOM}
    return _TEMPLATES.get_template("heat.svg").render(
        width=WIDTH, height=PANEL * len(panels), frame=frame, panels=panels
    )


def _panel(place: int, curve: Curve) -> Panel:
    def x(time_s: float) -> float:
        return round(_LEFT + (_RIGHT - _LEFT) * time_s / curve.end_s, 1)

    def y(value_c: float) -> float:
        share = (curve.top_c - value_c) / (curve.top_c - curve.bottom_c)
        return round(_TOP + (_BOTTOM - _TOP) * share, 1)

    def points(values: Sequence[float]) -> list[str]:
        return [f"{x(time_s)},{y(value_c)}" for time_s, value_c in zip(curve.times_s, values, strict=True)]

    def when(time_s: float) -> Tick:
        return Tick(x(time_s), units.show(units.TIME, round(time_s)) if time_s else "0")

    def hot(value_c: float) -> Tick:
        return Tick(y(value_c), curve.temperature(value_c))

    span_c = curve.top_c - curve.bottom_c
    return Panel(
        top=place * PANEL,
        title=curve.title,
        band=" ".join([*points(curve.soon_c), *reversed(points(curve.late_c))]),
        likely=" ".join(points(curve.likely_c)),
        need=hot(curve.need_c),
        ceiling=hot(curve.ceiling_c),
        ceiling_because=curve.ceiling_because,
        dwell=when(curve.dwell_s),
        order_dwell=None if curve.asked_s is None else when(curve.asked_s),
        times=tuple(when(curve.end_s * tick / _TICKS) for tick in range(_TICKS + 1)),
        temperatures=tuple(hot(curve.bottom_c + span_c * tick / _TICKS) for tick in range(_TICKS + 1)),
        note=curve.note,
    )
