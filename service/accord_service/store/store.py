"""The store as the service sees it: one door to everything that is kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from accord_service.store import names
from accord_service.store.adoption import Adoption
from accord_service.store.audit import AuditLog
from accord_service.store.check import Account, Check
from accord_service.store.commit import Committer
from accord_service.store.connection import KEYLESS, TIMEOUT_S, Connection
from accord_service.store.effects import EffectStore
from accord_service.store.idempotency import Idempotency
from accord_service.store.keys import KeyStore
from accord_service.store.outcomes import OutcomeStore
from accord_service.store.proposals import ProposalStore
from accord_service.store.rates import RateStore
from accord_service.store.readings import ReadingStore
from accord_service.store.records import RecordStore
from accord_service.store.revisions import RevisionStore
from accord_service.store.seals import ChainHead, Seals
from accord_service.store.sessions import SessionStore
from accord_service.store.shops import ShopStore
from accord_service.store.watch import HeadWatch

TRIAL_S = 60
PATIENT_S = 5.0  # for what nobody waits for, and must not fail at the first slow answer


@dataclass(frozen=True, slots=True)
class OtherKey:
    """A seal key that somebody connected to the store writes with; its id is empty where an older version did not say.
    ``addresses``: of the connections, as the store knows them."""

    key_id: str
    addresses: tuple[str, ...]


class Store:
    """Made once a process, after any fork; its threads share it. ``clock`` gives seconds since 1970 (UTC); ``seals``
    are the keys that what is read and written is sealed with, those of ACCORD_SEAL_KEY_FILE if left out; ``patient``
    the connection for checks.

    Every method of every part raises StoreAway or StoreBroken when the store fails, and nothing of the library's.
    """

    def __init__(
        self,
        connection: Connection,
        clock: Callable[[], float] = time.time,
        seals: Seals | None = None,
        patient: Connection | None = None,
    ) -> None:
        self._connection = connection
        self._patient = patient or connection
        committer = Committer(connection, clock, seals)
        self._clock = clock
        self.seals = committer.seals
        self.newest = committer.newest
        self.audit = AuditLog(connection)
        self.adoption = Adoption(committer, self._patient)
        self.revisions = RevisionStore(committer)
        self.proposals = ProposalStore(committer, connection)
        self.effects = EffectStore(committer, connection)
        self.shops = ShopStore(committer, connection)
        self.readings = ReadingStore(committer)
        self.keys = KeyStore(committer, connection)
        self.records = RecordStore(committer, connection)
        self.outcomes = OutcomeStore(committer, connection)
        self.idempotency = Idempotency(committer, connection)
        self.rates = RateStore(connection)
        self.sessions = SessionStore(connection, committer.seals, clock)
        self.watch = HeadWatch(connection, seals=committer.seals)

    @classmethod
    def at(
        cls,
        url: str,
        *,
        timeout_s: float = TIMEOUT_S,
        clock: Callable[[], float] = time.time,
        seals: Seals | None = None,
    ) -> Store:
        """The store at an address: ``redis://``, ``rediss://``, ``unix://`` or ``redis+sentinel://``.

        Connects at the first call. Raises StoreBroken for an address that can't be used.
        """
        seals = Seals.of_environment() if seals is None else seals
        key_id = seals.key_id or KEYLESS
        patient = Connection.to(url, max(timeout_s, PATIENT_S), key_id)
        return cls(Connection.to(url, timeout_s, key_id), clock, seals, patient)

    def others(self) -> tuple[OtherKey, ...]:
        """Who else is connected to this store that writes with another seal key. Raises StoreAway, StoreBroken."""
        addresses: dict[str, set[str]] = {}
        for key_id, address in self._connection.clients():
            if key_id not in (KEYLESS, self.seals.key_id):
                addresses.setdefault(key_id, set()).add(address)
        return tuple(OtherKey(key_id, tuple(sorted(addresses[key_id]))) for key_id in sorted(addresses))

    def check(self, anchors: Sequence[ChainHead] = ()) -> Account:
        """Whether all that is kept is what the audit says, and the audit what services with our key wrote; with
        ``anchors``, whether these are still in the chain. The whole chain and the whole store are read."""
        check = self.checking(anchors=anchors)
        try:
            return check.again()
        finally:
            check.close()

    def checking(
        self,
        *,
        kinds: Collection[str] | None = None,
        anchors: Sequence[ChainHead] = (),
        pause: Callable[[], None] = lambda: None,
    ) -> Check:
        """A check to be taken up again and again, for whom it is made; to be closed."""
        return Check(self._patient, self.seals, kinds=kinds, anchors=anchors, clock=self._clock, pause=pause)

    def ping(self) -> None:
        """Returns if the store answers. Raises StoreAway or StoreBroken."""
        self._connection.ask("PING")

    def try_to_write(self) -> None:
        """Returns if the store takes writes, and its audit may be written on: it is given a word that ends by itself,
        in no audit.

        Raises WriteRefused where its memory or disk is full or it is a replica; StoreBroken where the audit does not
        end as a service with our key left it, or lacks what this process knows of (SetBack), and StoreAway.
        """
        self.newest.check()
        self._connection.ask("SET", names.TRIAL, "1", "EX", TRIAL_S)

    def confirm(self) -> None:
        """Returns once what was written until now can be acknowledged, whoever wrote it. Raises StoreAway, StoreBroken.

        It takes time only where the store's address asks for replicas.
        """
        self._connection.confirm()

    def close(self) -> None:
        """Let go of every socket."""
        self._connection.close()
        self._patient.close()
