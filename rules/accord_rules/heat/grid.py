"""Finite volumes: a stack cut into cells, and the tridiagonal equations of its cells.

``C dT/dt = -K T + b``: C is the heat capacity of each cell, K holds the conductances between neighbours and to what
is held at a temperature at either end, b what flows in from there. A cell's temperature stands for its middle; between
two middles lie half a cell, the contact (if there is one) and half a cell, in series. Heat that leaves one cell enters
the next, so energy is kept exactly, however coarse the grid.

Cells are thin at a layer's faces and grow towards its middle, since the steep gradients of the first seconds sit at the
faces. Below the blank heat only comes from above, unless something hot lies at the bottom too: from there cells go on
growing downwards, from layer to layer.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from math import ceil, inf, log, sqrt

import numpy as np
from numpy.typing import NDArray

from accord_rules.heat.stack import Bottom, Convective, FixedPlaten, HeatedPlaten, Insulated, Interface, Layer, Top

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_CELLS = 3
# Warmth crosses the cell at a face in about this time, and each further cell is thicker than the one before.
CELL_CROSSING_S = 0.03
CELL_GROWTH = 1.2
DAMP_CELL_GROWTH = 1.1  # a damp layer dries cell by cell


def frozen(values: Floats) -> Floats:
    """The same array, made read-only: grids and histories are shared between callers."""
    values.flags.writeable = False
    return values


def outer_conductance_w_m2k(face: Top | Bottom) -> float:
    """Between a face of the stack and what is held at a temperature beyond it (infinite if they touch)."""
    if isinstance(face, Insulated):
        return 0.0
    return face.conductance_w_m2k if isinstance(face, Convective) else inf


def outer_c(face: Top | Bottom) -> float:
    """What is held at a temperature beyond a face; any number does for an insulated one."""
    if isinstance(face, FixedPlaten):
        return face.temperature_c
    if isinstance(face, HeatedPlaten):
        return face.set_c
    return face.ambient_c if isinstance(face, Convective) else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """The cells of a stack, top to bottom. N cells, L layers.

    capacity_j_m2k: (N,). link_w_m2k: (N + 1,), number i lies above cell i; the first and last lead outside and are 0
    where no heat goes. half_m2k_w: (N,), the resistance of half a cell. first: the first cell of each layer, and N.
    """

    capacity_j_m2k: Floats
    link_w_m2k: Floats
    half_m2k_w: Floats
    first: tuple[int, ...]

    @property
    def diagonal_w_m2k(self) -> Floats:
        """The diagonal of K, (N,)."""
        return self.link_w_m2k[:-1] + self.link_w_m2k[1:]

    def face_weights(self, layer: int, side: str) -> tuple[Floats, float, float]:
        """How a face's temperature follows from the cells': weights (N,) and of what lies outside top and bottom.

        Half a cell's drop is taken off the cell's own temperature, at the heat flow through the link at that face.
        """
        weights = np.zeros(len(self.capacity_j_m2k))
        last = len(weights) - 1
        cell, step = (self.first[layer], -1) if side == "upper" else (self.first[layer + 1] - 1, 1)
        share = float(self.link_w_m2k[cell if step < 0 else cell + 1] * self.half_m2k_w[cell])
        weights[cell] = 1 - share
        neighbour = cell + step
        if 0 <= neighbour <= last:
            weights[neighbour] = share
        return weights, share if neighbour < 0 else 0.0, share if neighbour > last else 0.0

    def mean_weights(self) -> Floats:
        """Weights (L, N) whose products with the cells' temperatures are the layers' mean temperatures."""
        rows = np.zeros((len(self.first) - 1, len(self.capacity_j_m2k)))
        for row, (start, stop) in zip(rows, pairwise(self.first), strict=True):
            row[start:stop] = self.capacity_j_m2k[start:stop] / self.capacity_j_m2k[start:stop].sum()
        return rows

    def faces(self, blank: int) -> tuple[Floats, Floats]:
        """The upper and the lower face of a layer: weights (2, N), and what they take from outside, (2, 2): columns
        beyond top and bottom."""
        upper, lower = self.face_weights(blank, "upper"), self.face_weights(blank, "lower")
        return np.array([upper[0], lower[0]]), frozen(np.array([upper[1:], lower[1:]]))

    def outputs(self, blank: int) -> tuple[Floats, Floats]:
        """What histories show of the cells: weights (L + 4, N), and what the blank's faces take from outside (2, 2).

        Rows: layer means, the blank's upper and lower face, the first and the last cell.
        """
        faces, direct = self.faces(blank)
        ends = np.zeros((2, len(self.capacity_j_m2k)))
        ends[0, 0] = ends[1, -1] = 1.0
        return np.vstack([self.mean_weights(), faces, ends]), direct

    def spread(self, by_layer: tuple[float, ...]) -> Floats:
        """One value a layer (L), as one value a cell (N,)."""
        return np.repeat(np.array(by_layer, dtype=np.float64), np.diff(self.first))


@lru_cache(maxsize=1024)
def _growing(thickness_m: float, face_cell_m: float, growth: float, both_faces: bool) -> Floats:
    """A layer's cells as shares of its thickness, growing from its upper face, or from both faces, inwards."""
    deep_m = thickness_m / 2 if both_faces else thickness_m
    count = ceil(log(deep_m / face_cell_m * (growth - 1) + 1) / log(growth))
    count = max(count, ceil(LEAST_CELLS / 2) if both_faces else LEAST_CELLS)
    side = growth ** np.arange(count)
    shares = np.concatenate([side, side[::-1]]) if both_faces else side
    return frozen(shares / shares.sum())


