from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalChanges
from accord_service.api.governance_examples import changed
from accord_service.api.proposals import PROPOSAL, shown_changes, steps_of
from accord_service.http.writing import Answer
from accord_service.steps.proposals import get


@endpoint(
    "GET",
    "/v1/proposals/{proposal_id}/changes",
    operation_id="readProposalChanges",
    tag="Changes",
    answers=ProposalChanges,
    parameters=PROPOSAL,
    examples=(Example("A draft", path=lambda book: {"proposal_id": "p1"}, answer=changed),),
)
def get_proposal_changes(call: Call) -> Answer:
    """Say what a proposal changes of its base, entry by entry, beside what is there."""
    proposal = get(call.room.store, call.path["proposal_id"]).proposal
    shown = shown_changes(proposal.changes, steps_of(call).documents(proposal.base))
    return Answer(ProposalChanges(proposal.id, proposal.base, shown).document())
