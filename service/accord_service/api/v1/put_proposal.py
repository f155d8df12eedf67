from __future__ import annotations

from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.governance_examples import edited
from accord_service.api.proposals import PROPOSAL, Proposed, draft, read_book_changes, taken
from accord_service.api.v1.get_proposal import get_proposal
from accord_service.http.problems import BaseMoved, NotYours, StepsOutOfOrder
from accord_service.http.writing import Prepared


@endpoint(
    "PUT",
    "/v1/proposals/{proposal_id}",
    operation_id="replaceProposal",
    tag="Changes",
    heavy=always,
    takes=Proposed,
    answers=Proposed,
    parameters=PROPOSAL,
    replaces=get_proposal.run,
    problems=(BaseMoved, NotYours, StepsOutOfOrder),
    examples=(Example("Another value", edited, path=lambda book: {"proposal_id": "p1"}, answer=edited),),
)
def put_proposal(call: Call) -> Prepared:
    """Edit a proposal of one's own, on the base it has. It is a draft again; its effect and its approvals are gone."""
    body, id_ = call.body, call.path["proposal_id"]
    changes = read_book_changes(body.changes)
    return taken(
        call, lambda steps: steps.edit(id_, call.version, body.base, changes, body.reason, body.evidence), draft
    )
