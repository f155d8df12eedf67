"""The store as the service sees it: one door to everything that is kept."""

from __future__ import annotations

import time
from collections.abc import Callable

from accord_service.store import names
from accord_service.store.audit import AuditLog
from accord_service.store.commit import Committer
from accord_service.store.connection import TIMEOUT_S, Connection
from accord_service.store.idempotency import Idempotency
from accord_service.store.keys import KeyStore
from accord_service.store.outcomes import OutcomeStore
from accord_service.store.proposals import ProposalStore
from accord_service.store.rates import RateStore
from accord_service.store.readings import ReadingStore
from accord_service.store.records import RecordStore
from accord_service.store.revisions import RevisionStore
from accord_service.store.shops import ShopStore
from accord_service.store.watch import HeadWatch

TRIAL_S = 60


class Store:
    """Made once a process, after any fork; its threads share it. ``clock`` gives seconds since 1970 (UTC).

    Every method of every part raises StoreAway or StoreBroken when the store fails, and nothing of the library's.
    """

    def __init__(self, connection: Connection, clock: Callable[[], float] = time.time) -> None:
        self._connection = connection
        committer = Committer(connection, clock)
        self.audit = AuditLog(connection)
        self.revisions = RevisionStore(committer)
        self.proposals = ProposalStore(committer, connection)
        self.shops = ShopStore(committer, connection)
        self.readings = ReadingStore(committer)
        self.keys = KeyStore(committer, connection)
        self.records = RecordStore(committer, connection)
        self.outcomes = OutcomeStore(committer, connection)
        self.idempotency = Idempotency(committer, connection)
        self.rates = RateStore(connection)
        self.watch = HeadWatch(connection)

    @classmethod
    def at(cls, url: str, *, timeout_s: float = TIMEOUT_S, clock: Callable[[], float] = time.time) -> Store:
        """The store at an address: ``redis://``, ``rediss://``, ``unix://`` or ``redis+sentinel://``.

        Connects at the first call. Raises StoreBroken for an address that can't be used.
        """
        return cls(Connection.to(url, timeout_s), clock)

    def ping(self) -> None:
        """Returns if the store answers. Raises StoreAway or StoreBroken."""
        self._connection.ask("PING")

    def try_to_write(self) -> None:
        """Returns if the store takes writes: it is given a word that ends by itself, in no audit.

        Raises WriteRefused where its memory or disk is full or it is a replica; StoreAway or StoreBroken.
        """
        self._connection.ask("SET", names.TRIAL, "1", "EX", TRIAL_S)

    def close(self) -> None:
        """Let go of every socket."""
        self._connection.close()
