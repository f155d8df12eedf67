"""Whether what answers hang on every day is still what the audit says: looked at behind the answers, once a minute.

Keys, shops, house rules and the head of the book are few, so a worker can hold all of them against the chain, which it
reads once and then follows. What else there is in the store ``accord audit check`` reads.
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

from accord_service.store import Account, ChainHead, Check, Store, StoreError

logger = logging.getLogger(__name__)
EVERY_S = 60.0
PAUSE_S = 0.005  # between pages, for the threads that answer
KINDS = ("key", "shop", "house", "head", "directory")
# Faults that the next look does not see any more: what was lost by then stays lost.
LASTING = ("went-back", "anchor-missing")
ANCHOR = "audit-anchor"


@dataclass(frozen=True, slots=True)
class Unfaithful:
    """The store is not what the audit says: since when that is known (seconds since 1970, UTC), and by which faults."""

    since_s: float
    codes: tuple[str, ...]

    @property
    def detail(self) -> str:
        """For people, without names: whoever can reach the service may read it."""
        return f"{', '.join(self.codes)}: accord audit check says where"


class AuditWatch:
    """One worker's. ``anchor``: a file that keeps the last line of the audit's head, so that a store which was set back
    while no service ran is noticed too. While the store is away what was known stays."""

    def __init__(self, store: Store, anchor: Path, clock: Callable[[], float] = time.time) -> None:
        self._store = store
        self._anchor = anchor
        self._clock = clock
        self._due_s = 0.0  # by time.monotonic
        self._lock = threading.Lock()
        self._looking: threading.Thread | None = None
        self._check: Check | None = None
        self._lasting: frozenset[str] = frozenset()
        self._closing = threading.Event()
        self.unfaithful: Unfaithful | None = None

    def now_and_then(self) -> None:
        """Whoever comes first after ``EVERY_S`` has it looked at; nobody waits for that."""
        if time.monotonic() < self._due_s:
            return
        with self._lock:
            if time.monotonic() < self._due_s or self._closing.is_set():
                return
            self._due_s = time.monotonic() + EVERY_S
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
            self.look()
        except StoreError as error:
            logger.debug("the audit could not be looked at: %s", error)
        except _Closing:
            return
        except Exception:  # nobody looks at what became of this thread's work
            logger.exception("looking at the audit failed")

    def look(self) -> Account:
        """Look once, and remember what it came to. Raises StoreError."""
        if self._check is None:
            self._check = self._store.checking(kinds=KINDS, anchors=self._kept(), pause=self._pause)
        account = self._check.again()
        codes = {fault.code for fault in account.faults} | self._lasting
        self._lasting = frozenset(codes.intersection(LASTING))
        known = self.unfaithful
        if not codes:
            self.unfaithful = None
            self._keep(account.head)
        elif known is None or set(known.codes) != codes:
            since_s = self._clock() if known is None else known.since_s
            self.unfaithful = Unfaithful(since_s, tuple(sorted(codes)))
            logger.error("the store is not what the audit says", extra={"details": {"account": account.lines()}})
        return account

    def _pause(self) -> None:
        if self._closing.wait(PAUSE_S):
            raise _Closing

    def _kept(self) -> tuple[ChainHead, ...]:
        try:
            return (ChainHead.from_line(self._anchor.read_text(encoding="ascii")),)
        except FileNotFoundError:
            return ()
        except (OSError, ValueError) as error:
            logger.warning("the audit's anchor can't be read: %s", error)
            return ()

    def _keep(self, head: ChainHead) -> None:
        if not head.seq:
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