def cell_shares(layers: tuple[Layer, ...], fine_to: int, refine: int = 1) -> list[Floats]:
    """The thicknesses of each layer's cells as shares of its own.

    The first ``fine_to`` layers have thin cells at both faces. ``refine`` splits each cell for convergence checks.
    """
    shares_of_layers, crossing_s = [], CELL_CROSSING_S
    for place, layer in enumerate(layers):
        both = place < fine_to
        growth = DAMP_CELL_GROWTH if layer.water_share else CELL_GROWTH
        shares = _growing(layer.thickness_m, sqrt(layer.diffusivity_m2_s * crossing_s), growth, both)
        shares_of_layers.append(shares if refine == 1 else np.repeat(shares / refine, refine))
        if not both:
            deepest_m = float(shares[-1]) * layer.thickness_m
            crossing_s = max(crossing_s, deepest_m**2 / layer.diffusivity_m2_s)
    return shares_of_layers


def cut(
    layers: tuple[Layer, ...],
    interfaces: tuple[Interface, ...],
    blank: int,
    above_w_m2k: float,
    below_w_m2k: float,
    refine: int = 1,
) -> Grid:
    """Cut layers into cells, fine down to the lower face of the ``blank``.

    ``above_w_m2k`` and ``below_w_m2k`` are the conductances beyond the outer interfaces.
    """
    shares = cell_shares(layers, len(layers) if below_w_m2k == inf else blank + 1, refine)
    counts = [len(cells) for cells in shares]
    first = (0, *accumulate(counts))
    of_layer = np.array([(layer.capacity_j_m2k, layer.resistance_m2k_w / 2) for layer in layers])
    capacity, half = np.repeat(of_layer.T, counts, axis=1) * np.concatenate(shares)
    resistance = np.zeros(first[-1] + 1)
    resistance[:-1] += half
    resistance[1:] += half
    for interface, cell in zip(interfaces, first, strict=True):
        resistance[cell] += 1 / interface.likely_w_m2k
    link = np.empty_like(resistance)
    link[1:-1] = 1 / resistance[1:-1]
    link[0] = _outer_link(float(resistance[0]), above_w_m2k)
    link[-1] = _outer_link(float(resistance[-1]), below_w_m2k)
    return Grid(frozen(capacity), frozen(link), frozen(half), first)


def _outer_link(resistance_m2k_w: float, beyond_w_m2k: float) -> float:
    return 0.0 if beyond_w_m2k == 0 else 1 / (resistance_m2k_w + 1 / beyond_w_m2k)
