"""Published closed-form answers beside ours. ``python tests/rules/heat/check_table.py`` prints the table.

Each case is worked through the room's own solver, never through the closed form: a semi-infinite body is a layer so
thick that its far face does not notice. ``printed`` is the source's answer, ``tolerance`` what its printed digits (or
its chart reading) allow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from scipy.optimize import brentq

from accord_rules.heat import (
    PERFECT,
    Convective,
    FixedPlaten,
    History,
    Insulated,
    Layer,
    Stack,
    cooling_s,
    solve,
    time_grid,
)
from accord_rules.heat.touch import biot

DAY_S = 86_400.0
INCROPERA = "Incropera and DeWitt 6e"
CENGEL = "Çengel, Heat Transfer"
HAND = "recomputed closed form"
FINE = 4


@dataclass(frozen=True)
class Check:
    """One printed answer and how ours comes about."""

    name: str
    source: str
    unit: str
    printed: float
    tolerance: float
    ours: Callable[[], float]


def slab(k: float, rho: float, c: float, thickness_m: float, title: str = "slab") -> Layer:
    return Layer(title, k, rho, c, thickness_m)


def bare(layers: tuple[Layer, ...], top: FixedPlaten | Convective | Insulated, blank: int = 0) -> Stack:
    """Layers in perfect contact with nothing below."""
    return Stack(layers, (PERFECT,) * (len(layers) + 1), blank, top, Insulated())


def at_end(stack: Stack, start: float | tuple[float, ...], end_s: float) -> History:
    return solve(stack, start, time_grid(end_s), refine=FINE)


def depth_where(
    k: float, rho: float, c: float, start_c: float, surface_c: float, end_s: float, wanted_c: float
) -> float:
    """How deep a thick body has come to ``wanted_c`` after its surface jumped to ``surface_c``."""
    reach_m = sqrt(k / (rho * c) * end_s)

    def off(depth_m: float) -> float:
        layers = (slab(k, rho, c, depth_m), slab(k, rho, c, 8 * reach_m - depth_m))
        return float(at_end(bare(layers, FixedPlaten(surface_c)), start_c, end_s).back_c[-1]) - wanted_c

    return float(brentq(off, 0.05 * reach_m, 3 * reach_m, xtol=1e-5 * reach_m))


def geankoplis() -> float:
    k, diffusivity, end_s = 0.865, 4.65e-7, 5 * 3600.0
    body = slab(k, 1000.0, k / diffusivity / 1000.0, 10 * sqrt(diffusivity * end_s))
    history = at_end(bare((body,), Convective(11.36, -17.8)), 15.6, end_s)
    return float(history.interface_c[-1]) + 273.15


def erfc_tile() -> float:
    tile, rest = slab(1.3, 2300, 840, 3e-3), slab(1.3, 2300, 840, 60e-3)
    return float(at_end(bare((tile, rest), FixedPlaten(200.0)), 20.0, 60.0).back_c[-1])


JUNCTION = slab(20.0, 8500.0, 400.0, 7.06e-4 / 6, "thermocouple junction, volume over surface")


def junction_heats_s() -> float:
    return at_end(bare((JUNCTION,), Convective(400.0, 200.0)), 25.0, 10.0).time_to_reach_s(199.0)


def junction_cools_s() -> float:
    return cooling_s(JUNCTION, 200.0, 26.0, convection_w_m2k=400.0, emissivity=0.0, ambient_c=25.0, faces=1)


def pipe_wall() -> History:
    return at_end(bare((slab(63.9, 7832, 434, 0.040, "pipe wall"),), Convective(500.0, 60.0)), -20.0, 480.0)


def first_mode(bi: float) -> tuple[float, float]:
    """The first root and coefficient of a plane wall, read off the late decay of its insulated face."""
    wall = bare((slab(1.0, 1000.0, 1000.0, 1.0),), Convective(bi, 0.0) if bi < 1e6 else FixedPlaten(0.0))
    unit_s = 1e6  # L²/alpha
    early, late = 1.5, 2.5
    back_c = solve(wall, 1.0, np.array([0.0, early * unit_s, late * unit_s]), refine=FINE).back_c
    root = sqrt(log(back_c[1] / back_c[2]) / (late - early))
    return root, float(back_c[1] * np.exp(root**2 * early))


def touching(hot_effusivity: float, skin_effusivity: float, object_c: float, skin_c: float) -> float:
    """The temperature between two thick bodies a moment after they touch."""
    # Diffusivities cancel out of the answer; both bodies are ten diffusion lengths thick.
    body, skin = (
        slab(effusivity * sqrt(alpha), 1000.0, effusivity / sqrt(alpha) / 1000.0, 10 * sqrt(alpha))
        for effusivity, alpha in ((hot_effusivity, 1e-5), (skin_effusivity, 1e-7))
    )
    return float(at_end(bare((body, skin), Insulated(), blank=1), (object_c, skin_c), 1.0).interface_c[-1])


def back_fraction(fourier: float) -> float:
    wall = bare((slab(1.0, 1000.0, 1000.0, 1.0),), FixedPlaten(1.0))
    return float(at_end(wall, 0.0, fourier * 1e6).back_c[-1])


def ninety_percent_s(k: float, rho: float, c: float, thickness_m: float) -> float:
    layer = slab(k, rho, c, thickness_m)
    end_s = 2 * thickness_m**2 / layer.diffusivity_m2_s
    history = solve(bare((layer,), FixedPlaten(1.0)), 0.0, time_grid(end_s, 800), refine=FINE)
    return float(np.interp(0.9, history.back_c, history.times_s))


PANEL = slab(160, 2800, 880, 1e-3, "aluminium panel")
MUG = slab(1.3, 2300, 840, 0.35 / 0.049 / 2300, "mug, one face cooling")


def cools(piece: Layer, start_c: float, limit_c: float, h: float, air_c: float, faces: int) -> float:
    return cooling_s(piece, start_c, limit_c, convection_w_m2k=h, emissivity=0.0, ambient_c=air_c, faces=faces)


def _plane_wall() -> list[Check]:
    printed = {0.1: (0.3111, 1.0161), 1.0: (0.8603, 1.1191), 10.0: (1.4289, 1.2620), 100.0: (1.5552, 1.2731)}
    checks = []
    for bi, (root, coefficient) in {**printed, 1e9: (np.pi / 2, 4 / np.pi)}.items():
        name, source = f"plane wall, Bi {bi:g}", f"{INCROPERA} t. 5.1, recomputed"
        checks.append(Check(f"{name}: first root", source, "", root, 5e-4, lambda bi=bi: first_mode(bi)[0]))
        checks.append(Check(f"{name}: coefficient", source, "", coefficient, 1e-3, lambda bi=bi: first_mode(bi)[1]))
    return checks


def _ninety() -> list[Check]:
    rows = (
        ("3 mm hardboard", 87.0, 0.144, 1010, 1340, 3e-3, 1.0),
        ("3 mm MDF", 70.0, 0.18, 800, 1700, 3e-3, 0.6),
        ("4 mm ceramic", 25.0, 1.3, 2300, 840, 4e-3, 0.6),
        ("6 mm tile", 55.0, 1.3, 2300, 840, 6e-3, 0.6),
        ("5 mm slate", 28.0, 2.2, 2400, 1000, 5e-3, 0.6),
        ("4 mm glass", 31.0, 1.0, 2500, 750, 4e-3, 0.6),
        ("1 mm felt", 4.5, 0.06, 200, 1300, 1e-3, 0.1),
        ("0.13 mm PTFE sheet", 0.15, 0.25, 2200, 1000, 0.13e-3, 0.006),
    )
    return [
        Check(f"back face at 90 %: {name}", HAND, "s", printed, tolerance, lambda m=m: ninety_percent_s(*m))
        for name, printed, *m, tolerance in rows
    ]


CHECKS: tuple[Check, ...] = (
    Check(
        "frost depth in soil, 60 d",
        f"{INCROPERA} ex. 5.6",
        "m",
        0.68,
        0.005,
        lambda: depth_where(0.52, 2050, 1840, 20.0, -15.0, 60 * DAY_S, 0.0),
    ),
    Check(
        "water main depth, 90 d",
        f"{CENGEL} ex. 4-6",
        "m",
        0.80,
        0.005,
        lambda: depth_where(0.15, 1000, 1000, 15.0, -10.0, 7.78e6, 0.0),
    ),
    Check("orchard soil surface, 5 h", "Geankoplis ex. 5.3-1, recomputed", "K", 267.98, 0.02, geankoplis),
    Check("tile 3 mm deep, 60 s under 200 °C", HAND, "°C", 152.9, 0.2, erfc_tile),
    Check("thermocouple junction 25 to 199 °C", f"{INCROPERA} ex. 5.1", "s", 5.2, 0.05, junction_heats_s),
    Check("the same, cooling by the touch integral", f"{INCROPERA} ex. 5.1", "s", 5.2, 0.05, junction_cools_s),
    Check("its Biot number", f"{INCROPERA} ex. 5.1", "", 2.4e-3, 5e-5, lambda: biot(JUNCTION, 400.0, 1)),
    Check("pipe wall, insulated face", f"{INCROPERA} ex. 5.4", "°C", 42.92, 0.3, lambda: pipe_wall().back_c[-1]),
    Check("pipe wall, wetted face", f"{INCROPERA} ex. 5.4", "°C", 45.28, 0.3, lambda: pipe_wall().interface_c[-1]),
    Check(
        "pipe wall, heat flux",
        f"{INCROPERA} ex. 5.4",
        "W/m²",
        -7362.0,
        73.6,
        lambda: -500.0 * (60.0 - float(pipe_wall().interface_c[-1])),
    ),
    *_plane_wall(),
    Check("skin 35 °C on aluminium 15 °C", CENGEL, "°C", 15.9, 0.05, lambda: touching(24e3, 1.1e3, 15.0, 35.0)),
    Check("skin 35 °C on wood 15 °C", CENGEL, "°C", 29.9, 0.05, lambda: touching(0.38e3, 1.1e3, 15.0, 35.0)),
    Check("skin 33.5 °C on aluminium 60 °C", HAND, "°C", 58.6, 0.06, lambda: touching(19.9e3, 1.1e3, 60.0, 33.5)),
    Check("skin 33.5 °C on tile 60 °C", HAND, "°C", 49.1, 0.06, lambda: touching(1585.0, 1.1e3, 60.0, 33.5)),
    Check("skin 33.5 °C on MDF 60 °C", HAND, "°C", 41.7, 0.06, lambda: touching(495.0, 1.1e3, 60.0, 33.5)),
    Check("back of a slab, Fo 0.1", HAND, "", 0.0507, 2e-4, lambda: back_fraction(0.1)),
    Check("back of a slab, Fo 0.2", HAND, "", 0.2277, 2e-4, lambda: back_fraction(0.2)),
    Check("back of a slab, Fo 0.5", HAND, "", 0.6292, 2e-4, lambda: back_fraction(0.5)),
    Check("back of a slab, Fo 1.0", HAND, "", 0.8920, 2e-4, lambda: back_fraction(1.0)),
    Check("back of a slab, Fo 1.5", HAND, "", 0.9686, 2e-4, lambda: back_fraction(1.5)),
    *_ninety(),
    Check("panel 200 to 43 °C, both faces", HAND, "s", 126.7, 0.1, lambda: cools(PANEL, 200.0, 43.0, 20.0, 20.0, 2)),
    Check("mug 180 to 43 °C", HAND, "min", 20.0, 0.5, lambda: cools(MUG, 180.0, 43.0, 10.0, 22.0, 1) / 60),
    Check("mug 180 to 60 °C", HAND, "min", 14.0, 0.5, lambda: cools(MUG, 180.0, 60.0, 10.0, 22.0, 1) / 60),
)


def main() -> None:
    print(f"{'case':44}{'source':44}{'printed':>11}{'ours':>12}  unit  within")
    for check in CHECKS:
        ours = float(check.ours())
        holds = "yes" if abs(ours - check.printed) <= check.tolerance else "NO"
        print(f"{check.name:44}{check.source:44}{check.printed:11.4g}{ours:12.5g}  {check.unit:5} {holds}")


if __name__ == "__main__":
    main()
