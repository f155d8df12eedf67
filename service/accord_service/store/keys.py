"""Keys: who may ask, as what. Of a token only the SHA-256 of its secret is kept.

A token is ``accord_<word of the key's id>_<secret><checksum>``, one word of letters, digits and underscores, so that a
double click takes all of it. By the prefix a scanner for leaked secrets knows it anywhere, and by the checksum (CRC-32
of all before it) that it is no accident; a mistyped one is refused without asking the store.

A plain fast hash is right here, unlike for passwords: the secret is 32 random bytes, so there is nothing to guess that
a slow hash would make slower, and every request pays for the hash.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets
import string
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, AddToIndex, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.connection import Connection
from accord_service.store.errors import Conflict, NotThere
from accord_service.store.shops import DIRECTORY_MOVES

SECRET_BYTES = 32
ISSUED = 1  # the version of a key that nothing was done to
TOKEN = re.compile(r"(accord_([a-z2-7]{16})_([0-9A-Za-z]{43}))([0-9A-Za-z]{6})")
USED_EVERY_S = 3600.0  # a use is noted no more often than this
KEY_ID = re.compile(r"key_[a-z2-7]{16}")
CONFIRMED_ROLES = ("steward", "admin")  # of whom one admin alone makes nobody
_BASE62 = string.digits + string.ascii_uppercase + string.ascii_lowercase


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyRecord:
    """One key. ``last_four`` of the token, to tell keys apart; times in seconds since 1970 (UTC).

    ``holder`` says whose it is; None where it was issued before keys named one, which is nobody that could be told from
    anybody else. ``issued_by`` is the id of a key or the part of the program that issued it, ``confirmed_by`` the id of
    the second admin's key where a key alone must not issue. One that expired, or waits for that, is still found by its
    token: whoever has a clock looks at ``expires_at``, and whoever lets in at ``waits``. ``origins``: those of
    the pages that a storefront's key stands in.
    """

    id: str
    version: int
    shop: str
    role: str
    sha256: str
    last_four: str
    issued_at: float
    issued_by: str
    holder: str | None = None
    expires_at: float | None = None
    revoked_at: float | None = None
    confirmed_by: str | None = None
    confirmed_at: float | None = None
    origins: tuple[str, ...] = ()

    @property
    def waits(self) -> bool:
        """Whether it waits for a second admin: what one issued for a steward or an admin, whenever that was."""
        return (
            self.role in CONFIRMED_ROLES and self.confirmed_by is None and KEY_ID.fullmatch(self.issued_by) is not None
        )

    @property
    def holds_since(self) -> float:
        """When it began to open anything."""
        return self.issued_at if self.confirmed_at is None else self.confirmed_at

    def fields(self) -> dict[str, Any]:
        """What is stored under the id; the version stands beside it."""
        return {
            "shop": self.shop,
            "role": self.role,
            "sha256": self.sha256,
            "last_four": self.last_four,
            "issued_at": self.issued_at,
            "issued_by": self.issued_by,
            "holder": self.holder,
            "expires_at": self.expires_at,
            "revoked_at": self.revoked_at,
            "confirmed_by": self.confirmed_by,
            "confirmed_at": self.confirmed_at,
            "origins": list(self.origins),
        }


@dataclass(frozen=True, slots=True)
class NewKey:
    """A key and its token, which is not kept anywhere: show it once."""

    record: KeyRecord
    token: str

    def __repr__(self) -> str:
        return f"NewKey({self.record.id})"


class KeyRing:
    """Keys held in memory, to look tokens up without asking the store."""

    def __init__(self, records: Iterable[KeyRecord]) -> None:
        self._records = MappingProxyType({record.id: record for record in records})

    def by_token(self, token: str) -> KeyRecord | None:
        """The key of a token; None if it is unknown or revoked."""
        parts = _parts(token)
        return None if parts is None else _matching(self._records.get(parts[0]), parts[1])

    def by_id(self, id_: str) -> KeyRecord | None:
        """The key of an id; None if it is not known here. It may be revoked."""
        return self._records.get(id_)

    def origins(self) -> frozenset[str]:
        """Those of all keys that are not revoked."""
        held = (record for record in self._records.values() if record.revoked_at is None)
        return frozenset(origin for record in held for origin in record.origins)


class KeyStore:
    """Issues, finds and revokes keys. Of a secret only its digest is stored."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def issue(
        self,
        shop: str,
        role: str,
        *,
        holder: str,
        who: str,
        expires_at: float | None = None,
        origins: Sequence[str] = (),
        also: Callable[[KeyRecord], Transaction] = nothing_else,
    ) -> NewKey:
        """A new key. The shop need not be there yet: the first admin's is made before any shop."""
        word = base64.b32encode(secrets.token_bytes(10)).decode().lower()
        secret = _base62(int.from_bytes(secrets.token_bytes(SECRET_BYTES)), 43)
        token = f"accord_{word}_{secret}"
        token += _checksum(token)
        id_, now = _id(word), self._committer.clock()
        record = KeyRecord(
            id=id_,
            version=ISSUED,
            shop=shop,
            role=role,
            sha256=_sum(secret),
            last_four=token[-4:],
            issued_at=now,
            issued_by=who,
            holder=holder,
            expires_at=expires_at,
            origins=tuple(origins),
        )
        own = Transaction(
            {_key(id_): ABSENT},
            (Put(_key(id_), record.fields()), AddToIndex(names.KEYS, id_, record.issued_at), DIRECTORY_MOVES),
        )
        self._committer.apply(own + also(record), UnsealedEntry(who, Event.KEY_ISSUED, id_))
        return NewKey(record, token)

    def by_token(self, token: str) -> KeyRecord | None:
        """The key of a token; None if it is unknown or revoked."""
        parts = _parts(token)
        return None if parts is None else _matching(self.get(parts[0]), parts[1])

    def get(self, id_: str) -> KeyRecord | None:
        """The key of this id, revoked or not; None where there is none."""
        return _record(id_, self._committer.get(_key(id_)))

    def list(self, shop: str | None = None) -> tuple[KeyRecord, ...]:
        """Every key, oldest first, revoked ones too; or one shop's. Without those that no service issued: what was put
        past it opens nothing, and keeps nobody else out."""
        ids = [member.decode() for member in self._connection.ask("ZRANGE", names.KEYS, 0, -1)]
        documents = self._committer.get_all([_key(id_) for id_ in ids], leave_out_altered=True)
        records = (_record(id_, versioned) for id_, versioned in zip(ids, documents, strict=True))
        return tuple(record for record in records if record is not None and shop in (None, record.shop))

    def get_all(self, ids: Iterable[str]) -> dict[str, KeyRecord]:
        """The keys of these ids that there are, asked for together; without those that no service issued."""
        ids = tuple(dict.fromkeys(ids))
        documents = self._committer.get_all([_key(id_) for id_ in ids], leave_out_altered=True)
        records = (_record(id_, versioned) for id_, versioned in zip(ids, documents, strict=True))
        return {record.id: record for record in records if record is not None}

    def holding(self, ids: Iterable[str]) -> Transaction:
        """For another commit: it is done only if none of these keys was revoked before. Raises Conflict if one is."""
        ids = tuple(ids)
        records = self.get_all(ids)
        for id_ in ids:
            record = records.get(id_)
            if record is None or record.revoked_at is not None:
                raise Conflict(_key(id_), ISSUED, ABSENT if record is None else record.version)
        return Transaction({_key(record.id): record.version for record in records.values()})

    def confirm(self, id_: str, *, who: str, also: Callable[[KeyRecord], Transaction] = nothing_else) -> KeyRecord:
        """Let a key that waits open what its role may. Whether ``who`` is a second admin is the caller's to see to, who
        names in ``also`` what has to hold still. Raises NotThere, and Conflict for one that does not wait."""
        old = self.get(id_)
        if old is None:
            raise NotThere(f"there is no key {id_!r}")
        if not old.waits or old.revoked_at is not None:
            raise Conflict(_key(id_), ISSUED, old.version)
        record = replace(old, version=old.version + 1, confirmed_by=who, confirmed_at=self._committer.clock())
        own = Transaction({_key(id_): old.version}, (Put(_key(id_), record.fields()), DIRECTORY_MOVES))
        self._committer.apply(own + also(record), UnsealedEntry(who, Event.KEY_CONFIRMED, id_))
        return record

    def revoke(self, id_: str, *, who: str) -> KeyRecord:
        """Make a key worthless, for good. Raises NotThere for an unknown one; a revoked one stays as it is."""
        old = self.get(id_)
        if old is None:
            raise NotThere(f"there is no key {id_!r}")
        if old.revoked_at is not None:
            return old
        record = replace(old, version=old.version + 1, revoked_at=self._committer.clock())
        change = Transaction({_key(id_): old.version}, (Put(_key(id_), record.fields()), DIRECTORY_MOVES))
        self._committer.apply(change, UnsealedEntry(who, Event.KEY_REVOKED, id_))
        return record

    def used(self, id_: str, at: float) -> None:
        """Note a key's use, unless one within ``USED_EVERY_S`` before is noted already.

        This goes by the commit and its audit: it is nobody's act, and nothing rests on it but a look at old keys.
        """
        last = self.last_used([id_]).get(id_)
        if last is None or at - last >= USED_EVERY_S:
            self._connection.ask("ZADD", names.KEYS_USED, "GT", repr(at), id_)

    def last_used(self, ids: Sequence[str]) -> dict[str, float]:
        """When keys were used last, to within ``USED_EVERY_S`` (seconds since 1970, UTC), without those never used."""
        scores = self._connection.ask("ZMSCORE", names.KEYS_USED, *ids) if ids else ()
        return {id_: float(score) for id_, score in zip(ids, scores, strict=True) if score is not None}


