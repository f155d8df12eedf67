"""When a pressed piece is cool enough to touch, by what it is made of and how long it is held.

Thin or well-conducting pieces are alike all through while they cool (Biot number below 0.1) and follow from one
integral over temperature, radiation included. Others are solved by conduction, and their hottest face counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, inf, log
from types import MappingProxyType

import numpy as np

from accord_rules.heat.history import first_crossing_s, time_grid
from accord_rules.heat.linear import face_shares
from accord_rules.heat.materials import ROOM_C
from accord_rules.heat.ranges import Range
from accord_rules.heat.stack import (
    ABSOLUTE_ZERO_C,
    PERFECT,
    Convective,
    HeatError,
    Insulated,
    Layer,
    Stack,
    require_temperature,
)
from accord_rules.revision.catalogue import TOUCH_CLASSES

STEFAN_BOLTZMANN_W_M2K4 = 5.670374419e-8  # CODATA 2018, exact since the SI of 2019
LUMPED_BELOW_BIOT = 0.1

# A brush in passing, picking up and setting down, and carrying or peeling.
CONTACT_TIMES_S = (1.0, 10.0, 60.0)


@dataclass(frozen=True, slots=True)
class Threshold:
    """The surface temperature from which contact of ``contact_s`` may burn a class of material, by one source."""

    touch: str
    contact_s: float
    limit_c: float
    source: str


def _of(source: str, rows: Mapping[str, tuple[float, float, float]]) -> tuple[Threshold, ...]:
    return tuple(
        Threshold(touch, contact_s, limit_c, source)
        for touch, limits in rows.items()
        for contact_s, limit_c in zip(CONTACT_TIMES_S, limits, strict=True)
    )


# Columns: 1 s, 10 s, 1 min. Cloth has no row in either standard and counts as wood, whose effusivity is higher, so
# that wood's limit is the stricter. ISO 13732-1 from memory; at 1 s the lower end of its band.
# IEC 62368-1 gives bands of time (1-10 s, 10 s-1 min, over 1 min): a time on an edge takes the band that follows,
# the stricter. How far each row was seen its source says.
THRESHOLDS: tuple[Threshold, ...] = (
    *_of(
        "burns-iso-13732-memory",
        {
            "metal": (65.0, 55.0, 51.0),
            "glass-ceramic-stone": (80.0, 66.0, 56.0),
            "plastic-rubber": (85.0, 71.0, 60.0),
            "wood": (110.0, 89.0, 60.0),
            "cloth": (110.0, 89.0, 60.0),
        },
    ),
    *_of("burns-iec-62368", {"metal": (60.0, 51.0, 48.0), "plastic-rubber": (77.0, 60.0, 48.0)}),
    *_of(
        "burns-iec-62368-memory",
        {
            "glass-ceramic-stone": (71.0, 56.0, 48.0),
            "wood": (107.0, 60.0, 48.0),
            "cloth": (107.0, 60.0, 48.0),
        },
    ),
)


def touch_limit_c(touch: str, contact_s: float) -> Range:
    """The burn threshold of a class of material (``catalogue.TOUCH_CLASSES``) for 1 s, 10 s or 60 s of contact.

    low: the strictest source; high: the laxest; likely: the strictest too, since the sources differ by what they
    protect from and the stricter one costs only waiting. Raises HeatError for an unknown class or time.
    """
    if touch not in TOUCH_CLASSES or contact_s not in CONTACT_TIMES_S:
        raise HeatError(f"no burn threshold for {contact_s!r} s on {touch!r}")
    limits = [row.limit_c for row in THRESHOLDS if row.touch == touch and row.contact_s == contact_s]
    return Range(min(limits), min(limits), max(limits))


@dataclass(frozen=True, slots=True)
class Air:
    """The air round the piece: its temperature, and what its movement alone takes off, W/(m² K)."""

    ambient_c: float
    convection_w_m2k: Range

    def __post_init__(self) -> None:
        require_temperature("the air", self.ambient_c)
        if self.convection_w_m2k.low <= 0:
            raise HeatError("moving air takes heat off: its convection is above 0")


# With radiation at 40-50 °C (about 6 W/(m² K)) still air comes to the usual 8-12 and a fan to 20-40, from memory.
STILL_AIR = Air(ROOM_C, Range(3.0, 5.0, 7.0))
FAN = Air(ROOM_C, Range(15.0, 25.0, 35.0))

# Share of a black body's radiation. Coatings, ceramic, wood, plastic and cloth 0.85-0.95; a coated metal panel has a
# coated face and often a bare one (0.1), so half of that on the mean of its faces. Usual handbook values, from memory.
EMISSIVITY: Mapping[str, Range] = MappingProxyType(
    {
        "metal": Range(0.45, 0.5, 0.9),
        "glass-ceramic-stone": Range(0.85, 0.9, 0.95),
        "plastic-rubber": Range(0.85, 0.9, 0.95),
        "wood": Range(0.85, 0.9, 0.95),
        "cloth": Range(0.85, 0.9, 0.95),
    }
)


def biot(piece: Layer, conductance_w_m2k: float, faces: int) -> float:
    """The drop inside the piece beside the drop in the air: half its thickness counts if both faces cool."""
    return conductance_w_m2k * piece.thickness_m / faces / piece.conductivity_w_mk


def radiation_w_m2k(emissivity: float, surface_c: float, ambient_c: float) -> float:
    """What radiation takes off per kelvin above the surroundings at one surface temperature."""
    hot_k, cold_k = surface_c - ABSOLUTE_ZERO_C, ambient_c - ABSOLUTE_ZERO_C
    return emissivity * STEFAN_BOLTZMANN_W_M2K4 * (hot_k**2 + cold_k**2) * (hot_k + cold_k)


def cooling_s(
    piece: Layer,
    start_c: float,
    limit_c: float,
    *,
    convection_w_m2k: float,
    emissivity: float,
    ambient_c: float,
    faces: int = 2,
) -> float:
    """How long ``piece``, hot all through at ``start_c``, takes until its hottest face is at ``limit_c``.

    ``faces``: 2 for a piece that stands or hangs, 1 for one that lies on a mat and cools from above. 0 if it is cool
    enough already, infinite if the air is too warm. Raises HeatError.
    """
    for what, value_c in (("the start", start_c), ("the limit", limit_c), ("the air", ambient_c)):
        require_temperature(what, value_c)
    if faces not in (1, 2):
        raise HeatError(f"a piece cools over one face or two, not {faces}")
    if start_c <= limit_c:
        return 0.0
    if limit_c <= ambient_c:
        return inf
    hottest_w_m2k = convection_w_m2k + radiation_w_m2k(emissivity, start_c, ambient_c)
    if biot(piece, hottest_w_m2k, faces) < LUMPED_BELOW_BIOT:
        return _lumped_s(piece, start_c, limit_c, convection_w_m2k, emissivity, ambient_c, faces)
    # Radiation is held at its value at the limit, where it is weakest: the time comes out long, never short.
    weakest_w_m2k = convection_w_m2k + radiation_w_m2k(emissivity, limit_c, ambient_c)
    return _conducted_s(piece, start_c, limit_c, weakest_w_m2k, ambient_c, faces)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


def _lumped_s(
    piece: Layer,
    start_c: float,
    limit_c: float,
    convection_w_m2k: float,
    emissivity: float,
    ambient_c: float,
    faces: int,
) -> float:
    """The integral of dT over the rate of cooling, taken over the logarithm of the excess: exact for constant loss."""
    high, low = log(start_c - ambient_c), log(limit_c - ambient_c)
    total = 0.0
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        surface_c = ambient_c + exp((high + low) / 2 + (high - low) / 2 * float(node))
        loss = convection_w_m2k + radiation_w_m2k(emissivity, surface_c, ambient_c)
        total += float(weight) / loss
    return piece.capacity_j_m2k / faces * total * (high - low) / 2


def _conducted_s(
    piece: Layer, start_c: float, limit_c: float, conductance_w_m2k: float, ambient_c: float, faces: int
) -> float:
    open_face = Convective(conductance_w_m2k, ambient_c)
    stack = Stack((piece,), (PERFECT, PERFECT), 0, open_face, open_face if faces == 2 else Insulated())
    slope_s = (piece.capacity_j_m2k / faces) * (1 / conductance_w_m2k + piece.resistance_m2k_w / faces)
    # The slowest part of the cooling is no slower than this: all resistance in front of all heat.
    until_s = slope_s * (log((start_c - ambient_c) / (limit_c - ambient_c)) + 1)
    times_s = time_grid(until_s)
    left_k, _ = face_shares(stack, (start_c - ambient_c,), times_s)
    return first_crossing_s(times_s, -(ambient_c + left_k.max(axis=0)), -limit_c)


def time_to_touch_s(
    piece: Layer, touch: str, start_c: float, contact_s: float, *, air: Air = STILL_AIR, faces: int = 2
) -> Range:
    """How long to wait, s, before ``piece`` may be touched for ``contact_s`` (1, 10 or 60 s) by bare skin.

    high is the one to wait for: strictest threshold, least air, weakest radiation. low is the laxest source in the
    best air. Raises HeatError.
    """
    limit_c, emissivity, convection = touch_limit_c(touch, contact_s), EMISSIVITY[touch], air.convection_w_m2k

    def wait(to_c: float, convection_w_m2k: float, shine: float) -> float:
        return cooling_s(
            piece,
            start_c,
            to_c,
            convection_w_m2k=convection_w_m2k,
            emissivity=shine,
            ambient_c=air.ambient_c,
            faces=faces,
        )

    # A piece near the edge of the lumped range may be solved either way; the ends must still enclose the middle.
    return Range.around(
        wait(limit_c.likely, convection.likely, emissivity.likely),
        (wait(limit_c.high, convection.high, emissivity.high), wait(limit_c.low, convection.low, emissivity.low)),
    )
