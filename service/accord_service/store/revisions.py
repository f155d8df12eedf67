"""The book's revisions: immutable, numbered from 1 without gaps, and the head that says which one holds."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.canonical import digest
from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.errors import Conflict, NotThere

Documents = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class RevisionHead:
    """Which revision holds: its number and its digest (``sha256:<hex>`` over the canonical JSON of the book)."""

    number: int
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisionRecord:
    """One revision, whole. ``at`` is seconds since 1970 (UTC); ``proposal`` is None for the first.

    ``tried_by`` says who tried its rules and the examples of its rules and steps, and saw it pass the whole of its own
    test: the digest of code, engine and kind of machine; empty where nobody did.
    """

    number: int
    digest: str
    documents: Documents
    author: str
    approvers: tuple[str, ...]
    reason: str
    proposal: str | None
    at: float
    tried_by: str = ""

    @property
    def head(self) -> RevisionHead:
        """Its number and digest."""
        return RevisionHead(self.number, self.digest)

    def document(self) -> dict[str, Any]:
        """What is kept."""
        return {
            "number": self.number,
            "digest": self.digest,
            "documents": self.documents,
            "author": self.author,
            "approvers": list(self.approvers),
            "reason": self.reason,
            "proposal": self.proposal,
            "at": self.at,
            "tried_by": self.tried_by,
        }


def read_head(versioned: Versioned | None) -> RevisionHead | None:
    """The head as it is stored; None in an empty store."""
    return None if versioned is None else RevisionHead(**versioned.document)


class RevisionStore:
    """The head's version in the store is the revision's number: both grow by one with each publication."""

    def __init__(self, committer: Committer) -> None:
        self._committer = committer

    def head(self) -> RevisionHead:
        """The revision that holds. Raises NotThere in an empty store; see ``first``."""
        head = read_head(self._committer.get(names.HEAD))
        if head is None:
            raise NotThere("the store has no revision yet")
        return head

    def revision(self, number: int) -> RevisionRecord | None:
        """One revision, or None."""
        versioned = self._committer.get(_key(number))
        if versioned is None:
            return None
        return RevisionRecord(**{**versioned.document, "approvers": tuple(versioned.document["approvers"])})

    def first(self, documents: Documents, *, author: str, reason: str, tried_by: str = "") -> RevisionHead:
        """Make ``documents`` revision 1 if the store is empty; either way, the head.

        Any number of processes may do this at once: one of them wins, all get the same head.
        """
        record = RevisionRecord(
            number=1,
            digest=digest(documents),
            documents=documents,
            author=author,
            approvers=(),
            reason=reason,
            proposal=None,
            at=self._committer.clock(),
            tried_by=tried_by,
        )
        try:
            return self._write(record, Transaction()).head
        except Conflict:
            return self.head()

    def publish(
        self,
        expected: RevisionHead,
        documents: Documents,
        *,
        author: str,
        approvers: Sequence[str],
        reason: str,
        proposal: str | None,
        tried_by: str = "",
        also: Callable[[RevisionRecord], Transaction] = nothing_else,
    ) -> RevisionRecord:
        """Make ``documents`` the next revision. Raises Conflict if the head is not ``expected`` any more.

        ``also`` goes into the same commit: the proposal's new state, the remembered answer.
        """
        current = self.head()
        if current != expected:
            raise Conflict(names.HEAD, expected.number, current.number)
        record = RevisionRecord(
            number=expected.number + 1,
            digest=digest(documents),
            documents=documents,
            author=author,
            approvers=tuple(approvers),
            reason=reason,
            proposal=proposal,
            at=self._committer.clock(),
            tried_by=tried_by,
        )
        return self._write(record, also(record))

    def _write(self, record: RevisionRecord, also: Transaction) -> RevisionRecord:
        head = {"number": record.number, "digest": record.digest}
        own = Transaction(
            {names.HEAD: record.number - 1, _key(record.number): ABSENT},
            (Put(_key(record.number), record.document()), Put(names.HEAD, head)),
        )
        self._committer.apply(own + also, UnsealedEntry(record.author, Event.REVISION_PUBLISHED, str(record.number)))
        return record


def _key(number: int) -> str:
    return names.name("revision", number)
