from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalEffect
from accord_service.api.governance_examples import stopped
from accord_service.api.proposals import PROPOSAL, effect_of, taken
from accord_service.http.problems import BaseMoved, FaultyDocument, NotYours, StepsOutOfOrder
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/proposals/{proposal_id}/effect/cancel",
    operation_id="cancelProposalEffect",
    tag="Changes",
    answers=ProposalEffect,
    parameters=PROPOSAL,
    writes=True,
    problems=(BaseMoved, FaultyDocument, NotYours, StepsOutOfOrder),
    examples=(Example("Stopped", path=lambda book: {"proposal_id": "p1"}, answer=stopped),),
)
def post_proposal_effect_cancel(call: Call) -> Prepared:
    """Stop the working out of a proposal's effect. Its author or a steward may; it can be opened again."""
    return taken(call, lambda steps: steps.cancel(call.path["proposal_id"]), lambda stored: effect_of(call, stored))
