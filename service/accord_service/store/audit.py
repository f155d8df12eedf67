"""Who changed what, and when: a list in which every entry seals the one before it.

An entry's ``hash`` is the SHA-256 of its canonical JSON without the hash; ``previous`` is the hash before it. So an
entry that was altered, removed or slipped in is found by ``verify``. The head is signed (``seals.py``), so nobody who
has the store alone can forge what follows as well. What remains is a store set back as a whole to what it once was:
against that, keep a head's line elsewhere now and then.

Each entry names the documents it wrote, so that the chain says which there must be (``check.py``).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.run.times import instant
from accord_service.store import names
from accord_service.store.connection import Connection
from accord_service.store.seals import ChainHead

PAGE = 500
FIRST_PAGE = "1"  # the subject of an adoption's first entry


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
    STORE_ADOPTED = "store.adopted"  # all that was there was sealed as it was, whoever put it there


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
class Written:
    """What one document got: the SHA-256 of its canonical JSON, the version it has since (None where whoever wrote did
    not know it: one more than before), and its time to live in seconds from the entry's time, or when it ends (seconds
    since 1970, UTC). Neither of these: as it was."""

    sha256: str
    version: int | None = None
    lives_s: float | None = None
    expires_at: float | None = None

    def ends_at(self, written_at_s: float) -> float | None:
        """When it ends (seconds since 1970, UTC)."""
        return written_at_s + self.lives_s if self.lives_s is not None else self.expires_at


@dataclass(frozen=True, slots=True, kw_only=True)
class SealedEntry:
    """An entry as it is kept. ``written_at`` as RFC 3339 has it, UTC; ``written``: the name of each document to the
    SHA-256 of what it got, None where it was taken away. ``versions`` and ``ends``: of those documents whose version
    was known, and that end, by name; ``seal_key_id``: the key that sealed the head with it. These three are None
    in entries of before there were seals.
    """

    seq: int
    written_at: str
    actor_id: str
    event: str
    subject_id: str | None
    written: Mapping[str, str | None]
    versions: Mapping[str, int] | None = None
    ends: Mapping[str, str] | None = None
    seal_key_id: str | None = None
    previous: str
    hash: str

    def document(self) -> dict[str, Any]:
        """Plain JSON, as the chain holds it."""
        return {**self._sealed(), "hash": self.hash}

    def _sealed(self) -> dict[str, Any]:
        fields = {
            "seq": self.seq,
            "written_at": self.written_at,
            "actor_id": self.actor_id,
            "event": self.event,
            "subject_id": self.subject_id,
            "written": dict(self.written),
            "previous": self.previous,
        }
        if self.seal_key_id is None:
            return fields
        bound = {"versions": self.versions, "ends": self.ends, "seal_key_id": self.seal_key_id}
        return fields | bound

    def right_hash(self) -> str:
        """What ``hash`` has to be: the SHA-256 of all the rest."""
        return hashlib.sha256(canonical(self._sealed())).hexdigest()

    def head(self) -> ChainHead:
        """The head of the chain that ends with this entry, unsealed."""
        return ChainHead(self.seq, self.hash, self.written_at)

    @property
    def adopts(self) -> bool:
        """Whether an adoption begins here: the chain says nothing for sure of what was before."""
        return self.event == Event.STORE_ADOPTED and self.subject_id == FIRST_PAGE

    def follows(self, head: ChainHead) -> bool:
        """Whether it is whole, and the next one after ``head``."""
        return self.seq == head.seq + 1 and self.previous == head.hash and self.hash == self.right_hash()


def seal(
    entry: UnsealedEntry, written: Mapping[str, Written | None], head: ChainHead, at_s: float, seal_key_id: str
) -> SealedEntry:
    """The entry that follows ``head``; ``written`` by the keys of the store, ``at_s`` in seconds since 1970 (UTC)."""
    documents = {names.public(key): document for key, document in written.items()}
    ends = {name: document.ends_at(at_s) for name, document in documents.items() if document is not None}
    versions = {name: document.version for name, document in documents.items() if document is not None}
    unsealed = SealedEntry(
        seq=head.seq + 1,
        written_at=instant(at_s),
        actor_id=entry.actor_id,
        event=str(entry.event),
        subject_id=entry.subject_id,
        written={name: None if document is None else document.sha256 for name, document in documents.items()},
        versions={name: version for name, version in versions.items() if version is not None},
        ends={name: instant(end_s) for name, end_s in ends.items() if end_s is not None},
        seal_key_id=seal_key_id,
        previous=head.hash,
        hash="",
    )
    return replace(unsealed, hash=unsealed.right_hash())


def broken_at(
    entries: Iterable[SealedEntry | None], end: ChainHead | None = None, begun: ChainHead | None = None
) -> int | None:
    """The number of the first entry that does not follow the one before, or is not the ``end`` that its number is of.

    None where all do, up to ``end`` and beyond: entries may have been added since that was read. ``entries`` begin with
    the one that follows ``begun``, the first if left out; None among them is one that can't be read.
    """
    reached = begun or ChainHead()
    for entry in entries:
        if entry is None or not entry.follows(reached):
            return reached.seq + 1
        reached = entry.head()
        if end is not None and reached.seq == end.seq and not reached.same_place(end):
            return end.seq
    if end is not None and reached.seq < end.seq:
        return reached.seq + 1
    return None


class AuditLog:
    """Reads the chain, in pages."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def head(self) -> ChainHead:
        """Number, hash and seal of the newest entry. Raises StoreAway."""
        return ChainHead.read(self._connection.ask("GET", names.AUDIT_HEAD))

    def entries(self, after: int = 0, limit: int = PAGE) -> tuple[SealedEntry, ...]:
        """Up to ``limit`` entries that follow number ``after``. Raises ValueError at one that is no entry at all."""
        return tuple(read_entry(text) for text in self._texts(after, limit))

    def verify(self) -> int | None:
        """The number of the first entry that is not as it was written; None when the whole chain holds.

        Entries added meanwhile are not looked at. A chain cut short breaks at the first entry that is missing. This is
        of the entries alone: ``check`` looks at the head's seal and at every document as well.
        """
        end = self.head()
        broken = broken_at(map(read_entry_or_none, self._all_texts(end.seq)), end)
        return self._surplus() if broken is None else broken

    def _surplus(self) -> int | None:
        """The first entry that no commit made, past the chain's end; the length is asked first, as both may grow."""
        length, head = self._connection.ask_all((("LLEN", names.AUDIT), ("GET", names.AUDIT_HEAD)))
        seq = ChainHead.read(head).seq
        return seq + 1 if int(length) > seq else None

    def _all_texts(self, most: int) -> Iterator[bytes]:
        for after in range(0, most, PAGE):
            yield from self._texts(after, min(PAGE, most - after))

    def _texts(self, after: int, limit: int) -> list[bytes]:
        return list(self._connection.ask("LRANGE", names.AUDIT, after, after + limit - 1))


def read_entry(text: bytes) -> SealedEntry:
    """An entry as the chain holds it. Raises ValueError for what is none."""
    document = json.loads(text)
    try:
        return SealedEntry(**document)
    except TypeError:
        raise ValueError("not an audit entry") from None


def read_entry_or_none(text: bytes) -> SealedEntry | None:
    """The same; None for what is none."""
    try:
        return read_entry(text)
    except ValueError:
        return None
