from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import OutcomeReport
from accord_service.api.governance_examples import OUTCOME
from accord_service.api.records import RECORD_ID, outcome_at, outcome_report, record_at
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/records/{record_id}/outcomes/{outcome_id}",
    operation_id="readOutcome",
    tag="Records",
    answers=OutcomeReport,
    parameters={**RECORD_ID, "outcome_id": "id of the report"},
    problems=(NoShop,),
    examples=(
        Example(
            "Peeled after six washes",
            path=lambda book: {name: OUTCOME[name] for name in ("record_id", "outcome_id")},
            answer=OUTCOME,
        ),
    ),
)
def get_record_outcome(call: Call) -> Answer:
    """Give one report on a piece of a record, withdrawn or not."""
    return Answer(outcome_report(call, outcome_at(call, record_at(call))).document())
