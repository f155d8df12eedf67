from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Outcomes
from accord_service.api.governance_examples import OUTCOME, RECORD
from accord_service.api.records import RECORD_ID, outcome_reports, record_at
from accord_service.http.paging import PageQuery, bad_cursor, next_address
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/records/{record_id}/outcomes",
    operation_id="listOutcomes",
    tag="Records",
    answers=Outcomes,
    query=PageQuery,
    parameters=RECORD_ID,
    problems=(NoShop,),
    examples=(
        Example(
            "One report",
            path=lambda book: {"record_id": RECORD["record_id"]},
            answer={"entries": [OUTCOME], "next": None},
        ),
    ),
)
def get_record_outcomes(call: Call) -> Answer:
    """List what the own shop reported on a record's pieces, newest first, withdrawn ones too."""
    record, query = record_at(call), call.query
    with bad_cursor():
        page = call.room.store.outcomes.page(record, query.cursor, query.limit)
    following = next_address(f"/v1/records/{record.record_id}/outcomes", page.next, query)
    return Answer(Outcomes(outcome_reports(call, page.items), following).document())
