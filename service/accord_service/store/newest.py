"""The newest head of the chain that this process knows to have been there, and whether the chain still goes on from it.

Whoever has the store can put all of it back to what it was a moment ago, chain, head and documents, and it is whole.
A promotion of a replica that lacked writes comes to the same. But a process that wrote, or looked, knows better: the
entry it knew is gone. Then nothing is written on top by it until what was there is back, or an operator says by an
adoption (``accord audit adopt``) that what is there now is to hold.

Where the store's address asks for replicas, only what they have counts as known: an entry that they did not have was
acknowledged to nobody, and a promotion may lose it.
"""

from __future__ import annotations

import hashlib
import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files

from accord_rules.documents.counted import counted
from accord_service.store import names
from accord_service.store.audit import SealedEntry, broken_at, read_entry_or_none
from accord_service.store.connection import WITNESS_MS, Connection
from accord_service.store.errors import SetBack, StoreBroken
from accord_service.store.seals import SEAL_FAULTS, ChainHead, Seals

logger = logging.getLogger(__name__)
_SCRIPT = files("accord_service.store").joinpath("newest.lua").read_text(encoding="utf-8")
_SCRIPT_SHA1 = hashlib.sha1(_SCRIPT.encode(), usedforsecurity=False).hexdigest()  # the server's own name for it
_PAGE = 100
_UNTIL = (
    "Nothing is written until that is back, or somebody looks and takes what is there: accord audit check, then accord"
    " audit adopt"
)
LOOK = "nothing is written until somebody looks: accord audit check"


@dataclass(frozen=True, slots=True)
class Loss:
    """``known``: the head that is gone; ``found``: the one that was there instead when that was noticed, at ``since_s``
    (seconds since 1970, UTC)."""

    known: ChainHead
    found: ChainHead
    since_s: float

    @property
    def entries(self) -> int:
        """How many entries are gone for sure; others may have been written in their place."""
        return max(1, self.known.seq - self.found.seq)

    @property
    def sentence(self) -> str:
        """For people."""
        was = f"entry {self.known.seq} of {self.known.written_at}"
        if not self.found.seq:
            gone = f"the audit is gone, which had {was}"
        elif self.found.seq < self.known.seq:
            gone = f"the audit ends with entry {self.found.seq}, and had {was}"
        else:
            gone = f"the audit had another {was}"
        return f"the store was set back: {gone}. {_UNTIL}"


class NewestHead:
    """One process's. ``head``: the newest head known; ``loss``: that it is gone, and None while it is not."""

    def __init__(self, connection: Connection, seals: Seals, clock: Callable[[], float] = time.time) -> None:
        self._connection = connection
        self._seals = seals
        self._clock = clock
        self._lock = threading.Lock()
        self._searched = ChainHead()
        self.head = ChainHead()
        self.loss: Loss | None = None

    def take(self, head: ChainHead) -> None:
        """What was written on top of all that was known, and acknowledged."""
        with self._lock:
            if head.seq > self.head.seq:
                self.head = head

    def remember(self, anchor: ChainHead) -> None:
        """What was known before this process began, if it is sealed by a key of ours."""
        if not self._seals.fault_of(anchor):
            self.take(anchor)

    def start_from(self, head: ChainHead) -> None:
        """Know this head and no other any more: somebody adopted what leads to it."""
        with self._lock:
            if self.loss is not None:
                logger.warning("what is in the store was adopted; it is written to again")
            self.head, self.loss = head, None

    def check(self) -> ChainHead:
        """The chain's head, where it may be written on. Raises SetBack, StoreBroken where it may not, StoreAway."""
        return self._checked(0)

    def look(self) -> ChainHead:
        """The same, and it is known from now on."""
        head = self._checked(0)
        if head.seq > self.head.seq:
            if self._connection.wants_replicas:
                head = self._checked(WITNESS_MS)
            self.take(head)
        return head

    def _checked(self, witness_ms: int) -> ChainHead:
        known = self.head
        # A primary that was frozen while another was promoted lacks what is known, and is no store set back.
        run = self._connection.commit if witness_ms else self._connection.run_at_primary
        keys = (names.AUDIT, names.AUDIT_HEAD, names.WITNESS)
        text, length, ends, goes_on = run(
            _SCRIPT, _SCRIPT_SHA1, keys, (str(known.seq), in_entry(known), str(witness_ms))
        )
        head = ChainHead.read(text)
        if known.seq and (not goes_on or head.seq < known.seq):
            self._gone(known, head)
        elif self.loss is not None:
            logger.warning("what was missing in the store is back; it is written to again")
            self.loss = None
        fault = self._seals.fault_of(head)
        if fault:
            raise StoreBroken(f"{SEAL_FAULTS[fault]}; {LOOK}")
        if not ends:
            raise StoreBroken(cut_short(length, head))
        return head

    def _gone(self, known: ChainHead, head: ChainHead) -> None:
        """Raises SetBack, unless what is there instead was adopted."""
        if self.adopted_since(known, head):
            self.start_from(head)
            return
        with self._lock:
            if self.loss is None or not self.loss.known.same_place(known):
                self.loss = Loss(known, head, self._clock())
                details = {"known": known.text(), "found": head.text()}
                logger.error("%s", self.loss.sentence, extra={"details": details})
            raise SetBack(self.loss.sentence)

    def adopted_since(self, known: ChainHead, head: ChainHead) -> bool:
        """Whether the chain that ends with ``head`` has an adoption that began after ``known`` was written. An older
        one, put back, is none."""
        if self._seals.fault_of(head) or head.same_place(self._searched):
            return False
        entries: list[SealedEntry | None] = []
        end = head.seq
        while end:
            begin = max(0, end - _PAGE)
            page = [read_entry_or_none(text) for text in self._connection.ask("LRANGE", names.AUDIT, begin, end - 1)]
            entries = [*page, *entries]
            if all(entry is None or entry.written_at <= known.written_at for entry in page):
                break
            end = begin
        for place, entry in enumerate(entries):
            if entry is not None and entry.adopts and entry.written_at > known.written_at:
                return broken_at(entries[place:], head, ChainHead(entry.seq - 1, entry.previous)) is None
        self._searched = head
        return False


def cut_short(length: int, head: ChainHead) -> str:
    """That so many entries are not those that the head is of, in a sentence."""
    entries = counted(length, "entry", "entries")
    return f"the audit has {entries} and does not end as its head says, with entry {head.seq}; {LOOK}"


def in_entry(head: ChainHead) -> str:
    """What stands in the entry that a head is of, as the chain holds it; empty for the empty chain's."""
    return f'"hash":"{head.hash}"' if head.seq else ""
