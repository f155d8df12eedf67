"""A press's own contact, from what temperature strips read on pieces under it.

One conductance is fitted for all contacts of its stacks, since nothing tells them apart; the piece counts as dry, and
as wide as the platen. The press type's usual range is what is thought before, and what readings leave open stays so:
one taken long after all is warm narrows nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from accord_rules.heat.build import Sheet, build_of, stack_for, start_for
from accord_rules.heat.grid import Floats
from accord_rules.heat.history import time_grid
from accord_rules.heat.solve import solve
from accord_rules.heat.stack import Interface
from accord_rules.revision.catalogue import PressType, Substrate

# Beyond what paper and cloth can conduct either way: a millimetre of air, and bare metal on metal.
_LEAST_W_M2K, _MOST_W_M2K = 30.0, 20_000.0
_SOLVED, _TRIED = 24, 400
_STEPS = 60
# Two standard errors either way.
_SURE = 4.0


@dataclass(frozen=True, slots=True)
class Strip:
    """What a strip read on a piece, ``error_k`` either way, s after a platen that idled at ``surface_c`` came down."""

    surface_c: float
    time_s: float
    read_c: float
    error_k: float
    substrate: Substrate
    thickness_mm: float
    cover: Sheet | None = None

    def expected_c(self, press: PressType, conductance_w_m2k: float) -> float:
        """What it would have read with every contact at this conductance. Raises HeatError."""
        contact = Interface(conductance_w_m2k, conductance_w_m2k, conductance_w_m2k)
        stack = stack_for(
            self.substrate,
            None,
            press,
            self.surface_c,
            thickness_mm=self.thickness_mm,
            cover=self.cover,
            contact=contact,
        )
        return float(solve(stack, start_for(press, stack), time_grid(self.time_s, _STEPS)).interface_c[-1])


def readable_c(strip: Strip, press: PressType) -> tuple[float, float]:
    """The least and the most that the strip can have read, whatever its contacts conduct, °C; its own error and the
    platen's not counted. Raises HeatError."""
    return strip.expected_c(press, _LEAST_W_M2K), strip.expected_c(press, _MOST_W_M2K)


def fitted_contact(strips: Sequence[Strip], press: PressType) -> Interface:
    """The likeliest conductance, and the least and greatest within two standard errors of it.

    The type's usual range counts as two standard errors either way of its likely contact, in the logarithm. Readings
    that disagree by more than their own error widen the range by as much. Raises HeatError without a platen.
    """
    usual = build_of(press).contact
    solved = np.geomspace(_LEAST_W_M2K, _MOST_W_M2K, _SOLVED)
    tried = np.geomspace(_LEAST_W_M2K, _MOST_W_M2K, _TRIED)
    deviation = np.log(usual.high_w_m2k / usual.low_w_m2k) / 4
    misfit: Floats = (np.log(tried / usual.likely_w_m2k) / deviation) ** 2
    for strip in strips:
        expected_c = [strip.expected_c(press, float(conductance)) for conductance in solved]
        off_k = np.interp(np.log(tried), np.log(solved), expected_c) - strip.read_c
        misfit = misfit + (off_k / strip.error_k) ** 2
    best = float(misfit.min())
    disagreement = max(1.0, best / max(1, len(strips)))
    explains = tried[misfit <= best + _SURE * disagreement]
    return Interface(float(tried[misfit.argmin()]), float(explains[0]), float(explains[-1]))
