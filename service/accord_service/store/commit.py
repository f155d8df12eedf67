"""The one way anything is written: compared, written and audited in a single step of the server's.

A document is kept as a Redis hash of three fields: ``v``, its version, ``d``, its JSON, and ``m``, the seal of whoever
wrote it (``seals.py``). Each write adds one to the version; version 0 means that there is nothing.
"""

from __future__ import annotations

import hashlib
import json
import logging
import math
import random
import secrets
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.resources import files
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.store import names
from accord_service.store.audit import SealedEntry, UnsealedEntry, Written, seal
from accord_service.store.connection import Connection
from accord_service.store.errors import Altered, Conflict, StoreAway, StoreBroken
from accord_service.store.newest import LOOK, NewestHead, cut_short, in_entry
from accord_service.store.seals import SEAL_FAULTS, ChainHead, Seals

logger = logging.getLogger(__name__)

ABSENT = 0
# Other processes' commits may get in between. Who lost tries again at once, with the head it was just told: waiting
# first would only lose again to whoever does not wait. Who lost often asks for a turn, and waits while another has one;
# a turn that its holder does not take is over long before the attempts are used up.
ATTEMPTS, EAGER, JITTER_S, TURN_MS = 200, 20, 0.001, 50

_SCRIPT = files("accord_service.store").joinpath("commit.lua").read_text(encoding="utf-8")
_SCRIPT_SHA1 = hashlib.sha1(_SCRIPT.encode(), usedforsecurity=False).hexdigest()  # the server's own name for it


@dataclass(frozen=True, slots=True)
class Put:
    """Write a document (plain JSON). ``expires_s``: whole seconds to live; None leaves that as it was.

    To write only what is absent, expect ABSENT.
    """

    key: str
    document: Any
    expires_s: int | None = None

    def __post_init__(self) -> None:
        if self.expires_s is not None and self.expires_s < 1:
            raise ValueError(f"expires_s must be at least 1, not {self.expires_s}")


@dataclass(frozen=True, slots=True)
class Reseal:
    """Seal a document that is there already, as it is: its version, the SHA-256 of its JSON, and when it ends (seconds
    since 1970, UTC; None: never)."""

    key: str
    version: int
    sha256: str
    expires_at: float | None


@dataclass(frozen=True, slots=True)
class Delete:
    """Take a document away."""

    key: str


@dataclass(frozen=True, slots=True)
class AddToIndex:
    """Put a member into a sorted set, or move it to another score."""

    key: str
    member: str
    score: float

    def __post_init__(self) -> None:
        if math.isnan(self.score):
            raise ValueError("a score must be a number")


@dataclass(frozen=True, slots=True)
class DropFromIndex:
    """Take a member out of a sorted set."""

    key: str
    member: str


Write = Put | Reseal | Delete | AddToIndex | DropFromIndex


@dataclass(frozen=True, slots=True)
class Transaction:
    """Expectations and writes that belong in one commit; ``+`` joins two."""

    expect: Mapping[str, int] = field(default_factory=dict)
    writes: tuple[Write, ...] = ()

    def __add__(self, other: Transaction) -> Transaction:
        clash = [key for key in self.expect if other.expect.get(key, self.expect[key]) != self.expect[key]]
        if clash:
            raise ValueError(f"two versions are expected of {clash[0]}")
        return Transaction({**self.expect, **other.expect}, self.writes + other.writes)


def nothing_else(record: object) -> Transaction:
    """What goes along with a write when nobody says otherwise."""
    return Transaction()


@dataclass(frozen=True, slots=True)
class Versioned:
    """A document as it is kept, with its version."""

    version: int
    document: Any


def read_versioned(key: str, fields: Sequence[bytes | None], seals: Seals) -> Versioned | None:
    """From the answer to ``HMGET key v d m``; None where there is nothing.

    Raises Altered for what was not written under this name by a service with our key.
    """
    version, text, seal_ = fields
    if version is None and text is None:
        return None
    try:
        document = Versioned(int(version or b""), json.loads(text or b""))
    except ValueError as error:
        raise StoreBroken(f"a stored document can't be read: {error}") from None
    if not seals.is_sealed(key, document.version, hashlib.sha256(text or b"").hexdigest(), seal_):
        raise Altered(names.public(key))
    return document


