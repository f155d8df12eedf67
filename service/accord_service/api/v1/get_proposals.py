from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, optional
from accord_rules.governance.words import STATES
from accord_service.api.endpoint import Call, endpoint
from accord_service.api.governance_answers import Proposals
from accord_service.api.proposals import shown_proposal
from accord_service.http.paging import PageQuery, bad_cursor, next_address
from accord_service.http.writing import Answer
from accord_service.steps.proposals import StoredProposal, standing


@dataclass(frozen=True, slots=True)
class ProposalsQuery(PageQuery):
    """Which proposals."""

    state: str | None = optional(Choice(STATES), about="only those in this state")


@endpoint("GET", "/v1/proposals", operation_id="listProposals", tag="Changes", answers=Proposals, query=ProposalsQuery)
def get_proposals(call: Call) -> Answer:
    """List proposals, newest first; of one state if wished. A page may be short."""
    store, query = call.room.store, call.query
    with bad_cursor():
        page = store.proposals.list(query.state, query.cursor, query.limit)
    proposals = standing(store, map(StoredProposal.of, page.items))
    entries = tuple(shown_proposal(stored) for stored in proposals if query.state in (None, stored.proposal.state))
    following = next_address("/v1/proposals", page.next, query, {"state": query.state})
    return Answer(Proposals(entries, following).document())
