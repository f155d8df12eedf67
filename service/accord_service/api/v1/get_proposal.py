from __future__ import annotations

from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import ShownProposal
from accord_service.api.governance_examples import drafted
from accord_service.api.proposals import PROPOSAL, answer
from accord_service.http.writing import Answer
from accord_service.steps.proposals import get


@endpoint(
    "GET",
    "/v1/proposals/{proposal}",
    tag="Changes",
    answers=ShownProposal,
    parameters=PROPOSAL,
    statuses=(404,),
    examples=(Example("A draft", path=lambda book: {"proposal": "p1"}, answer=drafted),),
)
def get_proposal(asked: Asked) -> Answer:
    """Give one proposal: what it changes, its state, its approvals, and the digests an approval has to repeat."""
    return answer(get(asked.room.store, asked.path["proposal"]))
