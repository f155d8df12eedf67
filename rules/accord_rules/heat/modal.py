"""Tridiagonal heat equations taken apart into independent modes, each an exponential in time.

With S = C^(-1/2), the matrix S K S is symmetric and tridiagonal; its eigenvectors Q and eigenvalues w (all at least 0)
turn ``C dT/dt = -K T + b`` into one equation a mode, ``dy/dt = -w y + f``. That is exact in time. The decomposition
depends only on the layers and their contacts, not on temperatures or times, so its users keep it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from accord_rules.heat.grid import Floats, frozen
from accord_rules.heat.stack import HeatError

# Below this rate times time the closed forms lose digits to cancellation and their series are exact to rounding.
_SERIES_BELOW = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """N cells. rate_per_s: (N,). back: (N, N) takes modes to temperatures; forward: (N, N) takes temperatures to modes.

    The drive of the modes by an inflow b, W/m², is ``back.T @ b``.
    """

    rate_per_s: Floats
    back: Floats
    forward: Floats


def decompose(capacity_j_m2k: Floats, diagonal_w_m2k: Floats, beside_w_m2k: Floats) -> Modes:
    """The modes of cells with heat capacities (N,) and a K with this diagonal (N,) and off-diagonal (N - 1,)."""
    from scipy.linalg.lapack import dstevd  # its import takes a quarter of a second of each start

    scale = 1 / np.sqrt(capacity_j_m2k)
    # Divide and conquer: of LAPACK's ways the fastest for some tens of cells.
    rate, vectors, failed = dstevd(diagonal_w_m2k * scale**2, beside_w_m2k * scale[:-1] * scale[1:])
    if failed:
        raise HeatError(f"the stack's equations cannot be taken apart (LAPACK's dstevd answers {failed})")
    # An insulated stack has one mode that never fades; rounding may give it a rate just below 0.
    rate = np.clip(rate, 0.0, None)
    return Modes(frozen(rate), frozen(vectors * scale[:, None]), frozen(vectors.T / scale))


def fading(rate_per_s: Floats, times_s: Floats) -> tuple[Floats, Floats]:
    """exp(-wt) and its integral over time, (N, T) each; right for w = 0 too."""
    rate = rate_per_s[:, None]
    change = np.expm1(rate * -times_s)
    still = rate_per_s == 0
    if not still.any():
        return change + 1, change / -rate
    return change + 1, np.where(still[:, None], times_s, change / -np.where(still[:, None], 1.0, rate))


def kernels(rate_per_s: Floats, times_s: Floats) -> tuple[Floats, Floats, Floats]:
    """exp(-wt) and its first and second integrals over time, (N, T) each; right for w = 0 too."""
    fade, once = fading(rate_per_s, times_s)
    x = rate_per_s[:, None] * times_s
    small = x < _SERIES_BELOW
    safe = np.where(small, 1.0, rate_per_s[:, None])
    twice = np.where(small, times_s**2 / 2 * (1 - x / 3 * (1 - x / 4 * (1 - x / 5))), (times_s - once) / safe)
    return fade, once, twice
