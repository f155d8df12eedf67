"""Writes: prepared first, then carried out once, however often they are asked for.

Three things hold for every write, here and nowhere else: ``validate_only`` goes the same way and stops before the
commit; an Idempotency-Key makes a repetition answer what the first answered; If-Match names the version to replace.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.http.problems import BadHeader, ChangedMeanwhile, IfMatchNeeded
from accord_service.store import Conflict, Store, Transaction

IDEMPOTENCY_KEY = "Idempotency-Key"
IF_MATCH = "If-Match"
_EMPTY: Mapping[str, Any] = MappingProxyType({})
_VISIBLE = re.compile(r"[!-~]{1,200}")
_ETAG = re.compile(r'"([0-9]{1,9})(?:-[0-9a-f]{1,64})?"')


class Overtaken(Conflict):
    """A conflict that can say, in a sentence, who or what came first."""

    def __init__(self, sentence: str, conflict: Conflict) -> None:
        super().__init__(conflict.key, conflict.expected, conflict.found)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Answer:
    """``version``: that of the one document answered with, which makes its ETag fit for If-Match."""

    document: Mapping[str, Any]
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    version: int | None = None


Remember = Callable[[Answer], Transaction]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A write that passed every check. ``preview``: what validate_only answers; ``commit``: does it and answers.

    ``commit`` is given what puts the answer into its own commit: ``also=lambda record: remember(answer(record))``.
    """

    preview: Answer
    commit: Callable[[Remember], Answer]


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
        kept = self.store.idempotency.recall(self.scope, self.key, self.digest)
        if kept is None:
            return None
        found = kept.response
        return Answer(found["document"], found["status"], {"Idempotency-Replayed": "true"}, found["version"])

    def remember(self, answer: Answer) -> Transaction:
        """The answer, to go into the commit."""
        if self.key is None:
            return Transaction()
        kept = {"document": answer.document, "status": answer.status, "version": answer.version}
        return self.store.idempotency.remembering(self.scope, self.key, self.digest, kept)

    def carried_out(self, prepare: Callable[[], Prepared]) -> Answer:
        """Done, or found done by the same request that was under way at the same time. Raises Conflict, StoreAway."""
        try:
            return prepare().commit(self.remember)
        except Conflict:
            recalled = self.recalled()
            if recalled is None:
                raise
            return recalled


def idempotency_key(header: str | None) -> str | None:
    """The key as it was sent. Raises BadHeader."""
    if header is not None and not _VISIBLE.fullmatch(header):
        raise BadHeader(f"{IDEMPOTENCY_KEY} must have 1 to 200 visible ASCII characters.")
    return header


def request_digest(method: str, address: Any, if_match: str | None, body: Any) -> str:
    """What makes two requests the same: ``address`` is the path with the query as it was read."""
    return hashlib.sha256(canonical([method, address, if_match, body])).hexdigest()


def etag(version: int | None, body: bytes) -> str:
    """The sum of the bytes, behind the version of what they show: two answers with one ETag are the same bytes."""
    sum_ = hashlib.sha256(body).hexdigest()[:32]
    return sum_ if version is None else f"{version}-{sum_}"


def version_in(header: str | None) -> int:
    """The version that If-Match names. Raises IfMatchNeeded, or ChangedMeanwhile for what no answer's ETag ever was.

    Of an ETag only the version counts, and will do alone: what else an answer says (an age, say) may have moved on.
    """
    if header is None or header.strip() == "*":
        raise IfMatchNeeded("Send the ETag of what you have seen in the header If-Match; * would not say which.")
    match = _ETAG.fullmatch(header.strip())
    if match is None:
        raise ChangedMeanwhile(f"{IF_MATCH} must be one ETag as the service gave it.")
    return int(match[1])
