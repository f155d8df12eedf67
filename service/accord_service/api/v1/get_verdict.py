from __future__ import annotations

from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import RecordedVerdict
from accord_service.api.governance_examples import RECORD
from accord_service.api.verdicts import VERDICT, record_of
from accord_service.http.writing import Answer
from accord_service.steps.records import recorded


@endpoint(
    "GET",
    "/v1/verdicts/{verdict}",
    tag="Records",
    answers=RecordedVerdict,
    parameters=VERDICT,
    statuses=(404,),
    examples=(Example("A record", path=lambda book: {"verdict": RECORD["id"]}, answer=RECORD),),
)
def get_verdict(asked: Asked) -> Answer:
    """Give a recorded verdict of the own shop, with the order it was given on."""
    return Answer(recorded(record_of(asked)))
