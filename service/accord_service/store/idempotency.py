"""Remembered answers: the same write asked for twice is done once, and answered twice the same.

A key is one caller's: what another caller sends under the same word is another key.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.commit import ABSENT, Committer, Put, Transaction
from accord_service.store.connection import Connection
from accord_service.store.errors import KeyReused, StillRunning, StoreError

LIVES_S = 24 * 3600
# Who dies in a write, or loses the store, holds the claim no longer than this. A write that takes longer is still done
# once: of two that were under way at once the second to commit gets a Conflict.
CLAIM_S = 10
_GIVE_BACK = "if redis.call('GET', KEYS[1]) == ARGV[1] then return redis.call('DEL', KEYS[1]) end return 0"
_GIVE_BACK_SHA1 = hashlib.sha1(_GIVE_BACK.encode(), usedforsecurity=False).hexdigest()  # the server's own name for it


@dataclass(frozen=True, slots=True)
class RememberedAnswer:
    """``response`` as the caller gave it: plain JSON."""

    request_digest: str
    response: Any


class Idempotency:
    """Claims and remembered answers, by caller and key."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    @contextmanager
    def claimed(self, caller: str, key: str, request_digest: str) -> Iterator[None]:
        """While the block runs, nobody else carries out a write under this key.

        Raises StillRunning if somebody is at it, KeyReused if with another request, StoreAway.
        """
        name = names.name("claim", caller, _sum(key))
        own = f"{request_digest} {secrets.token_hex(8)}"
        if self._connection.ask("SET", name, own, "NX", "EX", CLAIM_S) is None:
            claim = (self._connection.ask("GET", name) or b"").decode().partition(" ")[0]
            if claim and claim != request_digest:
                raise KeyReused("another request is under way with this Idempotency-Key")
            raise StillRunning("the same request is under way with this Idempotency-Key")
        try:
            yield
        finally:
            with suppress(StoreError):  # then it ends by itself
                self._connection.run(_GIVE_BACK, _GIVE_BACK_SHA1, (name,), (own,))

    def recall(self, caller: str, key: str, request_digest: str) -> RememberedAnswer | None:
        """What was answered to this request; None if it is new. Raises KeyReused if the key was another request's."""
        versioned = self._committer.get(_key(caller, key))
        if versioned is None:
            return None
        remembered = RememberedAnswer(**versioned.document)
        if not hmac.compare_digest(remembered.request_digest.encode(), request_digest.encode()):
            raise KeyReused("this Idempotency-Key came with another request before")
        return remembered

    def remembering(self, caller: str, key: str, request_digest: str, response: Any) -> Transaction:
        """The answer, to be written in the same commit as what it answers for.

        Should the same request be under way twice, that commit raises a Conflict for the second: recall again then.
        """
        document = {"request_digest": request_digest, "response": response}
        return Transaction({_key(caller, key): ABSENT}, (Put(_key(caller, key), document, LIVES_S),))


def _key(caller: str, key: str) -> str:
    """The key is whatever a client made up, so its sum stands for it."""
    return names.name("answer", caller, _sum(key))


def _sum(key: str) -> str:
    return hashlib.sha256(key.encode("utf-8", "surrogateescape")).hexdigest()
