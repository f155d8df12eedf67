"""What lies under the platen: layers, the contacts between them, and what happens at the top and at the bottom.

Everything is per square metre of print: heat runs straight down, sideways losses are left out. That holds for
prints much wider than the stack is thick; near an edge the piece is cooler than computed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, isinf

from accord_rules import units

WATER_BOILS_C = 100.0
# 2.26 MJ/kg is water's heat of evaporation at 100 °C; held in fibres it needs about a tenth more. Rounded as in practice.
WATER_LATENT_J_KG = 2.5e6
LOWEST_C = -units.TEMPERATURE.inside_zero if hasattr(units.TEMPERATURE, "inside_zero") else -273.15


class HeatError(ValueError):
    """A stack or a question that makes no physical sense; the message says which number and why."""


def _positive(what: str, value: float, *, zero: bool = False, infinite: bool = False) -> None:
    good = value >= 0 if zero else value > 0
    if not good or not (isfinite(value) or (infinite and isinf(value))):
        raise HeatError(f"{what} must be {'at least' if zero else 'above'} 0, not {value!r}")
