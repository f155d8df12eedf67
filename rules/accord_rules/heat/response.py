"""How a stack answers to a platen of any temperature, solved once: the share of the platen's rise that gets through.

A dry stack under a fixed platen is linear: the print is at ``room + share(t) * (platen - room) + drift(t)``, where the
drift is what a bed left warm by the pressing before adds. A platen that sags is not quite linear (its heater is full
on below a fixed band), so its share is taken at the temperature the stack was built for and is good to 0.6 K within
15 K of it; a test holds that.

What is uncertain runs one way in each of the ways a piece can lie, so that two corners enclose all 32 that
``estimate`` tries; a test compares them. The platen's own spread is left to the caller, who adds or takes it off.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, log

import numpy as np

from accord_rules.heat.estimate import Lean, Spread, leaning
from accord_rules.heat.grid import Floats, frozen
from accord_rules.heat.linear import face_shares
from accord_rules.heat.sagging import faces_under_sag
from accord_rules.heat.stack import Convective, FixedPlaten, HeatedPlaten, HeatError, Layer, Stack
from accord_rules.heat.stepping import WATER_LATENT_J_KG, WATER_TO_C

# Even steps of the logarithm of time, 11 % apart: halfway between two of them a straight line is 0.1 K off.
LONGEST_S = 900.0
TIMES_S = frozen(np.append(0.0, np.geomspace(0.2, LONGEST_S, 80)))
_STEPS_S = frozen(np.diff(TIMES_S))


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """Shares of the platen's rise over ``room_c`` at ``TIMES_S``, and kelvins of drift, of the print and the far face.

    sag: the deepest the platen dips, as a share of its rise.
    """

    room_c: float
    share: Floats
    drift_k: Floats
    back_share: Floats
    back_drift_k: Floats
    sag: float

    def interface_c(self, surface_c: float) -> Floats:
        """Temperature of the print at ``TIMES_S`` under a platen that idles at ``surface_c``."""
        curve_c: Floats = self.room_c + (surface_c - self.room_c) * self.share + self.drift_k
        return curve_c

    def back_c(self, surface_c: float) -> Floats:
        """Temperature of the far face at ``TIMES_S``."""
        curve_c: Floats = self.room_c + (surface_c - self.room_c) * self.back_share + self.back_drift_k
        return curve_c

    def sag_k(self, surface_c: float) -> float:
        """How far the platen dips."""
        return self.sag * (surface_c - self.room_c)


def hottest_c(curves_c: Sequence[Floats]) -> Floats:
    """The hottest that any of some curves is at each time."""
    return _extreme(np.maximum, curves_c)


def coolest_c(curves_c: Sequence[Floats]) -> Floats:
    """The coolest that any of some curves is at each time."""
    return _extreme(np.minimum, curves_c)


def _extreme(pick: np.ufunc, curves_c: Sequence[Floats]) -> Floats:
    extreme_c: Floats = curves_c[0] if len(curves_c) == 1 else pick.reduce(curves_c)
    return extreme_c


def respond(stack: Stack, room_c: float, start_c: tuple[float, ...]) -> Response:
    """Solve ``stack`` from ``start_c``: a layer each, at ``room_c`` or (a bed) above it. Raises HeatError."""
    if isinstance(stack.bottom, Convective) and stack.bottom.ambient_c != room_c:
        raise HeatError("the air below a stack is the room's")
    if stack.damp:
        raise HeatError("a stack is dry, or a dry one stands in for it")
    above_k = tuple(layer_c - room_c for layer_c in stack.start(start_c))
    if isinstance(stack.top, FixedPlaten):
        drift, share = face_shares(stack, above_k, TIMES_S)
        sag = 0.0
    elif isinstance(stack.top, HeatedPlaten) and not any(above_k):
        drift, share, sag = _sagging(stack, room_c, stack.top, start_c)
    else:
        raise HeatError("a platen that sags meets a stack at room temperature")
    printed, back = (0, 1) if stack.print_side == "upper" else (1, 0)
    return Response(
        room_c=room_c,
        share=frozen(share[printed]),
        drift_k=frozen(drift[printed]),
        back_share=frozen(share[back]),
        back_drift_k=frozen(drift[back]),
        sag=sag,
    )


def _sagging(
    stack: Stack, room_c: float, platen: HeatedPlaten, start_c: tuple[float, ...]
) -> tuple[Floats, Floats, float]:
    rise = platen.set_c - room_c
    if rise <= 0:
        raise HeatError("a platen is hotter than the room")
    faces_c, platen_c = faces_under_sag(stack, start_c, TIMES_S)
    share = (faces_c - room_c) / rise
    return np.zeros_like(share), share, max(0.0, float(platen.set_c - platen_c.min()) / rise)


_PLATEN_LEFT_OUT = Spread(platen_k=0.0)


def corners(stack: Stack, which: str, room_c: float, start_c: tuple[float, ...]) -> tuple[Response, ...]:
    """The responses of one corner of what is uncertain.

    ``which``: "soon" if everything helps the print to get hot, "likely", "late" if everything hinders, "back" if
    everything helps the far face. Where it is not plain which end helps, both are given. Raises HeatError.
    """
    if which == "likely":
        return (respond(stack, room_c, start_c),)
    return tuple(respond(leaning(stack, _PLATEN_LEFT_OUT, lean), room_c, start_c) for lean in _leans(stack, which))


def soaked(stack: Stack, until_c: float, room_c: float) -> Stack:
    """A damp stack as a dry one with the same heat at ``until_c``: what boils off counts as heat capacity on the way.

    It is cooler than the damp stack, stepped, in the first seconds, and within 3.5 K of it at everyday dwells (a test
    holds that on a shirt and a board); and it is linear, so that one solution serves every platen.
    """
    if not stack.damp:
        return stack
    rise_k = max(until_c, WATER_TO_C) - room_c

    def dry(layer: Layer) -> Layer:
        boils_j_kgk = WATER_LATENT_J_KG * layer.water_share / rise_k
        return replace(layer, water_share=0.0, heat_capacity_j_kgk=layer.heat_capacity_j_kgk + boils_j_kgk)

    return replace(stack, layers=tuple(dry(layer) if layer.water_share else layer for layer in stack.layers))


def _leans(stack: Stack, which: str) -> tuple[Lean, ...]:
    if which == "back":
        return (Lean(1.0, 1.0, -1.0, -1.0),)
    kind = _kind_ends(stack)
    return kind if which == "soon" else tuple(_opposite(lean) for lean in kind)


# A blank that warmth takes about this long to cross matters both ways within a dwell.
_SLOW_BLANK_S = 10.0


def _kind_ends(stack: Stack) -> tuple[Lean, ...]:
    """The ends that keep the print hottest: heat comes in easily, does not leave, and there is little to warm.

    Face down, heat crosses the blank to the print, so a blank that conducts well helps. Face up, a slow blank that
    conducts badly keeps the print hotter at first, and cooler once the other would be hot all through. A second platen
    below helps.
    """
    below = 1.0 if isinstance(stack.bottom, FixedPlaten) else -1.0
    if stack.print_side == "lower" and below < 0:
        return (Lean(1.0, 1.0, below, -1.0),)
    blank = stack.layers[stack.blank]
    slow = blank.resistance_m2k_w * blank.capacity_j_m2k > _SLOW_BLANK_S
    ends = (-1.0, 1.0) if slow or below > 0 else (-1.0,)
    return tuple(Lean(1.0, end, below, -1.0) for end in ends)


def _opposite(lean: Lean) -> Lean:
    return Lean(-lean.above, -lean.blank, -lean.below, -lean.capacity)


_TIMES: list[float] = TIMES_S.tolist()


_KELVIN = 273.15


def dosed_s(curve_c: Floats, at_c: float, halved_by_k: float) -> Floats:
    """What a curve over ``TIMES_S`` has done by each time, as seconds at ``at_c`` that do as much (Arrhenius).

    ``halved_by_k``: how many K more, around ``at_c``, do it in half the time; so the activation energy is
    ``R T^2 ln 2 / halved_by_k``.
    """
    at_k = at_c + _KELVIN
    rates = np.exp(log(2) * at_k**2 / halved_by_k * (1 / at_k - 1 / (curve_c + _KELVIN)))
    done_s = np.zeros_like(rates)
    (_STEPS_S * (rates[1:] + rates[:-1]) / 2).cumsum(out=done_s[1:])
    return done_s


def at_time(curve_c: Floats, time_s: float) -> float:
    """A curve over ``TIMES_S`` at a time; beyond the last, its end."""
    after = bisect_right(_TIMES, time_s)
    if after == len(_TIMES):
        return float(curve_c[-1])
    early, late = _TIMES[after - 1], _TIMES[after]
    before_c, after_c = float(curve_c[after - 1]), float(curve_c[after])
    return before_c + (time_s - early) / (late - early) * (after_c - before_c)


def at_times(curve_c: Floats, times_s: list[float]) -> list[float]:
    """The same at several times, to a tenth."""
    temperatures_c: list[float] = np.interp(times_s, TIMES_S, curve_c).round(1).tolist()
    return temperatures_c


def crossing_s(curve_c: Floats, temp_c: float) -> float:
    """When a curve over ``TIMES_S`` first reaches ``temp_c``; infinite if it does not within them."""
    above = curve_c >= temp_c
    i = int(above.argmax())
    if not above[i]:
        return inf
    if i == 0:
        return 0.0
    before, after = float(curve_c[i - 1]), float(curve_c[i])
    share = (temp_c - before) / (after - before)
    early, late = _TIMES[i - 1], _TIMES[i]
    return early + share * (late - early)
