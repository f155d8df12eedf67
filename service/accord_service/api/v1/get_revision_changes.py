from __future__ import annotations

from accord_rules.governance.changes import difference
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import RevisionChanges
from accord_service.api.proposals import REVISION, refusals, revision_in, shown_changes
from accord_service.http.problems import FaultyDocument
from accord_service.http.writing import Answer
from accord_service.steps.proposals import revision


@endpoint(
    "GET",
    "/v1/revisions/{revision}/changes",
    operation_id="readRevisionChanges",
    tag="Changes",
    answers=RevisionChanges,
    parameters=REVISION,
    problems=(FaultyDocument,),
    examples=(Example("Of the first: none", path=lambda book: {"revision": "1"}),),
)
def get_revision_changes(call: Call) -> Answer:
    """Say what a revision changed of the one before, entry by entry, beside what was there."""
    number = revision_in(call)
    record = revision(call.room.store, number)
    before = record if number == 1 else revision(call.room.store, number - 1)
    with refusals():
        changes = difference(before.documents, record.documents)
    shown = shown_changes(changes, before.documents)
    return Answer(RevisionChanges(number, record.digest, shown).document())
