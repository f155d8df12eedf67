"""Who changed what, and when: a list in which every entry seals the one before it.

An entry's ``hash`` is the SHA-256 of its canonical JSON without the hash; ``previous`` is the hash before it. So an
entry that was altered, removed or slipped in is found by ``verify``, unless everything after it was forged as well;
against that, keep a head's hash elsewhere now and then.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.run.times import instant
from accord_service.store import names
from accord_service.store.connection import Connection

PAGE = 500
BEGINNING = "0" * 64


class Event(StrEnum):
    """What is done to what, in the words of the API. Entries are for ever: an event may be added, none renamed."""

    SHOP_CREATED = "shop.created"
    SHOP_REPLACED = "shop.replaced"
    READING_ENTERED = "reading.entered"
    READING_CONFIRMED = "reading.confirmed"
    READING_WITHDRAWN = "reading.withdrawn"
    HOUSE_RULES_REPLACED = "house-rules.replaced"
    KEY_ISSUED = "key.issued"
    KEY_CONFIRMED = "key.confirmed"
    KEY_REVOKED = "key.revoked"
    REVISION_PUBLISHED = "revision.published"
    PROPOSAL_DRAFTED = "proposal.drafted"
    PROPOSAL_EDITED = "proposal.edited"
    PROPOSAL_EFFECT_STARTED = "proposal.effect-started"
    PROPOSAL_EFFECT_ENDED = "proposal.effect-ended"  # without having been worked out
    PROPOSAL_OPENED = "proposal.opened"
    PROPOSAL_APPROVED = "proposal.approved"
    PROPOSAL_DECLINED = "proposal.declined"
    PROPOSAL_WITHDRAWN = "proposal.withdrawn"
    PROPOSAL_REOPENED = "proposal.reopened"  # an approval lapsed with its key
    PROPOSAL_VOIDED = "proposal.voided"  # the head moved on from its base
    RECORD_CREATED = "record.created"
    RECORD_REFERENCE_DELETED = "record.reference-deleted"
    RECORDS_EXPIRED = "records.expired"
    OUTCOME_REPORTED = "outcome.reported"
    OUTCOME_WITHDRAWN = "outcome.withdrawn"


@dataclass(frozen=True, slots=True)
class UnsealedEntry:
    """What a commit says about itself. ``actor_id``: the id of a key, or a part of the program; ``subject_id``: of what
    it was done to, as the API calls it; None where that is more than one.

    Nothing personal belongs in here: entries are for ever.
    """

    actor_id: str
    event: Event
    subject_id: str | None


@dataclass(frozen=True, slots=True)
class ChainHead:
    """How many entries there are, and the hash of the last."""

    seq: int = 0
    hash: str = BEGINNING

    def text(self) -> str:
        """As the store holds it; empty before the first entry."""
        return f"{self.seq} {self.hash}" if self.seq else ""

    @classmethod
    def read(cls, text: bytes | None) -> ChainHead:
        """What ``text`` wrote; nothing there is the head of an empty chain."""
        if not text:
            return cls()
        seq, _, hash_ = text.decode().partition(" ")
        return cls(int(seq), hash_)


@dataclass(frozen=True, slots=True, kw_only=True)
class SealedEntry:
    """An entry as it is kept. ``written_at`` as RFC 3339 has it, UTC; ``written``: the name of each document to the
    SHA-256 of what it got."""

    seq: int
    written_at: str
    actor_id: str
    event: str
    subject_id: str | None
    written: Mapping[str, str | None]
    previous: str
    hash: str

    def document(self) -> dict[str, Any]:
        """Plain JSON, as the chain holds it."""
        return {**self._sealed(), "hash": self.hash}

    def _sealed(self) -> dict[str, Any]:
        return {
            "seq": self.seq,
            "written_at": self.written_at,
            "actor_id": self.actor_id,
            "event": self.event,
            "subject_id": self.subject_id,
            "written": dict(self.written),
            "previous": self.previous,
        }

    def right_hash(self) -> str:
        """What ``hash`` has to be: the SHA-256 of all the rest."""
        return hashlib.sha256(canonical(self._sealed())).hexdigest()

    def follows(self, head: ChainHead) -> bool:
        """Whether it is whole, and the next one after ``head``."""
        return self.seq == head.seq + 1 and self.previous == head.hash and self.hash == self.right_hash()


def seal(entry: UnsealedEntry, written: Mapping[str, str | None], head: ChainHead, at_s: float) -> SealedEntry:
    """The entry that follows ``head``; ``written`` by the keys of the store, ``at_s`` in seconds since 1970 (UTC)."""
    unsealed = SealedEntry(
        seq=head.seq + 1,
        written_at=instant(at_s),
        actor_id=entry.actor_id,
        event=str(entry.event),
        subject_id=entry.subject_id,
        written={names.public(key): digest for key, digest in written.items()},
        previous=head.hash,
        hash="",
    )
    return replace(unsealed, hash=unsealed.right_hash())


def broken_at(entries: Iterable[SealedEntry | None], end: ChainHead | None = None) -> int | None:
    """The number of the first entry that does not follow the one before, or is not the ``end`` that its number is of.

    None where all do, up to ``end`` and beyond: entries may have been added since that was read. ``entries`` begin with
    the first; None among them is one that can't be read.
    """
    reached = ChainHead()
    for entry in entries:
        if entry is None or not entry.follows(reached):
            return reached.seq + 1
        reached = ChainHead(entry.seq, entry.hash)
        if end is not None and reached.seq == end.seq and reached != end:
            return end.seq
    if end is not None and reached.seq < end.seq:
        return reached.seq + 1
    return None


class AuditLog:
    """Reads the chain, in pages."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def head(self) -> ChainHead:
        """Number and hash of the newest entry. Raises StoreAway."""
        return ChainHead.read(self._connection.ask("GET", names.AUDIT_HEAD))

    def entries(self, after: int = 0, limit: int = PAGE) -> tuple[SealedEntry, ...]:
        """Up to ``limit`` entries that follow number ``after``. Raises ValueError at one that is no entry at all."""
        return tuple(_read(text) for text in self._texts(after, limit))

    def verify(self) -> int | None:
        """The number of the first entry that is not as it was written; None when the whole chain holds.

        Entries added meanwhile are not looked at. A chain cut short breaks at the first entry that is missing.
        """
        end = self.head()
        broken = broken_at(map(_read_or_none, self._all_texts(end.seq)), end)
        return self._surplus() if broken is None else broken

    def altered(self) -> tuple[str, ...]:
        """The keys whose document is not the one that the chain says was written last.

        Only what is there is looked at: a document that is gone may have come to the end of its time. Trust the answer
        as far as ``verify`` finds the chain whole; it raises ValueError at an entry that is none.
        """
        end = self.head().seq
        last: dict[str, str | None] = {}
        for text in self._all_texts(end):
            last.update(_written(text))
        keys = sorted(last)
        suspects = {
            key
            for start in range(0, len(keys), PAGE)
            for key, stored_digest in self._digests(keys[start : start + PAGE])
            if stored_digest is not None and stored_digest != last[key]
        }
        meanwhile = {key for text in self._texts(end, None) for key in _written(text)}
        return tuple(sorted(suspects - meanwhile))

    def _digests(self, keys: Sequence[str]) -> Iterator[tuple[str, str | None]]:
        for key, text in zip(keys, self._connection.ask_all([("HGET", key, "d") for key in keys]), strict=True):
            yield key, None if text is None else hashlib.sha256(text).hexdigest()

    def _surplus(self) -> int | None:
        """The first entry that no commit made, past the chain's end; the length is asked first, as both may grow."""
        length, head = self._connection.ask_all((("LLEN", names.AUDIT), ("GET", names.AUDIT_HEAD)))
        seq = ChainHead.read(head).seq
        return seq + 1 if int(length) > seq else None

    def _all_texts(self, most: int) -> Iterator[bytes]:
        for after in range(0, most, PAGE):
            yield from self._texts(after, min(PAGE, most - after))

    def _texts(self, after: int, limit: int | None) -> list[bytes]:
        last = -1 if limit is None else after + limit - 1
        return list(self._connection.ask("LRANGE", names.AUDIT, after, last))


def _written(text: bytes) -> dict[str, str | None]:
    """What an entry says was written, by the keys of the store."""
    return {names.PREFIX + name: digest for name, digest in _read(text).written.items()}


def _read(text: bytes) -> SealedEntry:
    document = json.loads(text)
    try:
        return SealedEntry(**document)
    except TypeError:
        raise ValueError("not an audit entry") from None


def _read_or_none(text: bytes) -> SealedEntry | None:
    try:
        return _read(text)
    except ValueError:
        return None
