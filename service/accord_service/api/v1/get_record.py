from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Record
from accord_service.api.governance_examples import RECORD
from accord_service.api.records import RECORD_ID, record_at, whole_record
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/records/{record_id}",
    operation_id="readRecord",
    tag="Records",
    answers=Record,
    parameters=RECORD_ID,
    problems=(NoShop,),
    examples=(Example("A job", path=lambda book: {"record_id": RECORD["record_id"]}, answer=RECORD),),
)
def get_record(call: Call) -> Answer:
    """Give a record of the own shop: the order, and the answer as it was given."""
    return Answer(whole_record(record_at(call)).document())
