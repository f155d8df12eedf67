"""What a press can be set to, by hand: whole steps, rounded away from the nearer end, never out of the window.

Arithmetic from the definitions of degree Fahrenheit and Celsius; the manner of rounding is this project's own choice.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest
from cases import pressing, shop_of

from accord_rules.derive.dials import Dials
from accord_rules.derive.press import Calibration
from accord_rules.documents import units
from accord_rules.revision.book import Book

# A bench press: its surface lies 3 K below its display.
BENCH = Calibration(((0.0, -3.0, 5.0),), measured=False)


def dials(symbol: str = "°C", step: float = 1.0, timer_s: float = 1.0, most_c: float = 225.0) -> Dials:
    unit = units.TEMPERATURE.unit(symbol)
    assert unit is not None
    return Dials(BENCH, unit, most_c, step, timer_s)


@pytest.mark.parametrize(
    ("wanted_c", "low_c", "high_c", "display_c"),
    [
        (150.0, 142.0, 165.0, 155.0),  # 153 on the display: the roundest near it is 155
        (150.0, 149.0, 151.5, 153.0),  # 155 and 150 lie outside
        (150.4, 150.0, 151.5, 154.0),  # nearer the low end: up
        (150.4, 147.1, 150.9, 153.0),  # nearer the high end: down
        (140.0, 150.2, 160.0, 154.0),  # out of the window: the first step inside
        (170.0, 150.2, 160.0, 163.0),
    ],
)
def test_a_display_is_set_to_whole_degrees_inside(
    wanted_c: float, low_c: float, high_c: float, display_c: float
) -> None:
    assert dials().near(wanted_c, low_c, high_c) == (display_c, display_c - 3)


def test_a_window_without_a_whole_degree_has_no_setting() -> None:
    assert dials().near(150.5, 150.2, 150.8) is None
    # 307 °F is 152.78 °C on the display, 149.78 °C at the surface.
    setting = dials("°F").near(149.8, 149.6, 149.9)
    assert setting is not None
    assert setting[0] == pytest.approx((307 - 32) / 1.8)


def test_a_display_that_moves_in_fives_is_set_in_fives() -> None:
    assert dials(step=5.0).near(150.0, 149.0, 153.0) == (155.0, 152.0)
    assert dials(step=5.0).near(150.0, 148.0, 151.0) is None


def test_nothing_is_set_above_what_the_display_reaches() -> None:
    assert dials(most_c=202.5).near(210.0, 190.0, 215.0) == (200.0, 197.0)
    assert dials(most_c=180.0).near(210.0, 190.0, 215.0) is None


@pytest.mark.parametrize(
    ("aim_s", "low_s", "high_s", "no_less", "dwell_s"),
    [
        (12.0, 10.0, 15.0, False, 12.0),
        (126.7, 60.0, 180.0, False, 125.0),  # fives from 20 s on
        (126.7, 60.0, 180.0, True, 130.0),  # what a rule demands is not undercut
        (126.7, 60.0, 128.0, True, 127.0),  # fives do not fit: seconds do
        (127.5, 60.0, 127.9, True, 127.0),  # nothing between: the longest there is
        (9.6, 9.6, 14.4, False, 10.0),
        (14.4, 9.6, 14.4, False, 14.0),
        (float("inf"), 10.0, 15.0, True, 15.0),
    ],
)
def test_a_timer_is_set_to_whole_seconds_inside(
    aim_s: float, low_s: float, high_s: float, no_less: bool, dwell_s: float
) -> None:
    assert dials().dwell(aim_s, low_s, high_s, no_less=no_less) == dwell_s


def test_a_timer_in_fives_and_a_window_without_one() -> None:
    assert dials(timer_s=5.0).dwell(12.0, 9.0, 16.0) == 10.0
    assert dials(timer_s=5.0).dwell(12.0, 11.0, 14.0) == 12.0, "counted by hand"


def test_a_window_without_a_setting_is_no_window(book: Book) -> None:
    """155 to 157 °C at the surface are 158 to 160 °C on the display: 160 in steps of 10, and nothing in steps of 7."""
    for step, exists in ((10.0, True), (7.0, False)):
        assert (dials(step=step).near(156.0, 155.0, 157.0) is not None) is exists
    press = {"type": "clamshell"}
    weak = pressing(book, press=press | {"display_most": "140 °C"})
    assert weak["window.exists"], "that the press does not reach it is told by itself"
    assert weak["set.display_c"] == 140.0
    thick = replace(book.catalogue["press_types"]["clamshell"], display_step=10)
    types = MappingProxyType({**book.catalogue["press_types"], "clamshell": thick})
    coarse = replace(book, catalogue=MappingProxyType({**book.catalogue, "press_types": types}))
    assert pressing(coarse, press=press)["set.display_c"] % 10 == 0
    exact = press | {"calibration": [{"display": "155 °C", "surface": ["155 °C"]}]}
    sheet = {"temperature": "155 °C", "read_at": "surface", "press": "mug-press"}
    assert pressing(coarse, press=exact, decoration={"sheet": sheet})["set.display_c"] in (150.0, 160.0)


def test_what_is_chosen_is_whole_in_the_shops_unit(book: Book) -> None:
    for system, unit in (("metric", units.TEMPERATURE.units[0]), ("us-customary", units.TEMPERATURE.units[1])):
        shown = unit.outside(pressing(book, shop_of(book, unit_system=system))["set.display_c"])
        assert shown == pytest.approx(round(shown))
