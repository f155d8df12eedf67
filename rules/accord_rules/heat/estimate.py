"""What a dwell does, as low, likely and high.

Nobody has measured the contacts in this shop's stack, so one number would be a pretence. Five things are uncertain,
each within a stated range: the contacts and conductivities above the blank, the blank's conductivity, the contacts and
conductivities below it, how much heat the layers take up, and the platen's temperature. All 32 combinations of their
ends are solved; low and high are the least and the greatest found. Heat flow in a stack is monotone in each of these
(more conductance towards a heat source or less to take up never makes a place cooler while all is warming up), so no
combination inside lies outside what the ends give; tests try a few hundred at random, and five by five of the platen's
spread and the contacts on everyday pieces under every type of press.

The width is honest but wide: it is what happens if all goes wrong together, not a likely spread.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from math import inf

from accord_rules.heat.history import History, time_grid
from accord_rules.heat.ranges import Range
from accord_rules.heat.solve import solve
from accord_rules.heat.stack import Bottom, FixedPlaten, HeatedPlaten, HeatError, Interface, Layer, Stack, Top

_TIMES = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How uncertain the inputs are, each plus or minus: platen kelvins, shares of conductivity and of density.

    ``platen_k`` is the press's own, or its type's usual one: from 4 K to 8 K, so that none stands for all of them.
    0.2 and 0.15: tabulated materials are good to two figures, pressed cloth's conductivity is 0.05-0.10 and its
    density 300-600 kg/m³ whatever the table says. Choices.
    """

    platen_k: float
    conductivity_share: float = 0.2
    capacity_share: float = 0.15

    def __post_init__(self) -> None:
        for name in ("conductivity_share", "capacity_share"):
            if not 0 <= getattr(self, name) < 1:
                raise HeatError(f"{name} lies from 0 to below 1, not {getattr(self, name)!r}")
        if not 0 <= self.platen_k < inf:
            raise HeatError(f"platen_k is at least 0, not {self.platen_k!r}")


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a dwell does to the print and the piece; infinite times mean: not within the dwell."""

    interface_end_c: Range
    time_to_reach_s: Range
    time_above_s: Range
    peak_back_c: Range
    energy_j_m2: Range


@dataclass(frozen=True, slots=True)
class Lean:
    """One combination: each from -1 (low end) over 0 (likely) to 1 (high end)."""

    above: float = 0.0
    blank: float = 0.0
    below: float = 0.0
    capacity: float = 0.0
    platen: float = 0.0


def leaning(stack: Stack, spread: Spread, lean: Lean) -> Stack:
    """``stack`` with its uncertain numbers moved within their ranges."""

    def moved(place: int, layer: Layer) -> Layer:
        side = lean.blank if place == stack.blank else lean.above if place < stack.blank else lean.below
        return _moved(layer, 1 + spread.conductivity_share * side, 1 + spread.capacity_share * lean.capacity)

    return replace(
        stack,
        layers=tuple(moved(place, layer) for place, layer in enumerate(stack.layers)),
        interfaces=tuple(
            _between(interface, lean.above if place <= stack.blank else lean.below)
            for place, interface in enumerate(stack.interfaces)
        ),
        top=_hotter_top(stack.top, spread.platen_k * lean.platen),
        bottom=_hotter_bottom(stack.bottom, spread.platen_k * lean.platen),
    )


# Beds, carriers and contacts are in every stack.
@lru_cache(maxsize=1024)
def _moved(layer: Layer, conducts: float, holds: float) -> Layer:
    return replace(
        layer,
        conductivity_w_mk=layer.conductivity_w_mk * conducts,
        density_kg_m3=layer.density_kg_m3 * holds,
    )


@lru_cache(maxsize=256)
def _between(interface: Interface, lean: float) -> Interface:
    """The contact at a place in its range; even steps of the logarithm, since it is known only by its order."""
    likely = interface.likely_w_m2k
    end = interface.high_w_m2k if lean > 0 else interface.low_w_m2k
    value = likely if lean == 0 or end == likely else likely * (end / likely) ** abs(lean)
    return Interface(value, value, value)


def _hotter_top(face: Top, by_k: float) -> Top:
    if isinstance(face, HeatedPlaten):
        return replace(face, set_c=face.set_c + by_k)
    return FixedPlaten(face.temperature_c + by_k) if isinstance(face, FixedPlaten) else face


def _hotter_bottom(face: Bottom, by_k: float) -> Bottom:
    return FixedPlaten(face.temperature_c + by_k) if isinstance(face, FixedPlaten) else face


_ENDS = tuple(Lean(*ends) for ends in product((-1.0, 1.0), repeat=5))


@lru_cache(maxsize=256)
def estimate(
    stack: Stack,
    initial_c: float | tuple[float, ...],
    dwell_s: float,
    target_c: float,
    spread: Spread,
) -> Estimate:
    """What ``dwell_s`` under ``stack`` does, and when and how long the print is at ``target_c``. Raises HeatError."""
    times = time_grid(dwell_s, _TIMES)
    likely = solve(leaning(stack, spread, Lean()), initial_c, times)
    ends = [solve(leaning(stack, spread, lean), initial_c, times) for lean in _ENDS]

    def over(read: Callable[[History], float]) -> Range:
        return Range.around(read(likely), (read(history) for history in ends))

    return Estimate(
        over(lambda history: float(history.interface_c[-1])),
        over(lambda history: history.time_to_reach_s(target_c)),
        over(lambda history: history.time_above_s(target_c)),
        over(lambda history: history.peak_back_c),
        over(lambda history: float(history.energy_j_m2[-1])),
    )
