"""Records: an order, the shop it was for and what was answered, under an id of its own, by shop and by reference."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import (
    ABSENT,
    AddToIndex,
    Committer,
    DropFromIndex,
    Put,
    Transaction,
    Versioned,
    Write,
    nothing_else,
)
from accord_service.store.connection import Connection
from accord_service.store.errors import NotThere
from accord_service.store.index import Page, page_of_members

DAY_S = 86400
PAGE = 50
ID_PREFIX = "rec_"


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRecord:
    """``question`` (stored as "asked") and ``answer`` as documents; ``reference`` is the shop's own, None once deleted.

    ``recorded_at`` and ``expires_at`` in seconds since 1970 (UTC); None: kept for good.
    """

    record_id: str
    shop_id: str
    version: int
    question: Mapping[str, Any]
    answer: Mapping[str, Any]
    revision: int
    reference: str | None
    recorded_at: float
    expires_at: float | None

    def fields(self) -> dict[str, Any]:
        """What is stored under shop and id; the version stands beside it."""
        return {
            "asked": self.question,
            "answer": self.answer,
            "revision": self.revision,
            "reference": self.reference,
            "recorded_at": self.recorded_at,
            "expires_at": self.expires_at,
        }


class RecordStore:
    """Creates and finds records; deletes references. With a shop's id only that shop's own are found."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def draft(
        self,
        shop_id: str,
        *,
        question: Mapping[str, Any],
        answer: Mapping[str, Any],
        revision: int,
        reference: str | None = None,
        retain_days: int | None = None,
    ) -> OrderRecord:
        """One to ``create``, under an id of its own that says nothing.

        ``retain_days``: whole days after which it is gone; None keeps it for good.
        """
        now = self._committer.clock()
        return OrderRecord(
            record_id=ID_PREFIX + secrets.token_hex(16),
            shop_id=shop_id,
            version=1,
            question=question,
            answer=answer,
            revision=revision,
            reference=reference,
            recorded_at=now,
            expires_at=None if retain_days is None else now + retain_days * DAY_S,
        )

    def create(
        self, record: OrderRecord, *, who: str, also: Callable[[OrderRecord], Transaction] = nothing_else
    ) -> OrderRecord:
        """Keep one more, whatever there is already."""
        key, place = _key(record.shop_id, record.record_id), _Place.of(record)
        lives_s = None if record.expires_at is None else round(record.expires_at - record.recorded_at)
        writes: list[Write] = [Put(key, record.fields(), lives_s)]
        writes += [AddToIndex(index, member, record.recorded_at) for index, member in place.listed()]
        if record.expires_at is not None:
            writes.append(AddToIndex(names.RECORDS_EXPIRY, place.member(), record.expires_at))
        entry = UnsealedEntry(who, Event.RECORD_CREATED, record.record_id)
        self._committer.apply(Transaction({key: ABSENT}, tuple(writes)) + also(record), entry)
        return record

    def get(self, shop_id: str, record_id: str) -> OrderRecord | None:
        """One shop's record; never another's."""
        return _record(shop_id, record_id, self._committer.get(_key(shop_id, record_id)))

    def page(
        self, shop_id: str, reference: str | None = None, cursor: str | None = None, limit: int = PAGE
    ) -> Page[OrderRecord]:
        """One shop's records, newest first; those with one reference if that is wished.

        A page may be short where records expired; ``next`` says whether more follow. Raises ValueError for a cursor
        that no page gave.
        """
        index = _of_shop(shop_id) if reference is None else _with_reference(shop_id, _sum(reference))
        page = page_of_members(self._connection, index, cursor, limit)
        return self._records([(shop_id, record_id) for record_id in page.items], page.next)

    def count(self) -> int:
        """How many are listed, of all shops; some of them may have come to the end of their time."""
        return int(self._connection.ask("ZCARD", names.RECORDS))

    def count_since(self, instant_s: float) -> int:
        """How many of all shops were recorded after an instant, in seconds since 1970 (UTC), and are still listed."""
        return int(self._connection.ask("ZCOUNT", names.RECORDS, f"({instant_s!r}", "+inf"))

    def places(self, cursor: str | None = None, limit: int = PAGE) -> Page[str]:
        """Where records of all shops lie, newest first. What is recorded meanwhile comes before them all.

        Raises ValueError for a cursor that no page gave.
        """
        return page_of_members(self._connection, names.RECORDS, cursor, limit)

    def at(self, places: Sequence[str]) -> tuple[OrderRecord, ...]:
        """The records at places; those that are gone since are left out."""
        return self._records([_shop_and_record(place) for place in places], None).items

    def delete_reference(
        self, shop_id: str, record_id: str, *, who: str, also: Callable[[OrderRecord], Transaction] = nothing_else
    ) -> OrderRecord:
        """Take the reference out of the record, its answer and the indexes. Raises NotThere, or Conflict if the record
        changed meanwhile."""
        old = self.get(shop_id, record_id)
        if old is None:
            raise NotThere(f"there is no record {record_id!r}")
        record = without_reference(old)
        key, before, after = _key(shop_id, record_id), _Place.of(old), _Place.of(record)
        writes: list[Write] = [Put(key, record.fields())]
        if before.reference_sum is not None:
            writes.append(DropFromIndex(_with_reference(shop_id, before.reference_sum), record_id))
        if old.expires_at is not None:
            writes.append(DropFromIndex(names.RECORDS_EXPIRY, before.member()))
            writes.append(AddToIndex(names.RECORDS_EXPIRY, after.member(), old.expires_at))
        entry = UnsealedEntry(who, Event.RECORD_REFERENCE_DELETED, record_id)
        self._committer.apply(Transaction({key: old.version}, tuple(writes)) + also(record), entry)
        return record

    def prune(self, *, who: str, limit: int = 500) -> int:
        """Take records that the server let expire out of the indexes too; how many that were. Run it now and then."""
        now = repr(self._committer.clock())
        due = self._connection.ask("ZRANGE", names.RECORDS_EXPIRY, "-inf", now, "BYSCORE", "LIMIT", 0, limit)
        places = [_Place.read(member.decode()) for member in due]
        documents = self._committer.get_all([_key(place.shop_id, place.record_id) for place in places])
        gone = [place for place, record in zip(places, documents, strict=True) if record is None]
        if not gone:
            return 0
        writes: list[Write] = []
        for place in gone:
            writes += [DropFromIndex(index, member) for index, member in place.listed()]
            writes.append(DropFromIndex(names.RECORDS_EXPIRY, place.member()))
        self._committer.commit({}, writes, UnsealedEntry(who, Event.RECORDS_EXPIRED, None))
        return len(gone)

    def _records(self, places: list[tuple[str, str]], following: str | None) -> Page[OrderRecord]:
        documents = self._committer.get_all([_key(*place) for place in places])
        records = (_record(*place, versioned) for place, versioned in zip(places, documents, strict=True))
        return Page(tuple(record for record in records if record is not None), following)


