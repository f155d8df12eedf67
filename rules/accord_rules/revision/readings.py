"""Whether a probe reading of a platen can be meant: held against its display, its press and the calendar.

What cannot be is a fault. What is only unlikely is a doubt, which whoever read it may set aside by naming it. How far
off a press usually is the book says, by type; ``SPREADS`` comes with the code, as the plausible bands do, since a
proposal that could move it would guard nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from accord_rules.documents import units
from accord_rules.documents.reading import Fault
from accord_rules.orders.order import CONTACT_PROBE, INFRARED, STRIP, CalibrationReading, Press
from accord_rules.revision.book import Book

# A press twice as far off as its type usually is, on top of what the probe may be off, is looked at twice.
SPREADS = 2.0
# What a platen loses below its sensor grows with how hot it is above the room: one 30 K below at 150 °C loses a quarter
# of a kelvin with each kelvin more, and that is as bad as presses get. Where the offset changes faster between two
# settings, on top of what the probe may be off at both, one was likely read wrong. Common practice, no source.
OFFSET_CHANGE = 0.25
OLD = "old"
CONTRADICTS = "contradicts-others"
COLD = "colder-than-pressing"
# The doubts that may be set aside, and what each is.
DOUBTS: Mapping[str, str] = MappingProxyType(
    {
        COLD: "the display is set colder than anything is pressed at, as by a slip of the unit",
        "far-below-display": "the surface lies further below the display than such a press usually does",
        "above-display": "the surface lies further above the display than instrument and press could be off",
        "uneven": "a spot lies further off the mean than on such a press",
        CONTRADICTS: "beside others the surface does not rise with the display, and these count no more once it does;"
        " or its distance from the display changes faster than on a press",
        "unsuited-instrument": "it was not read with a contact probe",
        OLD: "it was read longer ago than readings are trusted",
    }
)


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a reading is unlikely: a word of ``DOUBTS``, the field of the reading it is about, and a sentence."""

    name: str
    field: str
    sentence: str

    @property
    def fault(self) -> Fault:
        """The refusal of a reading whose doubt nobody set aside."""
        message = f"{self.sentence.rstrip('.')}; if it was read so, say {self.name} in despite"
        return Fault(f"/{self.field}", message, (self.name,), code="unlikely")


def display_faults(display_c: float, press: Press, book: Book, preferences: units.UnitPreferences) -> list[Fault]:
    """That a press's display can't have shown it, in the shop's units; nothing of a type that this revision of the book
    does not have."""
    most_c = _display_most_c(press, book)
    if most_c is None or display_c <= most_c:
        return []
    most = units.show(units.TEMPERATURE, most_c, preferences)
    message = f"this press's display ends at {most}; where it goes higher, say so in the press's display_most"
    return [Fault("/display", message + _slip_of_unit(display_c, press, book, preferences), code="contradiction")]


def cold_display(display_c: float, press: Press, book: Book, preferences: units.UnitPreferences) -> Iterator[Doubt]:
    """That nothing of the book is pressed at so cold a display, as where °C were typed for °F."""
    least_c = _coldest_c(book)
    if display_c < least_c:
        shown, least = (units.show(units.TEMPERATURE, value_c, preferences) for value_c in (display_c, least_c))
        slip = _slip_of_unit(display_c, press, book, preferences)
        sentence = f"A display of {shown} is colder than anything is pressed at, which begins at {least}{slip}."
        yield Doubt(COLD, "display", sentence)


def _slip_of_unit(display_c: float, press: Press, book: Book, preferences: units.UnitPreferences) -> str:
    """Which setting in the other unit was likelier meant, to follow a sentence; nothing where that is no likelier."""
    typed = units.show(units.TEMPERATURE, display_c, preferences).split()[0]
    meant = f"{typed} {'°C' if preferences.temperature == units.US_CUSTOMARY.temperature else '°F'}"
    meant_c = units.parse(units.TEMPERATURE, meant)
    most_c = _display_most_c(press, book)
    likely = _coldest_c(book) <= meant_c and (most_c is None or meant_c <= most_c)
    return f"; if {meant} was read, type the unit with it" if likely else ""


def _display_most_c(press: Press, book: Book) -> float | None:
    usual = book.catalogue["press_types"].get(press.type)
    return press.display_most if press.display_most is not None or usual is None else usual.display_most


def _coldest_c(book: Book) -> float:
    """The least that a setting of any transfer is tried at."""
    return float(min(family.bounds.temperature.least for family in book.catalogue["transfers"].values()))


