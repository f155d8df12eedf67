"""Cooling to the touch: thresholds, limits of the model, and order of the bounds."""

from __future__ import annotations

from itertools import pairwise
from math import exp, inf, isfinite

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from accord_rules.documents.files import shipped
from accord_rules.heat import FAN, STILL_AIR, HeatError, Layer, cooling_s, time_to_touch_s, touch_limit_c
from accord_rules.heat.touch import CONTACT_TIMES_S, EMISSIVITY, THRESHOLDS, biot, radiation_w_m2k
from accord_rules.revision.catalogue import TOUCH_CLASSES

PANEL = Layer("panel", 160.0, 2800.0, 880.0, 1.1e-3)
TILE = Layer("tile", 1.3, 2300.0, 840.0, 6e-3)
BOARD = Layer("board", 0.144, 1010.0, 1340.0, 3.2e-3)


def test_every_class_has_both_sources_at_every_time() -> None:
    standards = ("burns-iso-13732", "burns-iec-62368")
    rows = [(row.touch, row.contact_s, row.source.removesuffix("-memory")) for row in THRESHOLDS]
    wanted = [(touch, time, source) for touch in TOUCH_CLASSES for time in CONTACT_TIMES_S for source in standards]
    assert sorted(rows) == sorted(wanted)
    assert {row.source for row in THRESHOLDS} <= set(shipped()["sources"])
    assert set(EMISSIVITY) == set(TOUCH_CLASSES)


@pytest.mark.parametrize("touch", TOUCH_CLASSES)
def test_longer_contact_is_never_allowed_hotter(touch: str) -> None:
    for brief_s, long_s in pairwise(CONTACT_TIMES_S):
        assert touch_limit_c(touch, brief_s).low >= touch_limit_c(touch, long_s).low
        assert touch_limit_c(touch, brief_s).high >= touch_limit_c(touch, long_s).high
    # 43 °C is the threshold for eight hours on any material (ISO 13732-1): nothing briefer lies below.
    assert touch_limit_c(touch, 60.0).low >= 43.0


@pytest.mark.parametrize("contact_s", CONTACT_TIMES_S)
def test_what_conducts_better_burns_sooner(contact_s: float) -> None:
    limits = [touch_limit_c(touch, contact_s) for touch in ("metal", "glass-ceramic-stone", "plastic-rubber", "wood")]
    for better, worse in pairwise(limits):
        assert better.low <= worse.low
        assert better.high <= worse.high


# IEC 62368-1's limits for touch in passing, for short holding and for long holding (its table's middle rows).
@pytest.mark.parametrize(("touch", "expected"), [("metal", (60, 51, 48)), ("plastic-rubber", (77, 60, 48))])
def test_the_stricter_source_is_the_one_to_wait_for(touch: str, expected: tuple[float, ...]) -> None:
    assert tuple(touch_limit_c(touch, time).low for time in CONTACT_TIMES_S) == expected


@pytest.mark.parametrize("faces", [1, 2])
def test_lumped_cooling_with_radiation_agrees_with_integrating_it(faces: int) -> None:
    emissivity, convection, air_c = 0.9, 5.0, 22.0

    def rate(_: float, excess: np.ndarray) -> np.ndarray:
        surface_k = excess + air_c + 273.15
        loss = convection * excess + emissivity * 5.670374419e-8 * (surface_k**4 - (air_c + 273.15) ** 4)
        return -faces * loss / (2800.0 * 880.0 * 1.1e-3)

    def cool_enough(_: float, excess: np.ndarray) -> float:
        return float(excess[0]) - (51.0 - air_c)

    cool_enough.terminal = True  # type: ignore[attr-defined]
    reference = solve_ivp(rate, (0, 1e4), [190.0 - air_c], events=cool_enough, rtol=1e-9, atol=1e-9)
    ours = cooling_s(PANEL, 190.0, 51.0, convection_w_m2k=5.0, emissivity=0.9, ambient_c=air_c, faces=faces)
    assert ours == pytest.approx(float(reference.t_events[0][0]), rel=1e-6)


