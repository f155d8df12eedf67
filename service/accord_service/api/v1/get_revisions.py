from __future__ import annotations

from typing import Any

from accord_service.api.endpoint import Asked, endpoint
from accord_service.api.governance_answers import RevisionsAnswer
from accord_service.api.proposals import revision_line
from accord_service.http.paging import PageQuery, next_address, number_in
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/revisions", tag="Changes", answers=RevisionsAnswer, query=PageQuery)
def get_revisions(asked: Asked) -> Answer:
    """List the revisions of the book, newest first."""
    head = asked.room.store.revisions.head().number
    newest = min(head, (number_in(asked.query, 1) or head + 1) - 1)
    oldest = max(newest - asked.query.limit + 1, 1)
    entries: list[dict[str, Any]] = [revision_line(asked, number) for number in range(newest, oldest - 1, -1)]
    following = next_address("/v1/revisions", str(oldest) if oldest > 1 else None, asked.query)
    return Answer({"head": head, "entries": entries, "next": following})