def doubts_of(
    reading: CalibrationReading, press: Press, book: Book, today: date, preferences: units.UnitPreferences
) -> Iterator[Doubt]:
    """Why the reading is unlikely, in the shop's units; nothing of a type that this revision does not have."""
    usual = book.catalogue["press_types"].get(press.type)
    if usual is None:
        return
    yield from cold_display(reading.display, press, book, preferences)
    probe_k = book.limit_values["press.probe_error"]
    most_off_k = SPREADS * usual.spread + probe_k
    mean_c = _mean_c(reading)
    below_k = _below_k(reading)

    def shown(kelvin: float) -> str:
        return units.show(units.TEMPERATURE_DIFFERENCE, kelvin, preferences)

    on_such = f"on such a press it usually lies {shown(usual.loss)} below, give or take {shown(usual.spread)}"
    if below_k > usual.loss + most_off_k:
        yield Doubt("far-below-display", "surface", f"The surface lies {shown(below_k)} below the display; {on_such}.")
    if -below_k > usual.spread + probe_k:
        yield Doubt("above-display", "surface", f"The surface lies {shown(-below_k)} above the display; {on_such}.")
    off_k = round(max(abs(spot_c - mean_c) for spot_c in reading.surface), 6)
    if off_k > most_off_k:
        sentence = f"A spot lies {shown(off_k)} off the mean; on such a press it is usually {shown(usual.spread)}."
        yield Doubt("uneven", "surface", sentence)
    if others := contradicted(reading, press):
        read_so = " and ".join(_shown(other, preferences) for other in others)
        sentence = (
            f"{_shown(reading, preferences)} does not go with {read_so}, as read before: the surface has to rise with"
            " the display."
        )
        yield Doubt(CONTRADICTS, "surface", sentence)
    elif differing := _differing(reading, press, probe_k):

        def off(one: CalibrationReading) -> str:
            return f"{shown(abs(_below_k(one)))} {'below' if _below_k(one) > 0 else 'above'}"

        read_so = " and ".join(
            f"{off(other)} it at {units.show(units.TEMPERATURE, other.display, preferences)}" for other in differing
        )
        sentence = (
            f"The surface lies {off(reading)} the display, but was read {read_so}: between two settings that changes by"
            " a quarter of their distance at most."
        )
        yield Doubt(CONTRADICTS, "surface", sentence)
    if (why := _UNSUITED.get(reading.instrument or CONTACT_PROBE)) is not None:
        strip = shown(book.limit_values["heat.strip_error"])
        yield Doubt("unsuited-instrument", "instrument", why.format(strip=strip, probe=shown(probe_k)))
    trusted_d = book.limit_values["press.calibration_age_most"]
    if reading.taken_on is not None and (age_d := (today - date.fromisoformat(reading.taken_on)).days) > trusted_d:
        sentence = f"It was read {age_d} days ago; readings are trusted for {trusted_d:g} days."
        yield Doubt(OLD, "taken_on", sentence)


def contradicted(reading: CalibrationReading, press: Press) -> tuple[CalibrationReading, ...]:
    """The readings of the press at other settings beside which its surface would not rise with the display."""
    mean_c = _mean_c(reading)
    return tuple(
        other
        for other in press.calibration
        if (other.display < reading.display and _mean_c(other) >= mean_c)
        or (other.display > reading.display and _mean_c(other) <= mean_c)
    )


def _differing(reading: CalibrationReading, press: Press, probe_k: float) -> tuple[CalibrationReading, ...]:
    """The readings of the press at other settings whose offset from the display goes ill with this one's. They may both
    be true, so both count once somebody says so."""
    return tuple(
        other
        for other in press.calibration
        if other.display != reading.display
        and round(abs(_below_k(other) - _below_k(reading)), 6)
        > round(OFFSET_CHANGE * abs(other.display - reading.display) + 2 * probe_k, 6)
    )


def _below_k(reading: CalibrationReading) -> float:
    """How far the surface lies below the display."""
    return round(reading.display - _mean_c(reading), 6)


def _mean_c(reading: CalibrationReading) -> float:
    return sum(reading.surface) / len(reading.surface)


def _shown(reading: CalibrationReading, preferences: units.UnitPreferences) -> str:
    surface, display = (
        units.show(units.TEMPERATURE, value_c, preferences) for value_c in (_mean_c(reading), reading.display)
    )
    return f"{surface} at a display of {display}"


_UNSUITED = MappingProxyType(
    {
        INFRARED: "An infrared thermometer reads a bare platen far too cold, since metal gives off little heat.",
        STRIP: "A strip on the platen is off by {strip} or so; readings are trusted to {probe}.",
    }
)
