from __future__ import annotations

from accord_service.api.endpoint import Asked, endpoint
from accord_service.api.governance_answers import Revisions
from accord_service.api.proposals import revision_line
from accord_service.http.paging import PageQuery, next_address, number_in
from accord_service.http.writing import Answer
from accord_service.steps.proposals import revision


@endpoint("GET", "/v1/revisions", operation_id="listRevisions", tag="Changes", answers=Revisions, query=PageQuery)
def get_revisions(asked: Asked) -> Answer:
    """List the revisions of the book, newest first."""
    head = asked.room.store.revisions.head().number
    newest = min(head, (number_in(asked.query, 1) or head + 1) - 1)
    oldest = max(newest - asked.query.limit + 1, 1)
    entries = tuple(revision_line(revision(asked.room.store, each)) for each in range(newest, oldest - 1, -1))
    following = next_address("/v1/revisions", str(oldest) if oldest > 1 else None, asked.query)
    return Answer(Revisions(head, entries, following).document())
