"""Writes: prepared first, then carried out once, however often they are asked for.

Three things hold for every write, here and nowhere else: ``validate_only`` goes the same way and stops before the
commit; an Idempotency-Key (draft-ietf-httpapi-idempotency-key-header) makes a repetition answer what the first
answered; If-Match (RFC 9110 section 13.1.1) names what is replaced, by the whole ETag that a read of it has now.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from werkzeug.datastructures import ETags
from werkzeug.http import parse_etags

from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import Fault
from accord_service.http.problems import BadHeader, IfMatchNeeded
from accord_service.store import Conflict, Store, Transaction

IDEMPOTENCY_KEY = "Idempotency-Key"
IF_MATCH = "If-Match"
_EMPTY: Mapping[str, Any] = MappingProxyType({})
KEY_MOST = 200
# A writer of one part of a shop may lose a race to the writer of another part; then it is tried on what is there now.
ATTEMPTS = 5
_VISIBLE = re.compile(r"[!-~]+")
_STRING = re.compile(r'"((?:[ !#-\[\]-~]|\\["\\])*)"')  # sf-string (RFC 9651 section 3.3.3)
_ETAG = r'(?:W/)?"[!#-~\x80-\xff]*"'
_IF_MATCH = re.compile(rf"\*|(?:,[ \t]*)*{_ETAG}(?:[ \t]*,(?:[ \t]*{_ETAG})?)*")


@dataclass(frozen=True, slots=True)
class Answer:
    """``version``: that of the document answered with, or, where that is a ``part``, of the whole it is part of.

    A part's ETag is of its bytes alone, so that it stays while other parts change. ``content``: the document as it is
    written, where that is known already.
    """

    document: Mapping[str, Any]
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    version: int | None = None
    part: bool = False
    content: bytes | None = None

    def fields(self) -> dict[str, Any]:
        """What is remembered under an Idempotency-Key, as plain JSON."""
        return {
            "document": self.document,
            "status": self.status,
            "headers": dict(self.headers),
            "version": self.version,
            "part": self.part,
        }


Remember = Callable[[Answer], Transaction]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A write that passed every check. ``preview``: what validate_only answers; ``commit``: does it and answers.

    ``commit`` is given what puts the answer into its own commit: ``also=lambda record: remember(answer(record))``. It
    is None where nothing would change: then the preview is the answer.
    """

    preview: Answer
    commit: Callable[[Remember], Answer] | None


@dataclass(frozen=True, slots=True)
class Repeatable:
    """One write under its Idempotency-Key; ``key`` is None where the caller sent none."""

    store: Store
    scope: str
    key: str | None
    digest: str

    def recalled(self) -> Answer | None:
        """What was answered to it the first time. Raises KeyReused, StoreAway."""
        if self.key is None:
            return None
        remembered = self.store.idempotency.recall(self.scope, self.key, self.digest)
        if remembered is None:
            return None
        self.store.confirm()  # the first one may never have been told, since the replicas did not have it yet
        answer = Answer(**remembered.response)
        return replace(answer, headers={**answer.headers, "Idempotency-Replayed": "true"})

    def remember(self, answer: Answer) -> Transaction:
        """The answer, to go into the commit."""
        if self.key is None:
            return Transaction()
        return self.store.idempotency.remembering(self.scope, self.key, self.digest, answer.fields())

    def answered(self, prepare: Callable[[], Prepared], attempts: int) -> Answer:
        """What was answered the first time, or the write done now. Raises KeyReused, StillRunning, Conflict, StoreAway.

        ``attempts``: how often it is prepared anew if something else was written in between.
        """
        if self.key is None:
            return self._carried_out(prepare, attempts)
        recalled = self.recalled()
        if recalled is not None:
            return recalled
        with self.store.idempotency.claimed(self.scope, self.key, self.digest):
            return self.recalled() or self._carried_out(prepare, attempts)

    def _carried_out(self, prepare: Callable[[], Prepared], attempts: int) -> Answer:
        """Done, or found done by the same request, should that have been under way for longer than a claim lasts."""
        try:
            prepared = prepare()
            if prepared.commit is not None:
                return prepared.commit(self.remember)
            self.store.confirm()  # it is there already, and is acknowledged once more
            return prepared.preview
        except Conflict:
            recalled = self.recalled()
            if recalled is not None:
                return recalled
            if attempts <= 1:
                raise
        return self._carried_out(prepare, attempts - 1)


def idempotency_key(header: str | None) -> str | None:
    """The key, whether it was sent bare or as the draft's string in quotes. Raises BadHeader."""
    if header is None:
        return None
    string = _STRING.fullmatch(header)
    key = re.sub(r"\\(.)", r"\1", string[1]) if string else header if _VISIBLE.fullmatch(header) else ""
    if not 1 <= len(key) <= KEY_MOST or (string is None and key.startswith('"')):
        message = f"must be 1 to {KEY_MOST} visible ASCII characters, or a string of ASCII characters in double quotes"
        raise BadHeader(faults=[Fault(f"/{IDEMPOTENCY_KEY}", message, code="bad-format")])
    return key


def request_digest(method: str, address: Any, if_match: str | None, body: Any) -> str:
    """What makes two requests the same: ``address`` is the path with the query as it was read."""
    return hashlib.sha256(canonical([method, address, if_match, body])).hexdigest()


def etag(answer: Answer, body: bytes) -> str:
    """The sum of the bytes, behind the version of what they show: two answers with one ETag are the same bytes."""
    sum_ = hashlib.sha256(body).hexdigest()[:32]
    return sum_ if answer.version is None or answer.part else f"{answer.version}-{sum_}"


def if_match(header: str | None) -> ETags:
    """What If-Match names. Raises IfMatchNeeded, or BadHeader for what is neither * nor a list of ETags."""
    place = f"/{IF_MATCH}"
    if header is None:
        raise IfMatchNeeded(faults=[Fault(place, "is required: the ETag of what you have seen", code="required")])
    if not _IF_MATCH.fullmatch(header.strip(" \t")):
        message = 'must be * or a list of ETags as reads give them, in double quotes, such as "3-0a1b2c"'
        raise BadHeader(faults=[Fault(place, message, code="bad-format")])
    return parse_etags(header)
