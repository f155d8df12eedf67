from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalEffect
from accord_service.api.governance_examples import being_worked_out
from accord_service.api.proposals import PROPOSAL, taken, working
from accord_service.http.problems import BaseMoved, FaultyDocument, NotYours, StepsOutOfOrder
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/proposals/{proposal_id}/open",
    operation_id="openProposal",
    tag="Changes",
    answers=ProposalEffect,
    parameters=PROPOSAL,
    writes=True,
    success=202,
    problems=(BaseMoved, FaultyDocument, NotYours, StepsOutOfOrder),
    examples=(Example("Its effect is worked out", path=lambda book: {"proposal_id": "p1"}, answer=being_worked_out),),
)
def post_proposal_open(call: Call) -> Prepared:
    """Have a proposal's effect worked out; once it is, the proposal is put to the stewards.

    All recorded orders of all shops and orders at the edges of every threshold are judged under the base and with the
    changes, beside the requests: the answer comes at once, and /effect says how far it is. Its author or a steward may
    ask for that. One that is being worked out already goes on. An open proposal's effect is worked out anew; where it
    differs, earlier approvals count no more.
    """
    return taken(call, lambda steps: steps.open_(call.path["proposal_id"]), working(call))
