"""What can go wrong with the store, in the service's own words: no library's exception leaves this room."""

from __future__ import annotations


class StoreError(Exception):
    """Any of the below."""


class StoreAway(StoreError):
    """The store can't be asked now: not reachable, frozen, loading, read-only or overloaded. Ask again later.

    After a write it means: not acknowledged. It may or may not have been done, but never half.
    """


class WriteRefused(StoreAway):
    """The store answers but takes no writes now: its memory or disk is full, or it is a replica. Reading goes on."""


class NotReplicated(WriteRefused):
    """The write is on the primary, but on fewer replicas than it must be: a promotion may lose it.

    So it is not acknowledged. Whoever asks again gets it acknowledged once the replicas have it.
    """


class StoreBroken(StoreError):
    """The store can't be used until somebody acts: a wrong address, a wrong password, damaged data."""


class SetBack(StoreBroken):
    """The store lacks what this process knows to have been in it: it was set back, or lost writes in a promotion.

    Nothing is written until that is back, or somebody adopts what is there.
    """


class Altered(StoreBroken):
    """A document that no service with our seal key wrote under this name: put into the store past it, or altered there.

    ``name`` as the audit has it.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(f"{name} is not as a service wrote it: it was altered in the store (accord audit check)")


class AlteredWork(Altered):
    """The same of the work on an effect: it is dropped, and worked out anew."""


class FolderOwned(StoreBroken):
    """Another living process owns the data folder. The message names the folder and the owner's process id."""


class Conflict(StoreError):
    """Something changed since it was read: nothing was written.

    ``key`` is the thing's key in the store; ``expected`` and ``actual`` are versions, 0 where there is nothing.
    """

    def __init__(self, key: str, expected: int, actual: int) -> None:
        self.key, self.expected, self.actual = key, expected, actual
        super().__init__(f"{key} is at version {actual}, not {expected}")


class AllReported(Conflict):
    """A decoration's pieces are all reported: ``actual`` of the ``expected`` that its order has.

    Nothing was written.
    """


class NotThere(StoreError):
    """What was asked to be changed does not exist."""


class StillRunning(StoreError):
    """The same write is being carried out under the same idempotency key."""


class KeyReused(StoreError):
    """An idempotency key came back with another request than the first time."""
