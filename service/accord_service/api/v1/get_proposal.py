from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_examples import proposed
from accord_service.api.proposals import PROPOSAL, Proposed, draft
from accord_service.http.writing import Answer
from accord_service.steps.proposals import get


@endpoint(
    "GET",
    "/v1/proposals/{proposal_id}",
    operation_id="readProposal",
    tag="Changes",
    answers=Proposed,
    parameters=PROPOSAL,
    examples=(Example("A draft", path=lambda book: {"proposal_id": "p1"}, answer=proposed),),
)
def get_proposal(call: Call) -> Answer:
    """Give one proposal as its author wrote it: what it changes, why, and on what evidence.

    Its author can send it back by PUT with this answer's ETag. What became of it is at its /status.
    """
    return draft(get(call.room.store, call.path["proposal_id"]))
