from __future__ import annotations

from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import RecordedVerdict
from accord_service.api.governance_examples import MASKED_RECORD, RECORD
from accord_service.api.verdicts import VERDICT, record_of
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.records import masked, recorded


@endpoint(
    "DELETE",
    "/v1/verdicts/{verdict}/reference",
    tag="Records",
    answers=RecordedVerdict,
    parameters=VERDICT,
    writes=True,
    statuses=(404,),
    examples=(Example("Masked", path=lambda book: {"verdict": RECORD["id"]}, answer=MASKED_RECORD),),
)
def delete_verdict_reference(asked: Asked) -> Prepared:
    """Take the shop's own reference out of a record, for good. The order and the verdict stay.

    A reference may lead to a person; what was asked of the press does not.
    """
    record = record_of(asked)

    def commit(remember: Remember) -> Answer:
        store, who = asked.room.store, asked.caller.key_id
        return Answer(recorded(store.verdicts.mask_reference(record.shop, record.id, who=who)))

    return Prepared(Answer(recorded(masked(record))), commit)
