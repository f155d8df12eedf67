from __future__ import annotations

from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Record
from accord_service.api.governance_examples import RECORD, RECORD_WITHOUT_REFERENCE
from accord_service.api.records import RECORD_ID, record_at, whole_record
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.store import OrderRecord, without_reference


@endpoint(
    "DELETE",
    "/v1/records/{record_id}/reference",
    operation_id="deleteRecordReference",
    tag="Records",
    answers=Record,
    parameters=RECORD_ID,
    writes=True,
    problems=(NoShop,),
    examples=(
        Example(
            "Without it",
            path=lambda book: {"record_id": RECORD["record_id"]},
            answer=RECORD_WITHOUT_REFERENCE,
        ),
    ),
)
def delete_record_reference(call: Call) -> Prepared:
    """Take the shop's own reference out of a record, for good. The order and the answer stay.

    A reference may lead to a person; what was asked of the press does not. Where the order was sent with an
    Idempotency-Key, its remembered answer still holds the reference, for 24 hours from then; only the same key with the
    same order is given that.
    """
    record = record_at(call)

    def commit(remember: Remember) -> Answer:
        deleted = call.room.store.records.delete_reference(
            record.shop_id,
            record.record_id,
            who=call.caller.key_id,
            also=lambda stored: remember(_answer(stored)),
        )
        return _answer(deleted)

    return Prepared(_answer(without_reference(record)), commit)


def _answer(record: OrderRecord) -> Answer:
    return Answer(whole_record(record).document())
