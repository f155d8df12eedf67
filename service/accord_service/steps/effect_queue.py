"""Whether effects wait to be worked out, and whether anybody works on them: told to whoever watches the service.

Each process that works on effects says now and then that it does (``presence.py``), whether it has something to do or
not. So that none is there shows before the first effect has waited for hours; and it shows on every service, whichever
machine the processes run on.
"""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from dataclasses import dataclass

from accord_rules.documents.reading import DocumentError
from accord_service.steps.proposals import get
from accord_service.steps.runs import WORKING
from accord_service.store import NotThere, Run, Store, StoreError

LOOKED_AT_S = 5.0
# For so long nobody is told that an effect waits: a service that starts has to load what works on it.
PATIENCE_S = 30.0
LOOKED_AT_MOST = 100


@dataclass(frozen=True, slots=True)
class EffectQueue:
    """``waiting``: effects that were asked for and are not done; ``oldest_s``: since how many seconds the first waits;
    ``processes``: those that said lately that they work on effects."""

    waiting: int = 0
    oldest_s: float = 0.0
    processes: int = 0

    @property
    def stands_still(self) -> str:
        """That nobody works on what waits, in a sentence; empty where somebody does."""
        if not self.waiting or self.processes or self.oldest_s < PATIENCE_S:
            return ""
        wait = "1 effect of a proposal waits" if self.waiting == 1 else f"{self.waiting} effects of proposals wait"
        return (
            f"{wait} to be worked out, since {self.oldest_s:.0f} s, and no process works on effects: start accord work,"
            " or see in the log why those of the services end (ACCORD_JOB_PROCESSES says how many each has)"
        )


class EffectQueueWatch:
    """One worker's: looks at most each ``LOOKED_AT_S``, in the question of whoever watches."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._due_s = 0.0  # by time.monotonic
        self._seen = EffectQueue()

    def current(self) -> EffectQueue:
        """As of a moment ago; while the store is away what was seen last."""
        with self._lock:
            if time.monotonic() >= self._due_s:
                self._due_s = time.monotonic() + LOOKED_AT_S
                with suppress(StoreError):  # that it is away is told by itself
                    self._seen = look(self._store)
            return self._seen


def look(store: Store) -> EffectQueue:
    """How it stands now. Raises StoreError. Runs that have ended, and that nobody took away yet, wait for nobody."""
    now_s, begun, processes = store.effects.queue()
    waiting = [begun_s for run, begun_s in begun[:LOOKED_AT_MOST] if _is_wanted(store, run)]
    # Beyond those the sum is an upper bound: nobody reads a thousand proposals to tell that a thousand wait.
    beyond = max(0, len(begun) - LOOKED_AT_MOST)
    return EffectQueue(len(waiting) + beyond, max(0.0, now_s - min(waiting, default=now_s)), processes)


def _is_wanted(store: Store, run: Run) -> bool:
    try:
        stored = get(store, run.proposal_id)
    except (NotThere, DocumentError):  # what cannot be read nobody can work out
        return False
    return stored.run is not None and stored.run.run_id == run.run_id and stored.run.state == WORKING
