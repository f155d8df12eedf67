from __future__ import annotations

from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import ProposalStatus
from accord_service.api.governance_examples import REJECTION, rejected
from accord_service.api.proposals import PROPOSAL, Reason, status, taken
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/proposals/{proposal}/reject",
    tag="Changes",
    takes=Reason,
    answers=ProposalStatus,
    parameters=PROPOSAL,
    writes=True,
    statuses=(404,),
    examples=(
        Example(
            "With its reason",
            REJECTION,
            path=lambda book: {"proposal": "p1"},
            answer=rejected,
        ),
    ),
)
def post_proposal_reject(asked: Asked) -> Prepared:
    """Reject a proposal, with the reason; its author may withdraw it the same way."""
    return taken(asked, lambda steps: steps.reject(asked.path["proposal"], asked.body.reason), status)
