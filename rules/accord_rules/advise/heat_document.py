"""The heat estimate of a pressing as a plan shows it."""

from __future__ import annotations

from math import isfinite
from typing import Any

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen
from accord_rules.derive.heat import range_words
from accord_rules.documents import units
from accord_rules.heat.grid import Floats
from accord_rules.heat.response import LONGEST_S, at_times

_CURVE_STEPS = 24


def heat_document(case: Case, chosen: Chosen) -> dict[str, Any] | None:
    """The estimate as a plan shows it, each figure as [soon, likely, late]; null times are not within 15 min.

    None where there is no estimate. ``case`` must have settings, ``chosen`` are they.
    """
    found, lying = case["heat.estimate"], case["heat.lay"]
    if found is None or chosen.time_s is None:
        return None
    state = "a piece that was not pre-pressed" if lying.water_share else "a dry piece"
    need = case.show(units.TEMPERATURE, case["heat.need_c"])
    return {
        "need_c": case["heat.need_c"],
        "hold_s": case["heat.need_s"],
        "dwell_s": chosen.time_s,
        "interface_c": [round(value_c, 1) for value_c in found.interface_c],
        "reach_s": [round(time_s, 1) if isfinite(time_s) else None for time_s in found.reach_s],
        "sag_k": round(case["heat.sag_k"], 1),
        "face_down": lying.piece.face_down,
        "damp": bool(lying.water_share),
        "touch_wait_s": case["touch.wait_s"] and round(case["touch.wait_s"]),
        "curve": _drawn(case["heat.curves"], chosen.time_s),
        "note": f"estimate for {state}: at {need} after {range_words(found.reach_s)}",
    }


def _drawn(curves: tuple[Floats, Floats, Floats], dwell_s: float) -> dict[str, list[float]]:
    """The three curves to draw, to a little beyond the dwell: times in s, temperatures in °C."""
    until_s = min(LONGEST_S, 1.25 * dwell_s)
    times = [round(until_s * (step / _CURVE_STEPS) ** 1.5, 1) for step in range(_CURVE_STEPS + 1)]
    named = zip(("soon_c", "likely_c", "late_c"), curves, strict=True)
    return {"times_s": times} | {name: at_times(curve, times) for name, curve in named}