def without_reference(record: OrderRecord) -> OrderRecord:
    """The record as ``delete_reference`` leaves it."""
    answer = {**record.answer, "reference": None}
    return replace(record, version=record.version + 1, reference=None, answer=answer)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a record is listed: all that is left to find it by once the server has let it go.

    A reference may lead to a person, so only its sum is here, and nothing once it is deleted.
    """

    shop_id: str
    record_id: str
    reference_sum: str | None

    @classmethod
    def of(cls, record: OrderRecord) -> _Place:
        sum_ = None if record.reference is None else _sum(record.reference)
        return cls(record.shop_id, record.record_id, sum_)

    @classmethod
    def read(cls, member: str) -> _Place:
        shop_id, record_id, sum_ = names.parts(member)
        return cls(shop_id, record_id, sum_ or None)

    def member(self) -> str:
        """Itself, as a member of the index of ends."""
        return names.member(self.shop_id, self.record_id, self.reference_sum or "")

    def listed(self) -> Iterator[tuple[str, str]]:
        """(index, member) of each list it is in."""
        yield names.RECORDS, names.member(self.shop_id, self.record_id)
        yield _of_shop(self.shop_id), self.record_id
        if self.reference_sum is not None:
            yield _with_reference(self.shop_id, self.reference_sum), self.record_id


def _shop_and_record(member: str) -> tuple[str, str]:
    shop_id, record_id = names.parts(member)
    return shop_id, record_id


def _sum(reference: str) -> str:
    return hashlib.sha256(reference.encode("utf-8", "surrogateescape")).hexdigest()


def _key(shop_id: str, record_id: str) -> str:
    return names.name("record", shop_id, record_id)


def _of_shop(shop_id: str) -> str:
    return names.name("records", shop_id)


def _with_reference(shop_id: str, reference_sum: str) -> str:
    return names.name("records", shop_id, reference_sum)


def _record(shop_id: str, record_id: str, versioned: Versioned | None) -> OrderRecord | None:
    if versioned is None:
        return None
    fields = dict(versioned.document)
    question = fields.pop("asked")
    return OrderRecord(record_id=record_id, shop_id=shop_id, version=versioned.version, question=question, **fields)
