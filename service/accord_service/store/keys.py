"""Keys: who may ask, as what. A token is ``<key id>.<secret>``; only the secret's SHA-256 is kept.

A plain fast hash is right here, unlike for passwords: the secret is 32 random bytes, so there is nothing to guess that
a slow hash would make slower, and every request pays for the hash.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_service.store import names
from accord_service.store.audit import AuditEntry
from accord_service.store.commit import ABSENT, AddToIndex, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.connection import Connection
from accord_service.store.errors import Conflict, NotThere
from accord_service.store.shops import DIRECTORY_MOVES

SECRET_BYTES = 32
ISSUED = 1  # the version of a key that nothing was done to
TOKEN = re.compile(r"([a-z2-7]{16})\.([A-Za-z0-9_-]{43})")


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyRecord:
    """One key. ``last_four`` of the token, to tell keys apart; times in seconds since 1970 (UTC)."""

    id: str
    version: int
    shop: str
    role: str
    sha256: str
    last_four: str
    issued_at: float
    revoked_at: float | None

    def kept(self) -> dict[str, Any]:
        return {
            "shop": self.shop,
            "role": self.role,
            "sha256": self.sha256,
            "last_four": self.last_four,
            "issued_at": self.issued_at,
            "revoked_at": self.revoked_at,
        }


@dataclass(frozen=True, slots=True)
class IssuedKey:
    """A key and its token, which is not kept anywhere: show it once."""

    record: KeyRecord
    token: str

    def __repr__(self) -> str:
        return f"IssuedKey({self.record.id})"


class KeyRing:
    """Keys held in memory, to look tokens up without asking the store."""

    def __init__(self, records: Iterable[KeyRecord]) -> None:
        self._records = MappingProxyType({each.id: each for each in records})

    def by_token(self, token: str) -> KeyRecord | None:
        """The key of a token; None if it is unknown or revoked."""
        parts = TOKEN.fullmatch(token)
        return None if parts is None else _matching(self._records.get(parts[1]), parts[2])


class Keys:
    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def issue(
        self, shop: str, role: str, *, who: str, also: Callable[[KeyRecord], Transaction] = nothing_else
    ) -> IssuedKey:
        """A new key. The shop need not be there yet: the first admin's is made before any shop."""
        id_ = base64.b32encode(secrets.token_bytes(10)).decode().lower()
        secret = secrets.token_urlsafe(SECRET_BYTES)
        record = KeyRecord(
            id=id_,
            version=ISSUED,
            shop=shop,
            role=role,
            sha256=_sum(secret),
            last_four=secret[-4:],
            issued_at=self._committer.clock(),
            revoked_at=None,
        )
        own = Transaction(
            {_key(id_): ABSENT},
            (Put(_key(id_), record.kept()), AddToIndex(names.KEYS, id_, record.issued_at), DIRECTORY_MOVES),
        )
        self._committer.apply(own + also(record), AuditEntry(who, "key.issue", id_))
        return IssuedKey(record, f"{id_}.{secret}")

    def by_token(self, token: str) -> KeyRecord | None:
        """The key of a token; None if it is unknown or revoked."""
        parts = TOKEN.fullmatch(token)
        return None if parts is None else _matching(self.get(parts[1]), parts[2])

    def get(self, id_: str) -> KeyRecord | None:
        return _record(id_, self._committer.get(_key(id_)))

    def list(self, shop: str | None = None) -> tuple[KeyRecord, ...]:
        """Every key, oldest first, revoked ones too; or one shop's."""
        ids = [each.decode() for each in self._connection.ask("ZRANGE", names.KEYS, 0, -1)]
        kept = self._committer.get_all([_key(each) for each in ids])
        records = (_record(id_, each) for id_, each in zip(ids, kept, strict=True))
        return tuple(each for each in records if each is not None and shop in (None, each.shop))

    def get_all(self, ids: Iterable[str]) -> dict[str, KeyRecord]:
        """The keys of these ids that there are, asked for together."""
        ids = tuple(dict.fromkeys(ids))
        kept = self._committer.get_all([_key(each) for each in ids])
        records = (_record(id_, each) for id_, each in zip(ids, kept, strict=True))
        return {each.id: each for each in records if each is not None}

    def holding(self, ids: Iterable[str]) -> Transaction:
        """For another commit: it is done only if none of these keys was revoked before. Raises Conflict if one is."""
        ids = tuple(ids)
        records = self.get_all(ids)
        for id_ in ids:
            record = records.get(id_)
            if record is None or record.revoked_at is not None:
                raise Conflict(_key(id_), ISSUED, ABSENT if record is None else record.version)
        return Transaction({_key(each.id): each.version for each in records.values()})

    def revoke(self, id_: str, *, who: str) -> KeyRecord:
        """Make a key worthless, for good. Raises NotThere for an unknown one; a revoked one stays as it is."""
        old = self.get(id_)
        if old is None:
            raise NotThere(f"there is no key {id_!r}")
        if old.revoked_at is not None:
            return old
        now = self._committer.clock()
        record = KeyRecord(
            id=id_,
            version=old.version + 1,
            shop=old.shop,
            role=old.role,
            sha256=old.sha256,
            last_four=old.last_four,
            issued_at=old.issued_at,
            revoked_at=now,
        )
        change = Transaction({_key(id_): old.version}, (Put(_key(id_), record.kept()), DIRECTORY_MOVES))
        self._committer.apply(change, AuditEntry(who, "key.revoke", id_))
        return record


def _matching(record: KeyRecord | None, secret: str) -> KeyRecord | None:
    known = record.sha256 if record is not None else "0" * 64
    same = hmac.compare_digest(known.encode(), _sum(secret).encode())
    return record if same and record is not None and record.revoked_at is None else None


def _sum(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _key(id_: str) -> str:
    return names.name("key", id_)


def _record(id_: str, kept: Versioned | None) -> KeyRecord | None:
    return None if kept is None else KeyRecord(id=id_, version=kept.version, **kept.document)
