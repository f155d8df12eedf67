"""The one way anything is written: compared, written and audited in a single step of the server's.

A document is kept as a Redis hash of two fields: ``v``, its version, and ``d``, its JSON. Each write adds one to the
version; version 0 means that there is nothing.
"""

from __future__ import annotations

import hashlib
import json
import math
import random
import secrets
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.store import names
from accord_service.store.audit import ChainHead, SealedEntry, UnsealedEntry, seal
from accord_service.store.connection import Connection
from accord_service.store.errors import Conflict, StoreAway, StoreBroken

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


Write = Put | Delete | AddToIndex | DropFromIndex


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


def read_versioned(fields: Sequence[bytes | None]) -> Versioned | None:
    """From the answer to ``HMGET key v d``; None where there is nothing."""
    version, text = fields
    if version is None or text is None:
        return None
    try:
        return Versioned(int(version), json.loads(text))
    except ValueError as error:
        raise StoreBroken(f"a stored document can't be read: {error}") from None


class Committer:
    """Writes and reads documents. One for a process, shared by its threads.

    ``clock`` gives seconds since 1970 (UTC).
    """

    def __init__(self, connection: Connection, clock: Callable[[], float] = time.time) -> None:
        self._connection = connection
        self.clock = clock
        # Threads of one process would only push each other off the chain's head. And when the store is away, the
        # breaker is open by the time the first of them gives up the lock, so the others fail at once.
        self._lock = threading.Lock()
        self._head = ChainHead()
        self._name = secrets.token_hex(8)

    def get(self, key: str) -> Versioned | None:
        """One document with its version; None where there is none. Raises StoreAway, StoreBroken."""
        return read_versioned(self._connection.ask("HMGET", key, "v", "d"))

    def get_all(self, keys: Sequence[str]) -> list[Versioned | None]:
        """One answer for each key, all asked together."""
        return [read_versioned(fields) for fields in self._connection.ask_all([("HMGET", k, "v", "d") for k in keys])]

    def apply(self, change: Transaction, audit: UnsealedEntry) -> SealedEntry:
        """``commit`` for a Transaction."""
        return self.commit(change.expect, change.writes, audit)

    def commit(self, expect: Mapping[str, int], writes: Sequence[Write], audit: UnsealedEntry) -> SealedEntry:
        """Do all the writes and the audit entry, or nothing.

        ``expect``: key to the version it must have, ABSENT for none. Raises Conflict if one is different, StoreAway
        if the store did not acknowledge: then it was done whole or not at all, and asking again is safe wherever
        something is expected.
        """
        texts = [canonical(write.document) if isinstance(write, Put) else b"" for write in writes]
        written = _digests(writes, texts)
        keys = (names.AUDIT, names.AUDIT_HEAD, names.TURN, *dict.fromkeys((*expect, *(write.key for write in writes))))
        places = {key: str(place) for place, key in enumerate(keys, 1)}
        plan = _plan(places, expect, writes, texts)
        with self._lock:
            for attempt in range(ATTEMPTS):
                entry = seal(audit, written, self._head, self.clock())
                head = ChainHead(entry.seq, entry.hash)
                turn = self._name if attempt >= EAGER else ""
                sealed = (self._head.text(), head.text(), canonical(entry.document()), turn, str(TURN_MS))
                answer = self._connection.commit(_SCRIPT, _SCRIPT_SHA1, keys, (*sealed, *plan))
                if answer[0] == b"done":
                    self._head = head
                    return entry
                if answer[0] == b"conflict":
                    key = keys[int(answer[1]) - 1]
                    raise Conflict(key, expect[key], int(answer[2]))
                self._head = ChainHead.read(answer[1])
                if attempt > EAGER:
                    time.sleep(random.uniform(0, JITTER_S))
        raise StoreAway(f"others wrote first {ATTEMPTS} times")


def _digests(writes: Sequence[Write], texts: Sequence[bytes]) -> dict[str, str | None]:
    """What the audit says was written: the SHA-256 of each document; None for one taken away. Indexes follow."""
    digests: dict[str, str | None] = {}
    for write, text in zip(writes, texts, strict=True):
        if isinstance(write, Put):
            digests[write.key] = hashlib.sha256(text).hexdigest()
        elif isinstance(write, Delete):
            digests[write.key] = None
    return digests


def _plan(
    places: Mapping[str, str], expect: Mapping[str, int], writes: Sequence[Write], texts: Sequence[bytes]
) -> list[str | bytes]:
    """The script's arguments behind the first five; see commit.lua."""
    plan: list[str | bytes] = [str(len(expect))]
    for key, version in expect.items():
        plan += [places[key], str(version)]
    plan.append(str(len(writes)))
    for write, text in zip(writes, texts, strict=True):
        match write:
            case Put():
                plan += ["put", places[write.key], text, str(write.expires_s or 0)]
            case Delete():
                plan += ["delete", places[write.key]]
            case AddToIndex():
                plan += ["index", places[write.key], repr(write.score), write.member]
            case DropFromIndex():
                plan += ["drop", places[write.key], write.member]
    return plan
