from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Whole, optional
from accord_service.api.endpoint import Asked, endpoint
from accord_service.api.governance_answers import Revisions
from accord_service.api.proposals import revision_line
from accord_service.http.writing import Answer
from accord_service.steps.proposals import revision


@dataclass(frozen=True, slots=True)
class RevisionsQuery:
    """Which page."""

    before: int | None = optional(Whole(1, 1_000_000_000), about="only revisions before this one")
    limit: int = optional(Whole(1, 100), 20, about="entries a page; 20 when left out")


@endpoint("GET", "/v1/revisions", tag="Changes", answers=Revisions, query=RevisionsQuery)
def get_revisions(asked: Asked) -> Answer:
    """List the revisions of the book, newest first."""
    head = asked.room.store.revisions.head().number
    newest = min(head, (asked.query.before or head + 1) - 1)
    oldest = max(newest - asked.query.limit + 1, 1)
    entries = tuple(revision_line(revision(asked.room.store, each)) for each in range(newest, oldest - 1, -1))
    following = f"/v1/revisions?before={oldest}&limit={asked.query.limit}" if oldest > 1 else None
    return Answer(Revisions(head, entries, following).document())
