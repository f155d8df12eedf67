"""The linear stack, solved exactly in time by eigen-decomposition.

With S = C^(-1/2), the matrix S K S is symmetric and tridiagonal; its eigenvectors Q and eigenvalues w (all at least 0)
turn the equations into N separate ones, each solved by an exponential. The decomposition depends only on the layers
and their contacts, not on temperatures or times, and is kept: another platen temperature, starting temperature or
dwell costs a few small matrix products.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import eigh_tridiagonal

from accord_rules.heat.grid import Floats, Grid, cut, frozen, outer_c, outer_conductance_w_m2k
from accord_rules.heat.history import History
from accord_rules.heat.stack import Interface, Layer, Stack

CACHED_STACKS = 512


@dataclass(frozen=True, slots=True, eq=False)
class _Modes:
    """The decomposition of one stack. N cells, L layers.

    rate_per_s: (N,) eigenvalues. forward: (N, N) takes temperatures to modes. shown: (L + 4, N) takes modes to the
    outputs: layer means, the two faces of the blank (upper, lower), the first and the last cell. push: (N, 2) drive
    of each mode per kelvin outside top and bottom. direct: (2, 2) what the blank's faces take straight from outside.
    """

    grid: Grid
    rate_per_s: Floats
    forward: Floats
    shown: Floats
    push: Floats
    direct: Floats


@lru_cache(maxsize=CACHED_STACKS)
def _modes(
    layers: tuple[Layer, ...],
    interfaces: tuple[Interface, ...],
    blank: int,
    above_w_m2k: float,
    below_w_m2k: float,
    refine: int,
) -> _Modes:
    grid = cut(layers, interfaces, above_w_m2k, below_w_m2k, refine)
    scale = 1 / np.sqrt(grid.capacity_j_m2k)
    diagonal = grid.diagonal_w_m2k * scale**2
    beside = -grid.link_w_m2k[1:-1] * scale[:-1] * scale[1:]
    rate, vectors = eigh_tridiagonal(diagonal, beside, check_finite=False)
    # An insulated stack has one mode that never fades; rounding may give it a rate just below 0.
    rate = np.clip(rate, 0.0, None)
    upper, lower = grid.face_weights(blank, "upper"), grid.face_weights(blank, "lower")
    ends = np.zeros((2, len(scale)))
    ends[0, 0] = ends[1, -1] = 1.0
    outputs = np.vstack([grid.mean_weights(), upper[0], lower[0], ends])
    push = np.column_stack([vectors[0] * scale[0] * grid.link_w_m2k[0], vectors[-1] * scale[-1] * grid.link_w_m2k[-1]])
    return _Modes(
        grid,
        frozen(rate),
        frozen(vectors.T / scale),
        frozen((outputs * scale) @ vectors),
        frozen(push),
        frozen(np.array([upper[1:], lower[1:]])),
    )


def solve_linear(stack: Stack, start_c: tuple[float, ...], times_s: Floats, refine: int) -> History:
    """Exact in time; ``stack`` must be linear and ``times_s`` checked."""
    above, below = outer_conductance_w_m2k(stack.top), outer_conductance_w_m2k(stack.bottom)
    modes = _modes(stack.layers, stack.interfaces, stack.blank, above, below, refine)
    grid, layers = modes.grid, len(stack.layers)
    outside = np.array([outer_c(stack.top), outer_c(stack.bottom)])
    at_start = modes.forward @ grid.spread(start_c)
    drive = modes.push @ outside
    fade, once, twice = _kernels(modes.rate_per_s, times_s)
    shown = modes.shown @ (at_start[:, None] * fade + drive[:, None] * once)
    faces = shown[layers : layers + 2] + (modes.direct @ outside)[:, None]
    # The two end cells summed over time give the heat through the faces.
    summed = modes.shown[layers + 2 :] @ (at_start[:, None] * once + drive[:, None] * twice)
    energy = grid.link_w_m2k[0] * (outside[0] * times_s - summed[0])
    lost = grid.link_w_m2k[-1] * (summed[1] - outside[1] * times_s)
    means = shown[:layers]
    capacity = np.array([layer.capacity_j_m2k for layer in stack.layers])
    stored = capacity @ (means - np.array(start_c)[:, None])
    upper, lower = (faces[0], faces[1]) if stack.print_side == "upper" else (faces[1], faces[0])
    return History(
        times_s,
        frozen(upper),
        frozen(lower),
        frozen(np.full(len(times_s), outside[0])),
        frozen(means),
        frozen(energy),
        frozen(lost),
        frozen(stored),
        frozen(np.zeros(len(times_s))),
    )


# Below this rate times time the closed forms lose digits to cancellation and their series are exact to rounding.
_SERIES_BELOW = 1e-3


def _kernels(rate_per_s: Floats, times_s: Floats) -> tuple[Floats, Floats, Floats]:
    """exp(-wt) and its first and second integrals over time, (N, T) each; right for w = 0 too."""
    x = rate_per_s[:, None] * times_s
    fade = np.exp(-x)
    small = x < _SERIES_BELOW
    safe = np.where(small, 1.0, rate_per_s[:, None])
    once = np.where(small, times_s * (1 - x / 2 * (1 - x / 3 * (1 - x / 4))), (1 - fade) / safe)
    twice = np.where(small, times_s**2 / 2 * (1 - x / 3 * (1 - x / 4 * (1 - x / 5))), (times_s - once) / safe)
    return fade, once, twice
