from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalStatus
from accord_service.api.governance_examples import DECLINE, declined
from accord_service.api.proposals import PROPOSAL, Reason, status, taken
from accord_service.http.problems import BaseMoved, NotYours, StepsOutOfOrder
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/proposals/{proposal_id}/decline",
    operation_id="declineProposal",
    tag="Changes",
    takes=Reason,
    answers=ProposalStatus,
    parameters=PROPOSAL,
    writes=True,
    problems=(BaseMoved, NotYours, StepsOutOfOrder),
    examples=(Example("With its reason", DECLINE, path=lambda book: {"proposal_id": "p1"}, answer=declined),),
)
def post_proposal_decline(call: Call) -> Prepared:
    """Decline somebody else's proposal, with the reason. It ends there."""
    return taken(call, lambda steps: steps.decline(call.path["proposal_id"], call.body.reason), status)
