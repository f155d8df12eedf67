from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalEffect
from accord_service.api.governance_examples import effect
from accord_service.api.proposals import PROPOSAL, effect_for
from accord_service.http.problems import NotFound
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
    """Give what a proposal would do, order by order.

    Stewards see every shop's flips, since they answer for all; others see their own shop's and those at edges.
    """
    stored = get(call.room.store, call.path["proposal_id"])
    if stored.effect is None or stored.proposal.shown is None:
        raise NotFound(f"Proposal {stored.proposal.id} has not been opened yet, so nothing shows its effect.")
    return Answer(effect_for(call.caller, stored.proposal.id, stored.proposal.shown.replay_digest, stored.effect))