def _id(word: str) -> str:
    return f"key_{word}"


def _parts(token: str) -> tuple[str, str] | None:
    """A token's key id and secret; None where it was never issued."""
    parts = TOKEN.fullmatch(token)
    return (_id(parts[2]), parts[3]) if parts is not None and _checksum(parts[1]) == parts[4] else None


def _checksum(text: str) -> str:
    return _base62(zlib.crc32(text.encode()), 6)


def _base62(number: int, width: int) -> str:
    digits = []
    for _ in range(width):
        number, digit = divmod(number, 62)
        digits.append(_BASE62[digit])
    return "".join(reversed(digits))


def _matching(record: KeyRecord | None, secret: str) -> KeyRecord | None:
    digest = record.sha256 if record is not None else "0" * 64
    same = hmac.compare_digest(digest.encode(), _sum(secret).encode())
    return record if same and record is not None and record.revoked_at is None else None


def _sum(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _key(id_: str) -> str:
    return names.name("key", id_)


def _record(id_: str, versioned: Versioned | None) -> KeyRecord | None:
    if versioned is None:
        return None
    # Keys that were issued before there were storefronts say nothing of origins.
    document = {**versioned.document, "origins": tuple(versioned.document.get("origins", ()))}
    return KeyRecord(id=id_, version=versioned.version, **document)
