from __future__ import annotations

from accord_rules.governance.changes import CHANGEABLE, EntryChange, difference, digest_of
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import RevisionChanges
from accord_service.api.proposals import REVISION, refusals, revision_in, shown_change
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
    number, store = revision_in(call), call.room.store
    (told,) = call.room.changelog.of_revisions(store.revisions.head(), (number,))
    changed = {} if number == 1 else told.entries
    if any(kind not in CHANGEABLE for kind, _ in changed):
        with refusals():  # what no proposal changes, which that says
            difference(revision(store, number - 1).documents, revision(store, number).documents)
    ordered = sorted(changed.items(), key=lambda entry: (CHANGEABLE.index(entry[0][0]), entry[0][1]))
    shown = tuple(
        shown_change(EntryChange(kind, id_, entry.after, digest_of(entry.before)), entry.before)
        for (kind, id_), entry in ordered
    )
    return Answer(RevisionChanges(number, told.record.digest, shown).document())
