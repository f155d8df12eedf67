"""Probe readings that wait for a shop's owner, and who read those that count: one document a shop.

What counts stands in the shop itself, which is what orders are judged by, and tells nothing of people.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, Committer, Put, Transaction, nothing_else

WAITING_MOST = 12  # a press, as many as may count
# Press and id: the same reading of two presses has two ids, but nothing here rests on that.
Place = tuple[str, str]


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

    @property
    def place(self) -> Place:
        """Press and id."""
        return self.press_id, self.reading_id


@dataclass(frozen=True, slots=True)
class CountedReading:
    """Where a reading that counts comes from: who entered it, with which doubts set aside, and which owner's key let it
    count; ``confirmed_at`` and ``confirmed_by`` are None for one that an owner entered."""

    reading_id: str
    press_id: str
    despite: tuple[str, ...]
    entered_at: float
    entered_by: str
    confirmed_at: float | None
    confirmed_by: str | None

    @property
    def place(self) -> Place:
        """Press and id."""
        return self.press_id, self.reading_id


@dataclass(frozen=True, slots=True)
class WaitingReadings:
    """A shop's, the longest waiting first, and where those come from that count, by press and id; ``version`` is ABSENT
    where there never were any. One that counts and was not entered on its own came with the shop's document."""

    shop: str
    version: int
    readings: tuple[WaitingReading, ...]
    counted: tuple[CountedReading, ...] = ()

    def origin(self, press_id: str, reading_id: str) -> CountedReading | None:
        """Where one that counts comes from; None where it came with the shop's document."""
        return next((one for one in self.counted if one.place == (press_id, reading_id)), None)


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
        # Documents of before told nothing of those that count.
        counted = (
            CountedReading(**{**entry, "despite": tuple(entry["despite"])})
            for entry in versioned.document.get("counted", ())
        )
        return WaitingReadings(shop, versioned.version, tuple(readings), tuple(counted))

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
        own = _with(before, _without(before, reading.place))
        self._committer.apply(own + also(reading), _entry(before, reading, who, Event.READING_WITHDRAWN))
        return reading

    @staticmethod
    def counting(before: WaitingReadings, one: CountedReading, counts: Collection[Place]) -> Transaction:
        """Keeps where one comes from, in the commit that puts it into the shop; it waits no more.

        ``counts``: the places of all that count then, since of others nothing is kept.
        """
        others = (other for other in before.counted if other.place in counts and other.place != one.place)
        return _with(before, _without(before, one.place), (*others, one))


def _without(before: WaitingReadings, place: Place) -> tuple[WaitingReading, ...]:
    return tuple(other for other in before.readings if other.place != place)


def _with(
    before: WaitingReadings, readings: tuple[WaitingReading, ...], counted: tuple[CountedReading, ...] | None = None
) -> Transaction:
    key, counts = _key(before.shop), before.counted if counted is None else counted
    document = {
        "waiting": [_kept(reading) for reading in readings],
        "counted": [{**asdict(one), "despite": list(one.despite)} for one in counts],
    }
    return Transaction({key: before.version}, (Put(key, document),))


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