class Committer:
    """Writes and reads documents. One for a process, shared by its threads.

    ``clock`` gives seconds since 1970 (UTC); ``seals`` are those of this process's environment if left out.
    """

    def __init__(
        self, connection: Connection, clock: Callable[[], float] = time.time, seals: Seals | None = None
    ) -> None:
        self._connection = connection
        self.clock = clock
        self.seals = Seals.of_environment() if seals is None else seals
        self.newest = NewestHead(connection, self.seals, clock)
        # Threads of one process would only push each other off the chain's head. And when the store is away, the
        # breaker is open by the time the first of them gives up the lock, so the others fail at once.
        self._lock = threading.Lock()
        self._head, self._head_text = ChainHead(), b""
        self._name = secrets.token_hex(8)

    def get(self, key: str) -> Versioned | None:
        """One document with its version; None where there is none. Raises StoreAway, StoreBroken (Altered for one that
        no service wrote)."""
        return read_versioned(key, self._connection.ask("HMGET", key, "v", "d", "m"), self.seals)

    def get_all(self, keys: Sequence[str], *, leave_out_altered: bool = False) -> list[Versioned | None]:
        """One answer for each key, all asked together. With ``leave_out_altered`` what no service wrote is None too."""
        answers = self._connection.ask_all([("HMGET", key, "v", "d", "m") for key in keys])
        documents: list[Versioned | None] = []
        for key, fields in zip(keys, answers, strict=True):
            try:
                documents.append(read_versioned(key, fields, self.seals))
            except Altered as error:
                if not leave_out_altered:
                    raise
                logger.error("left out: %s", error)
                documents.append(None)
        return documents

    def apply(self, change: Transaction, audit: UnsealedEntry) -> SealedEntry:
        """``commit`` for a Transaction."""
        return self.commit(change.expect, change.writes, audit)

    def commit(
        self, expect: Mapping[str, int], writes: Sequence[Write], audit: UnsealedEntry, *, on_any_head: bool = False
    ) -> SealedEntry:
        """Do all the writes and the audit entry, or nothing.

        ``expect``: key to the version it must have, ABSENT for none. ``on_any_head``: whoever sealed the chain so far,
        and however it ends; for an adoption alone.

        Raises Conflict if one is different, StoreAway if the store did not acknowledge: then it was done whole or not
        at all, and asking again is safe wherever something is expected. Raises StoreBroken where the chain's end is
        not as a service with our key left it, SetBack where it does not go on from what this process knows: to write
        on would seal whatever was done to it.
        """
        writes = _once_each(writes)
        texts = [canonical(write.document) if isinstance(write, Put) else b"" for write in writes]
        written = _written(expect, writes, texts)
        keys = (names.AUDIT, names.AUDIT_HEAD, names.TURN, *dict.fromkeys((*expect, *(write.key for write in writes))))
        places = {key: str(place) for place, key in enumerate(keys, 1)}
        plan = _plan(places, expect, writes, texts, self._document_seals(written))
        with self._lock:
            if not on_any_head:
                self._begin()
            for attempt in range(ATTEMPTS):
                entry = seal(audit, written, self._head, self.clock(), self.seals.key_id)
                head = self.seals.sealed(entry.head())
                turn = self._name if attempt >= EAGER else ""
                last, known = "" if on_any_head else in_entry(self._head), self.newest.head
                texts_of_chain = (self._head_text, head.text(), canonical(entry.document()), turn, str(TURN_MS))
                places_of_chain = (str(self._head.seq), last, str(known.seq), in_entry(known))
                answer = self._connection.commit(
                    _SCRIPT, _SCRIPT_SHA1, keys, (*texts_of_chain, *places_of_chain, *plan)
                )
                if answer[0] == b"done":
                    self._done(head, on_any_head)
                    return entry
                if answer[0] == b"conflict":
                    key = keys[int(answer[1]) - 1]
                    raise Conflict(key, expect[key], int(answer[2]))
                if answer[0] == b"cut":
                    self._take_up_cut(int(answer[1]), on_any_head)
                else:
                    self._take_up(answer[1], bool(answer[2]), on_any_head)
                if attempt > EAGER:
                    time.sleep(random.uniform(0, JITTER_S))
        raise StoreAway(f"others wrote first {ATTEMPTS} times")

    def _begin(self) -> None:
        """Start from the newest head known, which may be later than the last one written on."""
        if self.newest.loss is not None:
            self.newest.check()
        if self.newest.head.seq > self._head.seq:
            self._head = self.newest.head
            self._head_text = self._head.text().encode()

    def _done(self, head: ChainHead, on_any_head: bool) -> None:
        self._head, self._head_text = head, head.text().encode()
        if on_any_head:
            self.newest.start_from(head)
        else:
            self.newest.take(head)

    def _take_up(self, text: bytes, goes_on: bool, on_any_head: bool) -> None:
        """Go on from where others left the chain, if they had our key and it still holds what is known."""
        head = ChainHead.read(text)
        if not on_any_head:
            if not goes_on or head.seq < self.newest.head.seq:
                self.newest.check()
            fault = self.seals.fault_of(head)
            if fault:
                raise StoreBroken(f"{SEAL_FAULTS[fault]}; {LOOK}")
        self._head, self._head_text = head, text

    def _take_up_cut(self, length: int, on_any_head: bool) -> None:
        if not on_any_head:
            raise StoreBroken(cut_short(length, self._head))
        self._head = replace(self._head, seq=length)

    def _document_seals(self, written: Mapping[str, Written | None]) -> dict[str, bytes]:
        return {
            key: self.seals.document_seal(key, document.version, document.sha256)
            for key, document in written.items()
            if document is not None
        }


