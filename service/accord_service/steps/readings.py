"""Probe readings one by one: how one is known, whether it can be meant, and the press with one more or one less.

Those that count stand in the shop's document, where nothing names them; so a reading is known by what it says.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import DocumentError, Fault, read
from accord_rules.documents.writing import plain
from accord_rules.orders.order import CalibrationReading, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.readings import contradicted, display_faults, doubts_of

Document = Mapping[str, Any]


def reading_id(press_id: str, document: Document) -> str:
    """The same for the same reading of the same press, in whichever units it was sent."""
    return "rd_" + hashlib.sha256(canonical([press_id, plain(read(CalibrationReading, document))])).hexdigest()[:16]


def counting(press: Document) -> dict[str, Document]:
    """The readings of a press that count, by id."""
    return {reading_id(press["id"], reading): reading for reading in press.get("calibration", ())}


def replaced_by(press: Document, document: Document) -> str | None:
    """The id of the counting reading at the same setting of the display, whose place this one takes; None for none."""
    display_c = read(CalibrationReading, document).display
    return next((id_ for id_, other in counting(press).items() if _display_c(other) == display_c), None)


def contradicted_by(press: Document, document: Document) -> tuple[str, ...]:
    """The ids of the counting readings that this one contradicts, and that count no more once it does."""
    others = contradicted(read(CalibrationReading, document), read(Press, press))
    return tuple(id_ for id_, other in counting(press).items() if read(CalibrationReading, other) in others)


def with_reading(press: Document, document: Document) -> dict[str, Any]:
    """The press with one more reading that counts, in the place of one at the same setting of the display, and of those
    that it contradicts: both cannot be so, and whoever lets it count says that this one is."""
    gone = {replaced_by(press, document), *contradicted_by(press, document)}
    others = [reading for id_, reading in counting(press).items() if id_ not in gone]
    return {**press, "calibration": [*others, dict(document)]}


def without_reading(press: Document, id_: str) -> dict[str, Any]:
    """The press without a reading that counted."""
    return {**press, "calibration": [reading for other, reading in counting(press).items() if other != id_]}


def with_press(shop: Document, press: Document) -> dict[str, Any]:
    """The shop with one of its presses as it is now."""
    return {**shop, "presses": [press if other["id"] == press["id"] else other for other in shop["presses"]]}


def faults_of_reading(document: Document, press: Document, shop: Shop, book: Book, newest_day: date) -> Iterator[Fault]:
    """What keeps a reading from counting, at its own places; ``newest_day``: the last that has begun anywhere."""
    reading = read(CalibrationReading, document)
    if reading.taken_on is not None and date.fromisoformat(reading.taken_on) > newest_day:
        yield Fault("/taken_on", "is still to come", code="out-of-range")
    try:
        changed = read(Press, with_reading(press, document))
    except DocumentError as error:
        yield from (replace(fault, pointer="/display", message=_together(fault.message)) for fault in error.faults)
        return
    yield from display_faults(reading.display, changed, book, shop.units)


def doubts_left(
    document: Document, press: Document, shop: Shop, book: Book, today: date, despite: tuple[str, ...]
) -> Iterator[Fault]:
    """The doubts that nobody set aside, as faults of the reading."""
    for doubt in doubts_of(read(CalibrationReading, document), read(Press, press), book, today, shop.units):
        if doubt.name not in despite:
            yield doubt.fault


def doubt_sentences(document: Document, press: Document, shop: Shop, book: Book, today: date) -> tuple[str, ...]:
    """Every doubt about a reading, set aside or not, in words."""
    doubts = doubts_of(read(CalibrationReading, document), read(Press, press), book, today, shop.units)
    return tuple(doubt.sentence for doubt in doubts)


def _together(message: str) -> str:
    return f"with it, the readings of the press would not hold: it {message}"


def _display_c(document: Document) -> float:
    return read(CalibrationReading, document).display
