"""Whether what a temperature strip read on a piece can be meant: held against its press, and against how warm such a
piece gets in that time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.heat.build import Sheet
from accord_rules.heat.materials import PLATENS
from accord_rules.heat.stack import HeatError
from accord_rules.heat.strips import Strip, readable_c
from accord_rules.orders.order import Press, StripReading
from accord_rules.revision.book import Book
from accord_rules.revision.readings import COLD, DOUBTS, SPREADS, Doubt, cold_display, display_faults

BEYOND, STRIP_COLD, STRIP_HOT = "beyond-display", "strip-too-cold", "strip-too-hot"
# The doubts that may be set aside, and what each is.
STRIP_DOUBTS: Mapping[str, str] = MappingProxyType(
    {
        BEYOND: "the press's display does not go so high",
        COLD: DOUBTS[COLD],
        STRIP_COLD: "the strip read colder than such a piece stays in that time",
        STRIP_HOT: "the strip read hotter than such a piece gets in that time",
    }
)


def doubts_of_strip(
    document: Mapping[str, Any], press: Press, book: Book, preferences: units.UnitPreferences
) -> Iterator[Doubt]:
    """Why what a strip read is unlikely, in the shop's units; nothing of what this revision of the book does not have.

    ``document``: the strip as the press has it. Raises DocumentError for what can't be read.
    """
    reading = read(StripReading, document)
    for fault in display_faults(reading.display, press, book, preferences):
        yield Doubt(BEYOND, "display", f"{fault.message[:1].upper()}{fault.message[1:]}.")
    yield from cold_display(reading.display, press, book, preferences)
    usual = book.catalogue["press_types"].get(press.type)
    substrate = book.catalogue["substrates"].get(reading.substrate)
    cover = None if reading.cover is None else book.catalogue["consumables"].get(reading.cover)
    if usual is None or substrate is None or usual.closing not in PLATENS:
        return
    strip = Strip(
        surface_c=reading.display - usual.loss,
        time_s=reading.time,
        read_c=reading.read,
        error_k=SPREADS * usual.spread + book.limit_values["heat.strip_error"],
        substrate=substrate,
        thickness_mm=substrate.thickness if reading.thickness is None else reading.thickness,
        cover=None if cover is None or reading.cover is None else Sheet(reading.cover, cover),
    )
    try:
        least_c, most_c = readable_c(strip, usual)
    except HeatError:  # no stack can be made of it: whatever it read, there is nothing to hold it against
        return
    read_so, least, most, display = (
        units.show(units.TEMPERATURE, value_c, preferences)
        for value_c in (reading.read, least_c - strip.error_k, most_c + strip.error_k, reading.display)
    )
    after = units.show(units.TIME, reading.time, preferences)
    at = f"under a display of {display}, {after} after the press came down"
    if reading.read < least_c - strip.error_k:
        sentence = f"The strip read {read_so}, but such a piece is at {least} at least {at}."
        yield Doubt(STRIP_COLD, "read", sentence)
    elif reading.read > most_c + strip.error_k:
        sentence = f"The strip read {read_so}, but such a piece is at {most} at most {at}."
        yield Doubt(STRIP_HOT, "read", sentence)
