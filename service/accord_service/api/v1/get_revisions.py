from __future__ import annotations

from accord_service.api.endpoint import Call, endpoint
from accord_service.api.governance_answers import Revisions
from accord_service.api.proposals import revision_lines
from accord_service.http.paging import PageQuery, next_address, number_in
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/revisions", operation_id="listRevisions", tag="Changes", answers=Revisions, query=PageQuery)
def get_revisions(call: Call) -> Answer:
    """List the revisions of the book, newest first."""
    now = call.room.store.revisions.head()
    head = now.number
    newest = min(head, (number_in(call.query) or head + 1) - 1)
    oldest = max(newest - call.query.limit + 1, 1)
    told = call.room.changelog.of_revisions(now, range(newest, oldest - 1, -1))
    entries = revision_lines(call, [difference.record for difference in told])
    following = next_address("/v1/revisions", str(oldest) if oldest > 1 else None, call.query)
    return Answer(Revisions(head, entries, following).document())