def test_a_thick_piece_follows_conduction() -> None:
    # Plane wall, one-term solution (Incropera table 5.1): half thickness 20 mm, Bi 1, zeta 0.8603, C1 1.1191.
    thick = Layer("wall", 0.2, 1000.0, 1000.0, 40e-3)
    assert biot(thick, 10.0, 2) == pytest.approx(1.0)
    fourier = 1.5
    centre = 1.1191 * exp(-(0.8603**2) * fourier)
    surface_c = 20.0 + 100.0 * centre * np.cos(0.8603)
    ours = cooling_s(thick, 120.0, surface_c, convection_w_m2k=10.0, emissivity=0.0, ambient_c=20.0)
    assert ours == pytest.approx(fourier * 0.02**2 / 2e-7, rel=2e-3)


def test_the_covered_face_of_a_lying_piece_is_the_one_that_counts() -> None:
    centre_c = 20.0 + 100.0 * 1.1191 * exp(-(0.8603**2) * 1.5)
    lying = Layer("wall", 0.2, 1000.0, 1000.0, 20e-3)
    ours = cooling_s(lying, 120.0, centre_c, convection_w_m2k=10.0, emissivity=0.0, ambient_c=20.0, faces=1)
    assert ours == pytest.approx(1.5 * 0.02**2 / 2e-7, rel=2e-3)


def test_the_two_ways_meet_where_either_holds() -> None:
    # A shade to either side of Bi = 0.1: the answers differ by what conduction adds, not by a jump.
    def cools(conductivity: float) -> float:
        layer = Layer("plate", conductivity, 2000.0, 900.0, 10e-3)
        return cooling_s(layer, 150.0, 50.0, convection_w_m2k=10.0, emissivity=0.0, ambient_c=20.0)

    assert cools(0.4999) == pytest.approx(cools(0.5001), rel=0.05)


@pytest.mark.parametrize(
    ("piece", "touch"), [(PANEL, "metal"), (TILE, "glass-ceramic-stone"), (BOARD, "wood"), (BOARD, "cloth")]
)
def test_waits_are_ordered_and_shrink_with_air(piece: Layer, touch: str) -> None:
    waits = [time_to_touch_s(piece, touch, 190.0, contact_s) for contact_s in CONTACT_TIMES_S]
    for wait in waits:
        assert 0 < wait.low <= wait.likely <= wait.high
        assert isfinite(wait.high)
    assert waits[0].high <= waits[1].high <= waits[2].high
    assert time_to_touch_s(piece, touch, 190.0, 10.0, air=FAN).high < waits[1].high
    assert time_to_touch_s(piece, touch, 190.0, 10.0, faces=1).high > waits[1].high


def test_still_air_and_fan_are_the_usual_conductances() -> None:
    # Still air 8-12, a fan 20-40 W/(m² K), radiation included: from memory of Incropera table 1.1.
    radiation = radiation_w_m2k(0.9, 45.0, 22.0)
    assert radiation == pytest.approx(5.9, abs=0.2)
    for air, low, high in ((STILL_AIR, 8.0, 13.0), (FAN, 20.0, 41.0)):
        assert low <= air.convection_w_m2k.low + radiation
        assert air.convection_w_m2k.high + radiation <= high


def test_cool_pieces_and_hot_rooms() -> None:
    assert cooling_s(PANEL, 40.0, 43.0, convection_w_m2k=5.0, emissivity=0.9, ambient_c=22.0) == 0.0
    assert cooling_s(PANEL, 190.0, 43.0, convection_w_m2k=5.0, emissivity=0.9, ambient_c=43.0) == inf
    with pytest.raises(HeatError, match="no burn threshold"):
        touch_limit_c("metal", 5.0)
    with pytest.raises(HeatError, match="no burn threshold"):
        time_to_touch_s(PANEL, "jelly", 190.0, 10.0)
    with pytest.raises(HeatError, match="one face or two"):
        cooling_s(PANEL, 190.0, 43.0, convection_w_m2k=5.0, emissivity=0.9, ambient_c=22.0, faces=3)
