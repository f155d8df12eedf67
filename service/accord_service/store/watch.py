"""How workers notice a new head: a small question each half second at most; the last answer while the store is away."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from accord_service.store import names
from accord_service.store.commit import read_versioned
from accord_service.store.connection import Connection
from accord_service.store.errors import NotThere, StoreError
from accord_service.store.revisions import RevisionHead, read_head
from accord_service.store.seals import Seals

CACHED_S = 0.5
# From what was seen longer ago nobody answers while the store is being asked; well under the two seconds promised.
FRESH_S = 1.0


@dataclass(frozen=True, slots=True)
class Watched:
    """What was last seen. ``directory`` grows with every change to shops, house rules or keys.

    ``age_s`` is how long ago it was seen; ``live`` is False while the store can't be asked, and ``why`` then says why.
    """

    head: RevisionHead
    directory: int
    age_s: float
    live: bool
    why: str = ""


class HeadWatch:
    """Shared by a process's threads. Asks again after ``cached_s``, in the request that comes next.

    One thread asks; the others go on with what was seen a moment ago. Where nobody asked for a while they wait for it:
    a worker that was idle must not answer from a head that was replaced long since. While the store is away the
    connection's breaker answers at once, but for one call a second that waits for the connection's timeout.
    """

    def __init__(
        self,
        connection: Connection,
        cached_s: float = CACHED_S,
        monotonic: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        seals: Seals | None = None,
    ) -> None:
        self._connection = connection
        self._seals = Seals.of_environment() if seals is None else seals
        self._cached_s = cached_s
        self._monotonic = monotonic
        self._sleep = sleep
        self._asking = threading.Lock()
        self._seen: tuple[RevisionHead, int] | None = None
        self._seen_s = 0.0
        self._asked_s = 0.0
        self._why = ""

    def current(self) -> Watched:
        """The head as of at most ``cached_s`` ago, or the last one seen while the store is away.

        Raises StoreAway or StoreBroken only if there never was an answer, NotThere while the store has no revision.
        """
        if self._seen is None:
            with self._asking:
                if self._seen is None:
                    self._ask()
        elif self._monotonic() - self._asked_s >= self._cached_s and self._asking.acquire(blocking=False):
            try:
                self._ask_again()
            finally:
                self._asking.release()
        elif self._stale():
            with self._asking:  # for as long as the connection's timeout at most
                # Whoever was asked before this caller came, and took so long, may not have heard of the last moment.
                if self._stale():
                    self._ask_again()
        return self._watched()

    def settle(self) -> None:
        """Return once nobody, on any worker that reaches the store, answers from what was there before this call.

        Whoever writes what the next question must be judged by waits for it: what was seen longer ago than ``FRESH_S``
        is not answered from, so that asking the store in every request of every worker would tell no more.
        """
        self._sleep(FRESH_S)

    def _stale(self) -> bool:
        return self._monotonic() - self._seen_s >= FRESH_S and not self._why

    def _ask_again(self) -> None:
        try:
            self._ask()
        except StoreError as error:
            self._why = str(error)

    def _watched(self) -> Watched:
        seen, why = self._seen, self._why
        assert seen is not None
        return Watched(*seen, self._monotonic() - self._seen_s, not why, why)

    def _ask(self) -> None:
        self._asked_s = self._monotonic()
        head, directory = self._connection.ask_primary(
            (("HMGET", names.HEAD, "v", "d", "m"), ("HMGET", names.DIRECTORY, "v", "d", "m"))
        )
        seen = read_head(read_versioned(names.HEAD, head, self._seals))
        if seen is None:
            raise NotThere("the store has no revision yet")
        versioned = read_versioned(names.DIRECTORY, directory, self._seals)
        self._seen, self._seen_s, self._why = (seen, versioned.version if versioned else 0), self._asked_s, ""
