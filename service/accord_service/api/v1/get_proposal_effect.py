from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalEffect
from accord_service.api.governance_examples import effect
from accord_service.api.proposals import PROPOSAL, effect_of
from accord_service.http.writing import Answer
from accord_service.steps.proposals import get


@endpoint(
    "GET",
    "/v1/proposals/{proposal_id}/effect",
    operation_id="readProposalEffect",
    tag="Changes",
    answers=ProposalEffect,
    parameters=PROPOSAL,
    examples=(Example("One limit, one step", path=lambda book: {"proposal_id": "p1"}, answer=effect),),
)
def get_proposal_effect(call: Call) -> Answer:
    """Give what a proposal would do, order by order; while that is worked out, how far it is.

    Stewards see every shop's flips, since they answer for all; others see their own shop's and those at edges.
    """
    return effect_of(call, get(call.room.store, call.path["proposal_id"]))
