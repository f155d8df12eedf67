"""What each revision changed of one entry of the book, newest first.

A revision is kept whole, and reading one takes some 30 ms. So what each changed is remembered, of the revisions looked
at last, and one question reads no more than a few that are not: whoever wants to look further back asks on.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from accord_service.steps.proposals import revision
from accord_service.store import RevisionHead, RevisionRecord, Store

ADDED, CHANGED, REMOVED = "added", "changed", "removed"
WHAT = (ADDED, CHANGED, REMOVED)
KEPT_MOST = 256
READ_MOST = 8
_NO_DOCUMENTS: Mapping[str, Mapping[str, Any]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class EntryDifference:
    """An entry before and after a revision; None where it was not there."""

    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None

    @property
    def what(self) -> str:
        """One of ``WHAT``."""
        return ADDED if self.before is None else REMOVED if self.after is None else CHANGED


@dataclass(frozen=True, slots=True)
class RevisionDifference:
    """What a revision changed, by kind and id. ``record`` comes without the book."""

    record: RevisionRecord
    entries: Mapping[tuple[str, str], EntryDifference]


@dataclass(frozen=True, slots=True)
class EntryPast:
    """The revisions that changed an entry, newest first, and the one to go on from (0: there is none before)."""

    changes: tuple[tuple[RevisionRecord, EntryDifference], ...]
    further: int


class Changelog:
    """A worker's; its threads share it."""

    def __init__(self, store: Store, kept_most: int = KEPT_MOST, read_most: int = READ_MOST) -> None:
        self._store = store
        self._kept_most = kept_most
        self._read_most = read_most
        self._lock = threading.Lock()
        self._kept: OrderedDict[int, RevisionDifference] = OrderedDict()

    def past(self, kind: str, id_: str, head: RevisionHead, newest: int, most: int) -> EntryPast:
        """The changes of an entry from revision ``newest`` back, ``most`` of them at most. Raises StoreAway."""
        self._forget_another_past(head)
        changes: list[tuple[RevisionRecord, EntryDifference]] = []
        reading = _Reading(self._store, self._read_most)
        for number in range(newest, 0, -1):
            difference = self._difference(number, reading)
            if difference is None or len(changes) == most:
                return EntryPast(tuple(changes), number)
            if (entry := difference.entries.get((kind, id_))) is not None:
                changes.append((difference.record, entry))
        return EntryPast(tuple(changes), 0)

    def of_revisions(self, head: RevisionHead, numbers: Iterable[int]) -> tuple[RevisionDifference, ...]:
        """What each of these revisions changed, however many have to be read. Raises NotThere, StoreAway."""
        self._forget_another_past(head)
        reading = _Reading(self._store, None)
        told = (self._difference(number, reading) for number in numbers)
        return tuple(difference for difference in told if difference is not None)

    def _difference(self, number: int, reading: _Reading) -> RevisionDifference | None:
        """None where it is not remembered, and enough were read."""
        with self._lock:
            if number in self._kept:
                self._kept.move_to_end(number)
                return self._kept[number]
        difference = reading.difference(number)
        if difference is not None:
            with self._lock:
                self._kept[number] = difference
                while len(self._kept) > self._kept_most:
                    self._kept.popitem(last=False)
        return difference

    def _forget_another_past(self, head: RevisionHead) -> None:
        """A store that was put back to an older state, and went on from there, has other revisions by these numbers."""
        with self._lock:
            of_head = self._kept.get(head.number)
            is_another = of_head is not None and of_head.record.digest != head.digest
            if is_another or max(self._kept, default=0) > head.number:
                self._kept.clear()


class _Reading:
    """Revisions read for one question; the one read last is not read again for the one after it."""

    def __init__(self, store: Store, most: int | None) -> None:
        """``most``: so many are read; None: as many as there are."""
        self._store = store
        self._left = most
        self._last: RevisionRecord | None = None

    def difference(self, number: int) -> RevisionDifference | None:
        if self._left is not None and self._left <= 0:
            return None
        record = self._read(number)
        before = None if number == 1 else self._read(number - 1)
        entries = _entries(_NO_DOCUMENTS if before is None else before.documents, record.documents)
        if before is None:
            # All of the first is new: the book itself need not be held for that.
            entries = {key: EntryDifference(None, _NO_DOCUMENTS) for key in entries}
        return RevisionDifference(replace(record, documents=_NO_DOCUMENTS), MappingProxyType(entries))

    def _read(self, number: int) -> RevisionRecord:
        if self._last is None or self._last.number != number:
            self._last = revision(self._store, number)
            self._left = None if self._left is None else self._left - 1
        return self._last


def _entries(
    before: Mapping[str, Mapping[str, Any]], after: Mapping[str, Mapping[str, Any]]
) -> dict[tuple[str, str], EntryDifference]:
    return {
        (kind, name): EntryDifference(earlier.get(name), later.get(name))
        for kind in {*before, *after}
        for earlier, later in [(before.get(kind, {}), after.get(kind, {}))]
        for name in {*earlier, *later}
        if earlier.get(name) != later.get(name)
    }
