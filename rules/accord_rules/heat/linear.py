"""The linear stack, exact in time: another platen temperature, starting temperature or dwell costs a few products."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from accord_rules.heat.grid import Floats, Grid, cut, frozen, outer_c, outer_conductance_w_m2k
from accord_rules.heat.history import History
from accord_rules.heat.modal import Modes, decompose, fading, kernels
from accord_rules.heat.stack import FixedPlaten, Interface, Layer, Stack

CACHED_STACKS = 512


@dataclass(frozen=True, slots=True, eq=False)
class _LinearModes:
    """One stack, taken apart. N cells; push: (N, 2) drive of each mode per kelvin outside top and bottom."""

    grid: Grid
    modes: Modes
    push: Floats


@lru_cache(maxsize=CACHED_STACKS)
def _ready(
    layers: tuple[Layer, ...],
    interfaces: tuple[Interface, ...],
    blank: int,
    above_w_m2k: float,
    below_w_m2k: float,
    refine: int,
) -> _LinearModes:
    grid = cut(layers, interfaces, blank, above_w_m2k, below_w_m2k, refine)
    modes = decompose(grid.capacity_j_m2k, grid.diagonal_w_m2k, -grid.link_w_m2k[1:-1])
    push = modes.back[[0, -1]].T * grid.link_w_m2k[[0, -1]]
    return _LinearModes(grid, modes, frozen(push))


def _taken_apart(stack: Stack, refine: int) -> _LinearModes:
    above, below = outer_conductance_w_m2k(stack.top), outer_conductance_w_m2k(stack.bottom)
    return _ready(stack.layers, stack.interfaces, stack.blank, above, below, refine)


def face_shares(stack: Stack, above_k: tuple[float, ...], times_s: Floats) -> tuple[Floats, Floats]:
    """What is left of where the layers start, and what comes of a kelvin outside; the stack must be linear.

    The blank's upper and lower face at ``times_s``, (2, T) each: kelvins over the room when the layers start
    ``above_k`` over it and all outside is at it; and the share that comes through when every platen, instead, is a
    kelvin hotter.
    """
    ready = _taken_apart(stack, 1)
    weights, direct = ready.grid.faces(stack.blank)
    faces = weights @ ready.modes.back
    hot = np.array([float(isinstance(face, FixedPlaten)) for face in (stack.top, stack.bottom)])
    fade, once = fading(ready.modes.rate_per_s, times_s)
    share = (faces * (ready.push @ hot)) @ once + (direct @ hot)[:, None]
    if not any(above_k):
        return np.zeros_like(share), share
    return (faces * (ready.modes.forward @ ready.grid.spread(above_k))) @ fade, share


def solve_linear(stack: Stack, start_c: tuple[float, ...], times_s: Floats, refine: int) -> History:
    """Exact in time; ``stack`` must be linear and ``times_s`` checked."""
    ready = _taken_apart(stack, refine)
    grid, layers = ready.grid, len(stack.layers)
    weights, direct = grid.outputs(stack.blank)
    outputs = weights @ ready.modes.back
    outside = np.array([outer_c(stack.top), outer_c(stack.bottom)])
    at_start = ready.modes.forward @ grid.spread(start_c)
    drive = ready.push @ outside
    fade, once, twice = kernels(ready.modes.rate_per_s, times_s)
    shown = outputs @ (at_start[:, None] * fade + drive[:, None] * once)
    # The two end cells summed over time give the heat through the faces.
    summed = outputs[layers + 2 :] @ (at_start[:, None] * once + drive[:, None] * twice)
    return History.of(
        stack,
        start_c,
        times_s,
        faces_c=shown[layers : layers + 2] + (direct @ outside)[:, None],
        top_c=np.full(len(times_s), outside[0]),
        layer_c=shown[:layers],
        energy_j_m2=grid.link_w_m2k[0] * (outside[0] * times_s - summed[0]),
        lost_j_m2=grid.link_w_m2k[-1] * (summed[1] - outside[1] * times_s),
        steam_j_m2=np.zeros(len(times_s)),
    )
