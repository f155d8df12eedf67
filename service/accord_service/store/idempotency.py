"""Remembered answers: the same write asked for twice is done once, and answered twice the same."""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.audit import AuditEntry
from accord_service.store.commit import ABSENT, Committer, Put, Transaction
from accord_service.store.errors import KeyReused

LIVES_S = 24 * 3600


@dataclass(frozen=True, slots=True)
class Remembered:
    """``response`` as the caller gave it: plain JSON."""

    request_digest: str
    response: Any


class Idempotency:
    def __init__(self, committer: Committer) -> None:
        self._committer = committer

    def recall(self, shop: str, key: str, request_digest: str) -> Remembered | None:
        """What was answered to this request; None if it is new. Raises KeyReused if the key was another request's."""
        kept = self._committer.get(_key(shop, key))
        if kept is None:
            return None
        remembered = Remembered(**kept.document)
        if not hmac.compare_digest(remembered.request_digest.encode(), request_digest.encode()):
            raise KeyReused("this Idempotency-Key came with another request before")
        return remembered

    def remembering(self, shop: str, key: str, request_digest: str, response: Any) -> Transaction:
        """The answer, to be written in the same commit as what it answers for.

        Should the same request be under way twice, that commit raises a Conflict for the second: recall again then.
        """
        document = {"request_digest": request_digest, "response": response}
        return Transaction({_key(shop, key): ABSENT}, (Put(_key(shop, key), document, LIVES_S),))

    def remember(self, shop: str, key: str, request_digest: str, response: Any, *, who: str) -> None:
        """The answer alone. Raises Conflict if there is one already."""
        change = self.remembering(shop, key, request_digest, response)
        self._committer.apply(change, AuditEntry(who, "answer.remember", shop))


def _key(shop: str, key: str) -> str:
    """The key is whatever a client made up, so its sum stands for it."""
    return names.name("answer", shop, hashlib.sha256(key.encode("utf-8", "surrogateescape")).hexdigest())
