"""Whether a probe reading can be meant. The figures are the book's for a bench press: 3 K below the display, give or
take 5 K, on a display that ends at 225 °C; a probe is trusted to 2 K and a reading for 360 days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from accord_rules.documents import units
from accord_rules.orders.order import CalibrationReading, Press
from accord_rules.revision.book import Book
from accord_rules.revision.readings import DOUBTS, contradicted, display_faults, doubts_of

TODAY = date(2026, 3, 2)
BENCH, IRON = Press("swing-away"), Press("household-iron")


def reading(
    *surface_c: float, display_c: float = 180.0, days: int = 0, instrument: str | None = None
) -> CalibrationReading:
    return CalibrationReading(display_c, surface_c, (TODAY - timedelta(days=days)).isoformat(), instrument)


def doubted(book: Book, one: CalibrationReading, press: Press = BENCH) -> list[str]:
    return [doubt.name for doubt in doubts_of(one, press, book, TODAY, units.METRIC)]


@pytest.mark.parametrize(
    ("one", "names"),
    [
        (reading(177.0, 175.0, 179.0), []),
        (reading(165.0), []),  # 15 K below: 3 and twice 5, and 2 of the probe
        (reading(164.9), ["far-below-display"]),
        (reading(120.0), ["far-below-display"]),
        (reading(187.0), []),  # 7 K above: 5 and 2 of the probe
        (reading(187.1), ["above-display"]),
        (reading(189.0, 165.0), []),  # 12 K off the mean: twice 5, and 2
        (reading(189.2, 165.0), ["uneven"]),
        (reading(177.0, instrument="contact-probe"), []),
        (reading(177.0, instrument="infrared"), ["unsuited-instrument"]),
        (reading(177.0, instrument="strip"), ["unsuited-instrument"]),
        (reading(177.0, days=360), []),
        (reading(177.0, days=361), ["old"]),
        (reading(120.0, days=400, instrument="infrared"), ["far-below-display", "unsuited-instrument", "old"]),
    ],
)
def test_what_is_unlikely_on_a_bench_press(book: Book, one: CalibrationReading, names: list[str]) -> None:
    assert doubted(book, one) == names


def test_what_is_unlikely_hangs_on_the_type_of_press(book: Book) -> None:
    """An iron's sole lies 15 K below its dial, give or take 25 K."""
    assert doubted(book, reading(120.0), IRON) == []
    assert doubted(book, reading(110.0), IRON) == ["far-below-display"]


def test_every_doubt_says_what_was_read_and_how_to_set_it_aside(book: Book) -> None:
    (doubt,) = doubts_of(reading(120.0), BENCH, book, TODAY, units.METRIC)
    assert doubt.sentence == (
        "The surface lies 60 K below the display; on such a press it usually lies 3 K below, give or take 5 K."
    )
    fault = doubt.fault
    assert (fault.pointer, fault.code, fault.allowed) == ("/surface", "unlikely", ("far-below-display",))
    doubts = {
        "colder-than-pressing",
        "far-below-display",
        "above-display",
        "uneven",
        "contradicts-others",
        "unsuited-instrument",
        "old",
    }
    assert set(DOUBTS) == doubts


@pytest.mark.parametrize(
    ("display_c", "surface_c", "those"),
    [
        (170.0, 168.0, []),
        (200.0, 194.0, []),
        (170.0, 177.0, [180.0]),  # as warm as at 180 °C shown
        (170.0, 178.0, [180.0]),
        (200.0, 176.9, [180.0, 190.0]),
        (180.0, 140.0, [150.0]),  # not with the one whose place it takes
    ],
)
def test_a_reading_contradicts_those_beside_which_the_surface_does_not_rise(
    book: Book, display_c: float, surface_c: float, those: list[float]
) -> None:
    press = replace(
        BENCH, calibration=(reading(147.0, display_c=150.0), reading(177.0), reading(187.0, display_c=190.0))
    )
    one = reading(surface_c, display_c=display_c)
    assert [other.display for other in contradicted(one, press)] == those
    assert ("contradicts-others" in doubted(book, one, press)) == bool(those)


@pytest.mark.parametrize(
    ("display_c", "below_k", "doubt"),
    [
        # The first reading lies 23.4 K below its display of 151.7 °C (305 °F). A quarter of 50 K, and twice 2 of the
        # probe, are 16.5 K. That an offset changes no faster is common practice, no source.
        (201.7, 23.4, False),
        (201.7, 6.9, False),
        (201.7, 6.8, True),
        (201.7, 3.3, True),  # 395 °F shown, 389 °F read
        (201.7, 39.9, False),
        (201.7, 40.0, True),
        (161.7, 17.0, False),  # of 10 K, 2.5 and 4
        (161.7, 16.8, True),
    ],
)
def test_offsets_that_change_faster_than_on_a_press_are_asked_about_and_both_count(
    book: Book, display_c: float, below_k: float, doubt: bool
) -> None:
    press = replace(BENCH, calibration=(reading(128.3, display_c=151.7),))
    one = reading(round(display_c - below_k, 6), display_c=display_c)
    assert ("contradicts-others" in doubted(book, one, press)) == doubt
    assert contradicted(one, press) == (), "the surface rises, so that no reading is dropped for the other"
    for told in doubts_of(one, press, book, TODAY, units.US_CUSTOMARY):
        if told.name == "contradicts-others":
            assert "was read 42 °F below it at 305 °F" in told.sentence


def test_a_display_beyond_the_presss_is_a_fault(book: Book) -> None:
    assert display_faults(225.0, BENCH, book, units.METRIC) == []
    (fault,) = display_faults(230.0, BENCH, book, units.METRIC)
    assert fault.pointer == "/display"
    assert "225 °C" in fault.message
    assert display_faults(230.0, replace(BENCH, display_most=240.0), book, units.METRIC) == []


def test_a_display_beyond_the_presss_may_be_a_slip_of_the_unit(book: Book) -> None:
    """356 °F are 180 °C; a shop that reads °F is told in °F where its display ends."""
    (slip,) = display_faults(356.0, BENCH, book, units.METRIC)
    assert "if 356 °F was read, type the unit with it" in slip.message
    (hot,) = display_faults(290.0, BENCH, book, units.US_CUSTOMARY)
    assert "display ends at 437 °F" in hot.message
    assert "was read" not in hot.message


@pytest.mark.parametrize(
    ("display_c", "preferences", "told"),
    [
        # 180 °C typed at a shop whose unit is °F, and a surface that goes with it.
        ((180 - 32) / 1.8, units.US_CUSTOMARY, "colder than anything is pressed at, which begins at 203 °F; if 180 °C"),
        (94.9, units.METRIC, "colder than anything is pressed at, which begins at 95 °C"),
        (95.0, units.METRIC, None),
    ],
)
def test_a_display_colder_than_anything_is_pressed_at_is_asked_about(
    display_c: float, preferences: units.UnitPreferences, told: str | None, book: Book
) -> None:
    """The coldest that any family's bounds have, 95 °C, is that of films for low heat."""
    doubts = [*doubts_of(reading(display_c - 3.0, display_c=display_c), BENCH, book, TODAY, preferences)]
    assert [doubt.name for doubt in doubts] == ([] if told is None else ["colder-than-pressing"])
    assert all(told is not None and told in doubt.sentence and doubt.field == "display" for doubt in doubts)


def test_of_a_type_that_the_book_has_no_more_nothing_is_said(book: Book) -> None:
    gone = Press("mangle")
    assert doubted(book, reading(20.0, days=4000), gone) == []
    assert display_faults(290.0, gone, book, units.METRIC) == []
