from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Flag, optional
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Revision
from accord_service.api.proposals import REVISION, revision_in, revision_lines
from accord_service.http.writing import Answer
from accord_service.steps.proposals import revision


@dataclass(frozen=True, slots=True)
class RevisionQuery:
    """How much of it."""

    documents: bool = optional(Flag(), False, about="the whole book as well")


def _whole(call: Call) -> bool:
    """Whether a megabyte is asked for, which takes a tenth of a second to write."""
    return bool(call.query.documents)


@endpoint(
    "GET",
    "/v1/revisions/{revision}",
    operation_id="readRevision",
    tag="Changes",
    answers=Revision,
    query=RevisionQuery,
    parameters=REVISION,
    heavy=_whole,
    examples=(Example("The first", path=lambda book: {"revision": "1"}),),
)
def get_revision(call: Call) -> Answer:
    """Give one revision: digest, author, approvers, reason and time; with ``documents`` the whole book."""
    number = revision_in(call)
    if call.query.documents:
        record = revision(call.room.store, number)
        (line,) = revision_lines(call, (record,))
        return Answer(Revision(line, record.documents).document())
    (told,) = call.room.changelog.of_revisions(call.room.store.revisions.head(), (number,))
    (line,) = revision_lines(call, (told.record,))
    return Answer(Revision(line, None).document())
