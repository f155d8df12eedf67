from __future__ import annotations

from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import Outcomes
from accord_service.api.governance_examples import OUTCOME, RECORD
from accord_service.api.verdicts import VERDICT, record_of, reported
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/verdicts/{verdict}/outcomes",
    tag="Records",
    answers=Outcomes,
    parameters=VERDICT,
    statuses=(404,),
    examples=(Example("One report", path=lambda book: {"verdict": RECORD["id"]}, answer={"entries": [OUTCOME]}),),
)
def get_verdict_outcomes(asked: Asked) -> Answer:
    """List what the own shop reported on a verdict, oldest first."""
    record = record_of(asked)
    reports = asked.room.store.outcomes.of(record.shop, record.id)
    return Answer(Outcomes(tuple(map(reported, reports))).document())
