from __future__ import annotations

from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.governance_answers import ShownProposal
from accord_service.api.governance_examples import REVERSION, reverted
from accord_service.api.proposals import REVISION, Reason, drafted, revision_in, taken
from accord_service.http.writing import Prepared


@endpoint(
    "POST",
    "/v1/revisions/{revision}/revert",
    operation_id="revertRevision",
    tag="Changes",
    heavy=always,
    takes=Reason,
    answers=ShownProposal,
    parameters=REVISION,
    writes=True,
    success=201,
    examples=(
        Example(
            "Back to the first",
            REVERSION,
            path=lambda book: {"revision": "1"},
            answer=reverted,
        ),
    ),
)
def post_revision_revert(call: Call) -> Prepared:
    """Propose to take the book back to what a revision says.

    The draft goes the way of every proposal: its effect is shown, a steward of another shop approves it.
    """
    number = revision_in(call)
    return taken(call, lambda steps: steps.revert(number, call.body.reason), drafted)
