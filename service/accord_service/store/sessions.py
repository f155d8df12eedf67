"""Who is signed in at the pages, for a working day: a key's sessions, listed and ended one by one.

A session is nobody's act, so it is in no chain, and ends by itself; but it opens what its key opens, so each is sealed
as documents are: what was put into the store by anybody but a service is no session. The browser holds the token, the
store only its sum.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable
from dataclasses import dataclass

from accord_service.store import names
from accord_service.store.connection import Connection
from accord_service.store.seals import Seals

SESSION_S = 12 * 3600
# A key that is shared by a whole shop has so many browsers; with one more the oldest is signed out.
SESSIONS_MOST = 50
ABOUT_MOST = 120
_TOKEN_BYTES = 32
_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRecord:
    """One browser that is signed in. ``id`` is the sum of its token, which opens nothing; ``about`` what the browser
    calls itself; times in seconds since 1970 (UTC)."""

    id: str
    key_id: str
    about: str
    begun_at: float
    expires_at: float


class SessionStore:
    """Begins, finds and ends sessions. Every method raises what the connection raises."""

    def __init__(self, connection: Connection, seals: Seals, clock: Callable[[], float]) -> None:
        self._connection = connection
        self._seals = seals
        self._clock = clock

    def begin(self, key_id: str, about: str) -> tuple[SessionRecord, str]:
        """A new session, and the token that finds it, which is kept nowhere here. Raises StoreBroken without seals."""
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        now = self._clock()
        record = SessionRecord(
            id=id_of(token), key_id=key_id, about=about[:ABOUT_MOST], begun_at=now, expires_at=now + SESSION_S
        )
        index = names.name("sessions", key_id)
        oldest = self._connection.ask("ZRANGE", index, 0, -SESSIONS_MOST)
        self._connection.ask_all(
            (
                *(("DEL", names.name("session", member.decode())) for member in oldest),
                ("ZREMRANGEBYRANK", index, 0, -SESSIONS_MOST),
                ("ZREMRANGEBYSCORE", index, "-inf", repr(now)),
                ("SET", names.name("session", record.id), self._written(record), "EX", SESSION_S),
                ("ZADD", index, repr(record.expires_at), record.id),
                ("EXPIRE", index, SESSION_S),
            )
        )
        return record, token

    def by_token(self, token: str) -> SessionRecord | None:
        """The session of a token; None where it ended, or there never was one."""
        return self._read(id_of(token), self._connection.ask("GET", names.name("session", id_of(token))))

    def of_key(self, key_id: str) -> tuple[SessionRecord, ...]:
        """All sessions of a key, newest first."""
        ids = [member.decode() for member in self._connection.ask("ZRANGE", names.name("sessions", key_id), 0, -1)]
        values = self._connection.ask_all([("GET", names.name("session", id_)) for id_ in ids])
        records = (self._read(id_, value) for id_, value in zip(ids, values, strict=True))
        own = (record for record in records if record is not None and record.key_id == key_id)
        return tuple(sorted(own, key=lambda record: (-record.begun_at, record.id)))

    def end(self, record: SessionRecord) -> None:
        """Sign a browser out."""
        self._connection.ask_all(
            (
                ("DEL", names.name("session", record.id)),
                ("ZREM", names.name("sessions", record.key_id), record.id),
            )
        )

    def _written(self, record: SessionRecord) -> bytes:
        fields = [record.key_id, record.about, record.begun_at, record.expires_at]
        body = json.dumps(fields).encode()
        seal = self._seals.document_seal(names.name("session", record.id), _VERSION, hashlib.sha256(body).hexdigest())
        return seal + b"\n" + body

    def _read(self, id_: str, value: bytes | None) -> SessionRecord | None:
        seal, _, body = (value or b"").partition(b"\n")
        name = names.name("session", id_)
        if not body or not self._seals.is_sealed(name, _VERSION, hashlib.sha256(body).hexdigest(), seal):
            return None
        key_id, about, begun_at, expires_at = json.loads(body)
        if expires_at <= self._clock():
            return None
        return SessionRecord(id=id_, key_id=key_id, about=about, begun_at=begun_at, expires_at=expires_at)


def id_of(token: str) -> str:
    """The id of the session that a token finds."""
    return hashlib.sha256(token.encode()).hexdigest()
