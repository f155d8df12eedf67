from __future__ import annotations

from accord_service.api import governance_examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.governance_answers import Published
from accord_service.api.proposals import PROPOSAL, proposal_status, refusals, steps_of
from accord_service.http.problems import BaseMoved, FaultyDocument, SomebodyWasFaster, StepsOutOfOrder
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.proposals import StoredProposal, write_down_states


@endpoint(
    "POST",
    "/v1/proposals/{proposal_id}/publish",
    operation_id="publishProposal",
    tag="Changes",
    answers=Published,
    parameters=PROPOSAL,
    writes=True,
    settles=always,
    problems=(BaseMoved, FaultyDocument, SomebodyWasFaster, StepsOutOfOrder),
    examples=(Example("Published", path=lambda book: {"proposal_id": "p1"}, answer=governance_examples.published),),
)
def post_proposal_publish(call: Call) -> Prepared:
    """Make an approved proposal the next revision of the book.

    Of two at once exactly one wins. Approvals count only while their keys hold: one whose key is revoked in the same
    moment keeps the proposal out. All workers answer from the new revision within two seconds; proposals made against
    the old one become void.
    """
    steps = steps_of(call)
    with refusals():
        publication = steps.publish(call.path["proposal_id"])

    def answer(stored: StoredProposal) -> Answer:
        return Answer(Published(publication.head.number, publication.head.digest, proposal_status(stored)).document())

    def commit(remember: Remember) -> Answer:
        published = answer(publication.commit(lambda stored: remember(answer(stored))))
        write_down_states(call.room.store, "publication")
        return published

    # The number is given to whoever publishes first.
    preview = Published(None, publication.head.digest, proposal_status(publication.preview))
    return Prepared(Answer(preview.document()), commit)
