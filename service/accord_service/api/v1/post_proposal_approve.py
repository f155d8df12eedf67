from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Text, required
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import ProposalStatus
from accord_service.api.governance_examples import approved
from accord_service.api.proposals import PROPOSAL, status, taken
from accord_service.http.problems import BaseMoved, DigestsDiffer, NotYours, StepsOutOfOrder
from accord_service.http.writing import Prepared

_DIGEST = Text(80, "sha256:…")


@dataclass(frozen=True, slots=True)
class Approving:
    """What is approved: the proposal's ``digests``, as it was read."""

    change_digest: str = required(_DIGEST, about="digest of the changes")
    base_digest: str = required(_DIGEST, about="digest of the base")
    replay_digest: str = required(_DIGEST, about="digest of the effect")


@endpoint(
    "POST",
    "/v1/proposals/{proposal_id}/approve",
    operation_id="approveProposal",
    tag="Changes",
    takes=Approving,
    answers=ProposalStatus,
    parameters=PROPOSAL,
    writes=True,
    problems=(BaseMoved, DigestsDiffer, NotYours, StepsOutOfOrder),
    # No body: one proposal's digests approve no other. The answer to opening it links here with its own.
    examples=(Example("As it was read", path=lambda book: {"proposal_id": "p1"}, answer=approved),),
)
def post_proposal_approve(call: Call) -> Prepared:
    """Approve a proposal of another shop's: exactly these changes, on this base, with this effect.

    One steward will do; where it loosens what keeps people safe, stewards of two shops are needed, neither of them the
    author's. Keys of the collective count together as those of one shop. An approval lapses when its key is revoked.
    Before the effect is worked out, and while it is worked out anew, nobody approves.
    """
    body, id_ = call.body, call.path["proposal_id"]
    return taken(
        call, lambda steps: steps.approve(id_, body.change_digest, body.base_digest, body.replay_digest), status
    )
