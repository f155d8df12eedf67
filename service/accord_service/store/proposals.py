"""Proposals: change sets on their way into the book. What is in one is the service's; the store keeps and lists it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import (
    ABSENT,
    AddToIndex,
    Committer,
    DropFromIndex,
    Put,
    Transaction,
    Versioned,
    nothing_else,
)
from accord_service.store.connection import Connection
from accord_service.store.errors import Conflict, NotThere
from accord_service.store.index import Page, page_of_members

ATTEMPTS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalRecord:
    """``version`` is the ETag's; ``state`` a word of the service's; times in seconds since 1970 (UTC)."""

    id: str
    version: int
    state: str
    author: str
    document: Mapping[str, Any]
    created_at: float
    changed_at: float

    def fields(self) -> dict[str, Any]:
        """What is stored under the id; the version stands beside it."""
        return {
            "state": self.state,
            "author": self.author,
            "document": self.document,
            "created_at": self.created_at,
            "changed_at": self.changed_at,
        }


class ProposalStore:
    """Creates, finds and replaces proposals; lists them by state."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def create(
        self,
        document: Mapping[str, Any],
        *,
        author: str,
        state: str,
        also: Callable[[ProposalRecord], Transaction] = nothing_else,
    ) -> ProposalRecord:
        """Keep a new one, under the next number: ``p1``, ``p2`` and so on."""
        for _ in range(ATTEMPTS):
            number = int(self._connection.ask("ZCARD", names.PROPOSALS)) + 1
            now = self._committer.clock()
            record = ProposalRecord(
                id=f"p{number}",
                version=1,
                state=state,
                author=author,
                document=document,
                created_at=now,
                changed_at=now,
            )
            own = Transaction(
                {_key(record.id): ABSENT},
                (
                    Put(_key(record.id), record.fields()),
                    AddToIndex(names.PROPOSALS, record.id, number),
                    AddToIndex(_in_state(state), record.id, number),
                ),
            )
            try:
                self._committer.apply(own + also(record), UnsealedEntry(author, Event.PROPOSAL_DRAFTED, record.id))
            except Conflict as conflict:
                if conflict.key != _key(record.id):
                    raise
                continue
            return record
        raise Conflict(names.PROPOSALS, ABSENT, 1)

    def get(self, id_: str) -> ProposalRecord | None:
        """The proposal as it was written last; None where there is none."""
        return _record(id_, self._committer.get(_key(id_)))

    def get_all(self, ids: Iterable[str]) -> dict[str, ProposalRecord]:
        """The proposals of these ids that there are, asked for together."""
        ids = tuple(dict.fromkeys(ids))
        documents = self._committer.get_all([_key(id_) for id_ in ids])
        records = (_record(id_, versioned) for id_, versioned in zip(ids, documents, strict=True))
        return {record.id: record for record in records if record is not None}

    def list(self, state: str | None = None, cursor: str | None = None, limit: int = 50) -> Page[ProposalRecord]:
        """Newest first, of one state or of all. Raises ValueError for a cursor that no page gave."""
        index = names.PROPOSALS if state is None else _in_state(state)
        page = page_of_members(self._connection, index, cursor, limit)
        documents = self._committer.get_all([_key(id_) for id_ in page.items])
        records = (_record(id_, versioned) for id_, versioned in zip(page.items, documents, strict=True))
        return Page(
            tuple(record for record in records if record is not None and state in (None, record.state)), page.next
        )

    def replace(
        self,
        id_: str,
        version: int,
        document: Mapping[str, Any],
        *,
        state: str,
        event: Event,
        who: str,
        also: Callable[[ProposalRecord], Transaction] = nothing_else,
    ) -> ProposalRecord:
        """The next version. Raises Conflict if ``version`` is not the newest any more, NotThere if there is none."""
        record, own = self.replacing(id_, version, document, state=state)
        self._committer.apply(own + also(record), UnsealedEntry(who, event, id_))
        return record

    def replacing(
        self, id_: str, version: int, document: Mapping[str, Any], *, state: str
    ) -> tuple[ProposalRecord, Transaction]:
        """What ``replace`` would write, to go into another commit: a publication's."""
        old = self.get(id_)
        if old is None:
            raise NotThere(f"there is no proposal {id_!r}")
        if old.version != version:
            raise Conflict(_key(id_), version, old.version)
        record = ProposalRecord(
            id=id_,
            version=version + 1,
            state=state,
            author=old.author,
            document=document,
            created_at=old.created_at,
            changed_at=self._committer.clock(),
        )
        number = int(id_.removeprefix("p"))
        return record, Transaction(
            {_key(id_): version},
            (
                Put(_key(id_), record.fields()),
                DropFromIndex(_in_state(old.state), id_),
                AddToIndex(_in_state(state), id_, number),
            ),
        )


def _key(id_: str) -> str:
    return names.name("proposal", id_)


def _in_state(state: str) -> str:
    return names.name("proposals", state)


def _record(id_: str, versioned: Versioned | None) -> ProposalRecord | None:
    if versioned is None:
        return None
    return ProposalRecord(id=id_, version=versioned.version, **versioned.document)
