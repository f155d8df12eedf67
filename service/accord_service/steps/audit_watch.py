"""Whether what answers hang on every day is still what the audit says: looked at behind the answers.

Once a minute all of it, and sooner where something was wrong and the chain went on since: keys, shops, house rules and
the head of the book are few, so a worker can hold all of them against the chain, which it reads once and then follows.
What else there is in the store ``accord audit check`` reads.
Every two seconds the chain's head alone: whether it goes on from the newest that this worker knows (``store.newest``).
That one is kept as a line in the data folder, for whoever starts next, and once a minute in the log, which is often
kept on another machine.
"""

from __future__ import annotations

import logging
import os
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from accord_service.store import Account, ChainHead, Check, Store, StoreBroken, StoreError

logger = logging.getLogger(__name__)
EVERY_S = 60.0
HEAD_EVERY_S = 2.0
PAUSE_S = 0.005  # between pages, for the threads that answer
KINDS = ("key", "shop", "house", "head", "directory")
WENT_BACK = "went-back"  # as a check calls it; but what this worker knows of it does not pass with the next look


@dataclass(frozen=True, slots=True)
class Unfaithful:
    """The store is not what the audit says: since when that is known (seconds since 1970, UTC), and by which faults.

    ``lost``: what is known to be gone, as a sentence; empty where nothing is."""

    since_s: float
    codes: tuple[str, ...]
    lost: str = ""

    @property
    def detail(self) -> str:
        """For people, without names: whoever can reach the service may read it."""
        found = f"{', '.join(self.codes)}: accord audit check says where"
        return f"{found}; {self.lost}" if self.lost else found


class AuditWatch:
    """One worker's. ``anchor``: a file that keeps the last line of the audit's head, so that a store which was set back
    while no service ran is noticed too. While the store is away what was known stays."""

    def __init__(self, store: Store, anchor: Path, clock: Callable[[], float] = time.time) -> None:
        self._store = store
        self._anchor = anchor
        self._clock = clock
        self._due_s, self._all_due_s = 0.0, 0.0  # by time.monotonic
        self._lock = threading.Lock()
        self._looking: threading.Thread | None = None
        self._check: Check | None = None
        self._logged = ChainHead()
        self._closing = threading.Event()
        self._found: Unfaithful | None = None
        self._found_at = ChainHead()  # where the chain ended when that was found
        kept = ChainHead.kept_in(anchor)
        store.newest.remember(kept)
        # One that no key of ours sealed is told by each check, until what it is of was adopted.
        self._strange = kept if store.seals.fault_of(kept) else None

    @property
    def unfaithful(self) -> Unfaithful | None:
        """What is wrong as of now; None while nothing is."""
        found, loss = self._found, self._store.newest.loss
        if loss is None:
            return found
        if found is None:
            return Unfaithful(loss.since_s, (WENT_BACK,), loss.sentence)
        return Unfaithful(min(found.since_s, loss.since_s), tuple(sorted({*found.codes, WENT_BACK})), loss.sentence)

    def now_and_then(self) -> None:
        """Whoever comes first after ``HEAD_EVERY_S`` has it looked at; nobody waits for that."""
        if time.monotonic() < self._due_s:
            return
        with self._lock:
            if time.monotonic() < self._due_s or self._closing.is_set():
                return
            self._due_s = time.monotonic() + min(HEAD_EVERY_S, EVERY_S)
            if self._looking is None or not self._looking.is_alive():
                # A daemon: a worker that is told to end does not wait for a long chain to be read.
                self._looking = threading.Thread(target=self._look, name="audit-watch", daemon=True)
                self._looking.start()

    def close(self) -> None:
        """Wait for what is being looked at, which ends soon."""
        with self._lock:
            self._closing.set()
        if self._looking is not None:
            self._looking.join()
        if self._check is not None:
            self._check.close()

    def _look(self) -> None:
        try:
            self.look_at_head()
            if time.monotonic() >= self._all_due_s or self._went_on_since_found():
                self._all_due_s = time.monotonic() + EVERY_S
                self.look()
        except StoreError as error:
            logger.debug("the audit could not be looked at: %s", error)
        except _Closing:
            return
        except Exception:  # nobody looks at what became of this thread's work
            logger.exception("looking at the audit failed")

    def _went_on_since_found(self) -> bool:
        """Whether something was written since a fault was found, which may be what mends it: an adoption seals page by
        page, and a look that falls between two of them finds what is not sealed yet."""
        return self._found is not None and not self._store.newest.head.same_place(self._found_at)

    def look_at_head(self) -> None:
        """See whether the chain goes on from what is known, and keep how far it goes. Raises StoreAway.

        What else is wrong with its end a check tells; here it is only not kept.
        """
        try:
            head = self._store.newest.look()
        except StoreBroken as error:
            logger.debug("the audit's head is not kept: %s", error)
            return
        if self._strange is not None and self._store.newest.adopted_since(self._strange, head):
            self._forget_strange()
        if self._strange is None and self._store.newest.head.same_place(head):
            self._keep(head)

    def look(self) -> Account:
        """Look once at everything, and remember what it came to. Raises StoreError."""
        self.look_at_head()
        if self._check is None:
            anchors = () if self._strange is None else (self._strange,)
            self._check = self._store.checking(kinds=KINDS, anchors=anchors, pause=self._pause)
        account = self._check.again()
        codes = {fault.code for fault in account.faults} - {WENT_BACK}
        self._found_at = account.head
        known = self._found
        if not codes:
            self._found = None
            self._log(account.head)
        elif known is None or set(known.codes) != codes:
            since_s = self._clock() if known is None else known.since_s
            self._found = Unfaithful(since_s, tuple(sorted(codes)))
            logger.error("the store is not what the audit says", extra={"details": {"account": account.lines()}})
        return account

    def _forget_strange(self) -> None:
        self._strange = None
        if self._check is not None:
            self._check.close()
            self._check = None

    def _pause(self) -> None:
        if self._closing.wait(PAUSE_S):
            raise _Closing

    def _log(self, head: ChainHead) -> None:
        """A line that can be looked for later, wherever the log is kept: accord audit check --anchor."""
        if head.signature and not head.same_place(self._logged) and self.unfaithful is None:
            logger.info("the audit's head", extra={"details": {"anchor": head.text()}})
            self._logged = head

    def _keep(self, head: ChainHead) -> None:
        """In place of an older line; a worker that looked a moment earlier does not undo another's."""
        kept = ChainHead.kept_in(self._anchor)
        if head.seq <= kept.seq and head.written_at <= kept.written_at:
            return
        try:
            handle, opened = tempfile.mkstemp(dir=self._anchor.parent, prefix=f".{self._anchor.name}-")
            with os.fdopen(handle, "w", encoding="ascii") as out:
                out.write(head.text() + "\n")
            os.replace(opened, self._anchor)
        except OSError as error:
            logger.debug("the audit's anchor can't be kept: %s", error)


class _Closing(Exception):
    """The worker ends."""
