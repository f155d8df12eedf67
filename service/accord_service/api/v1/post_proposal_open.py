from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalStatus
from accord_service.api.governance_examples import opened
from accord_service.api.proposals import PROPOSAL, status, taken
from accord_service.http.problems import BaseMoved, FaultyDocument, StepsOutOfOrder
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/proposals/{proposal_id}/open",
    operation_id="openProposal",
    tag="Changes",
    answers=ProposalStatus,
    parameters=PROPOSAL,
    writes=True,
    problems=(BaseMoved, FaultyDocument, StepsOutOfOrder),
    examples=(Example("Opened", path=lambda book: {"proposal_id": "p1"}, answer=opened),),
)
def post_proposal_open(call: Call) -> Prepared:
    """Work out a proposal's effect and put it to the stewards.

    Recorded orders of all shops, the newest first and up to a bound, and orders at the edges of every threshold are
    judged under the base and with the changes; that takes some seconds. An open proposal's effect is worked out anew;
    where it differs, earlier approvals count no more.
    """
    return taken(call, lambda steps: steps.open_(call.path["proposal_id"]), status)
