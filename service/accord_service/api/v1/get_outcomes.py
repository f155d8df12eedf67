from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Flag, optional
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import OutcomeCounts
from accord_service.api.governance_examples import OUTCOME_COUNTS
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer
from accord_service.steps.outcomes import told


@dataclass(frozen=True, slots=True)
class OutcomesQuery(PageQuery):
    """Which outcomes."""

    poor: bool = optional(Flag(), False, about="only where so many failed that chance does not explain it")


@endpoint(
    "GET",
    "/v1/outcomes",
    operation_id="listOutcomeCounts",
    tag="Changes",
    answers=OutcomeCounts,
    query=OutcomesQuery,
    examples=(Example("One transfer on one material", answer=OUTCOME_COUNTS),),
)
def get_outcomes(call: Call) -> Answer:
    """List how reported pieces of all shops came out, by transfer, substrate and type of press, and what that says.

    Which shop reported what is not told; a proposal that outcomes drafted names them.
    """
    query = call.query
    cells = told(call.room.tally.counts, call.book, poor_only=query.poor)
    page = page_of(cells, query, "/v1/outcomes", {"poor": "true" if query.poor else None})
    return Answer(OutcomeCounts(tuple(cells[name] for name in page.items), page.next).document())