def _once_each(writes: Sequence[Write]) -> tuple[Write, ...]:
    """The writes, each document's once: what belongs to several parts of a commit (the directory) comes with each."""
    last: dict[str, Put] = {}
    once: list[Write] = []
    for write in writes:
        if isinstance(write, Put):
            if write.key in last:
                if last[write.key] != write:
                    raise ValueError(f"two documents are written to {write.key}")
                continue
            last[write.key] = write
        once.append(write)
    return tuple(once)


def _written(expect: Mapping[str, int], writes: Sequence[Write], texts: Sequence[bytes]) -> dict[str, Written | None]:
    """What the audit says was written: of each document what it got; None for one taken away. Indexes follow."""
    written: dict[str, Written | None] = {}
    for write, text in zip(writes, texts, strict=True):
        if isinstance(write, Put):
            version = expect[write.key] + 1 if write.key in expect else None
            written[write.key] = Written(hashlib.sha256(text).hexdigest(), version, lives_s=write.expires_s)
        elif isinstance(write, Reseal):
            written[write.key] = Written(write.sha256, write.version, expires_at=write.expires_at)
        elif isinstance(write, Delete):
            written[write.key] = None
    return written


def _plan(
    places: Mapping[str, str],
    expect: Mapping[str, int],
    writes: Sequence[Write],
    texts: Sequence[bytes],
    document_seals: Mapping[str, bytes],
) -> list[str | bytes]:
    """The script's arguments behind the first nine; see commit.lua."""
    plan: list[str | bytes] = [str(len(expect))]
    for key, version in expect.items():
        plan += [places[key], str(version)]
    plan.append(str(len(writes)))
    for write, text in zip(writes, texts, strict=True):
        match write:
            case Put():
                plan += ["put", places[write.key], text, document_seals[write.key], str(write.expires_s or 0)]
            case Reseal():
                plan += ["seal", places[write.key], document_seals[write.key]]
            case Delete():
                plan += ["delete", places[write.key]]
            case AddToIndex():
                plan += ["index", places[write.key], repr(write.score), write.member]
            case DropFromIndex():
                plan += ["drop", places[write.key], write.member]
    return plan
