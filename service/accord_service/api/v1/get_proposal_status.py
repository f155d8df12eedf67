from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalStatus
from accord_service.api.governance_examples import drafted
from accord_service.api.proposals import PROPOSAL, status
from accord_service.http.writing import Answer
from accord_service.steps.proposals import get


@endpoint(
    "GET",
    "/v1/proposals/{proposal_id}/status",
    operation_id="readProposalStatus",
    tag="Changes",
    answers=ProposalStatus,
    parameters=PROPOSAL,
    examples=(Example("A draft", path=lambda book: {"proposal_id": "p1"}, answer=drafted),),
)
def get_proposal_status(call: Call) -> Answer:
    """Say what became of a proposal: its state, its approvals, and the digests an approval has to repeat."""
    return status(get(call.room.store, call.path["proposal_id"]))
