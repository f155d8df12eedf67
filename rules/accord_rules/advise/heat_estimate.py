"""The heat estimate of a pressing as a plan shows it."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from types import MappingProxyType

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen
from accord_rules.derive.heat import heat_words, range_words
from accord_rules.heat.grid import Floats
from accord_rules.heat.response import LONGEST_S, at_times
from accord_rules.verdict import HeatCurve, HeatEstimate, PressingHeat

_CURVE_STEPS = 24


def heat_estimate(case: Case, chosen: Chosen, *, curve: bool = False) -> HeatEstimate | None:
    """The estimate as a plan shows it, ``curve``: with what it takes to draw it.

    None where there is no estimate. ``case`` must have settings, ``chosen`` are they.
    """
    estimated, lying = case.known["heat.estimate"], case.known["heat.lay"]
    if estimated is None or chosen.time_s is None:
        return None
    state = "a dry piece"
    if lying.water_share:
        state = "a piece not dry all through" if chosen.pre_press_s else "a piece that was not pre-pressed"
    return HeatEstimate(
        need_c=case.known["heat.need_c"],
        hold_s=case.known["heat.need_s"],
        dwell_s=chosen.time_s,
        interface_c=tuple(estimated.interface_c),
        reach_s=tuple(time_s if isfinite(time_s) else None for time_s in estimated.reach_s),
        sag_k=case.known["heat.sag_k"],
        face_down=lying.piece.face_down,
        damp=bool(lying.water_share),
        touch_wait_s=case.known["touch.wait_s"] and round(case.known["touch.wait_s"]),
        text=f"estimate for {state}: has had {case.known['heat.need_words']} after {range_words(estimated.reach_s)}",
        curve=_drawn(case.known["heat.curves"], chosen.time_s) if curve else None,
    )


# Why a pressing has no estimate whatever the press.
_WITHOUT = MappingProxyType(
    {
        "marry": "no estimate of the heat: two sheets lie together without the piece",
        "adhesive": "no estimate of the heat: the adhesive is a sheet of its own, whose layers are not known",
    }
)


def pressing_heat(case: Case, pressing: str) -> PressingHeat:
    """The estimate of a pressing beside the main one, or why there is none. ``case`` must have settings."""
    ends: Mapping[str, tuple[float, float, float]] = case.known["heat.beside_main"] or {}
    if pressing in ends:
        words = heat_words(ends[pressing], case.shop.units)
        return PressingHeat(
            interface_c=ends[pressing], text=f"at its end the print is {words}, if the piece has gone cold before"
        )
    without = "no estimate of the heat: the model does not hold for this transfer on this press"
    return PressingHeat(interface_c=None, text=_WITHOUT.get(pressing, without))


def _drawn(curves: tuple[Floats, Floats, Floats], dwell_s: float) -> HeatCurve:
    """The three curves to draw, to a little beyond the dwell: times in s, temperatures in °C."""
    until_s = min(LONGEST_S, 1.25 * dwell_s)
    times = [round(until_s * (step / _CURVE_STEPS) ** 1.5, 1) for step in range(_CURVE_STEPS + 1)]
    return HeatCurve(tuple(times), *(tuple(at_times(curve, times)) for curve in curves))
