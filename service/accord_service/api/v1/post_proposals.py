from __future__ import annotations

from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.governance_answers import ShownProposal
from accord_service.api.governance_examples import created, proposed
from accord_service.api.proposals import Proposed, drafted, read_book_changes, taken
from accord_service.http.problems import BaseMoved
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/proposals",
    operation_id="draftProposal",
    tag="Changes",
    heavy=always,
    takes=Proposed,
    answers=ShownProposal,
    writes=True,
    success=201,
    problems=(BaseMoved,),
    examples=(Example("A stricter limit", proposed, answer=created),),
)
def post_proposals(call: Call) -> Prepared:
    """Draft a proposal: entries of the book that should be different, why, and on what evidence.

    It starts from the head. Changes that would break the book are refused with the loader's reasons.
    """
    body = call.body
    changes = read_book_changes(body.changes)
    return taken(call, lambda steps: steps.draft(body.base, changes, body.reason, body.evidence), drafted)
