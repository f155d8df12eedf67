"""Probe readings that wait for a shop's owner: one document a shop. What counts stands in the shop itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, Committer, Put, Transaction, nothing_else

WAITING_MOST = 12  # a press, as many as may count


@dataclass(frozen=True, slots=True)
class WaitingReading:
    """``document``: the reading as it was sent. ``entered_at``: seconds since 1970 (UTC); ``entered_by``: id of a key.

    ``despite``: the doubts that whoever entered it set aside.
    """

    reading_id: str
    press_id: str
    document: Mapping[str, Any]
    despite: tuple[str, ...]
    entered_at: float
    entered_by: str


@dataclass(frozen=True, slots=True)
class WaitingReadings:
    """A shop's, the longest waiting first; ``version`` is ABSENT where there never were any."""

    shop: str
    version: int
    readings: tuple[WaitingReading, ...]


class ReadingStore:
    """Keeps what waits. What becomes of it is one commit with the shop's."""

    def __init__(self, committer: Committer) -> None:
        self._committer = committer

    def waiting(self, shop: str) -> WaitingReadings:
        """What waits at a shop."""
        versioned = self._committer.get(_key(shop))
        if versioned is None:
            return WaitingReadings(shop, ABSENT, ())
        readings = (
            WaitingReading(**{**entry, "despite": tuple(entry["despite"])}) for entry in versioned.document["waiting"]
        )
        return WaitingReadings(shop, versioned.version, tuple(readings))

    def enter(
        self,
        before: WaitingReadings,
        reading: WaitingReading,
        *,
        also: Callable[[WaitingReading], Transaction] = nothing_else,
    ) -> WaitingReading:
        """Let one more wait. Raises Conflict where others do since ``before`` was read."""
        own = _with(before, (*before.readings, reading))
        self._committer.apply(own + also(reading), _entry(before, reading, reading.entered_by, Event.READING_ENTERED))
        return reading

    def withdraw(
        self,
        before: WaitingReadings,
        reading: WaitingReading,
        *,
        who: str,
        also: Callable[[WaitingReading], Transaction] = nothing_else,
    ) -> WaitingReading:
        """Let one wait no more; it never counted. Raises Conflict where others do since ``before`` was read."""
        own = self.settling(before, reading)
        self._committer.apply(own + also(reading), _entry(before, reading, who, Event.READING_WITHDRAWN))
        return reading

    @staticmethod
    def settling(before: WaitingReadings, reading: WaitingReading) -> Transaction:
        """Takes one out of those that wait, in the commit that puts it into the shop."""
        return _with(before, tuple(other for other in before.readings if other.reading_id != reading.reading_id))


def _with(before: WaitingReadings, readings: tuple[WaitingReading, ...]) -> Transaction:
    key = _key(before.shop)
    return Transaction({key: before.version}, (Put(key, {"waiting": [_kept(reading) for reading in readings]}),))


def _kept(reading: WaitingReading) -> dict[str, Any]:
    return {
        "reading_id": reading.reading_id,
        "press_id": reading.press_id,
        "document": reading.document,
        "despite": list(reading.despite),
        "entered_at": reading.entered_at,
        "entered_by": reading.entered_by,
    }


def _entry(before: WaitingReadings, reading: WaitingReading, who: str, event: Event) -> UnsealedEntry:
    return UnsealedEntry(who, event, names.member(before.shop, reading.press_id, reading.reading_id))


def _key(shop: str) -> str:
    return names.name("readings", shop)
