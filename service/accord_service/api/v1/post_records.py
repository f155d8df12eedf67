from __future__ import annotations

from accord_rules.orders.order import Order
from accord_service.api.endpoint import Call, Example, endpoint, large_order
from accord_service.api.governance_answers import Record
from accord_service.api.governance_examples import RECORD, RECORDED_ORDER
from accord_service.api.records import judged, whole_record
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.records import question_document
from accord_service.store import OrderRecord


@endpoint(
    "POST",
    "/v1/records",
    operation_id="recordOrder",
    tag="Records",
    takes=Order,
    answers=Record,
    judges=True,
    heavy=large_order,
    writes=True,
    success=201,
    examples=(Example("A job", RECORDED_ORDER, answer=RECORD),),
)
def post_records(call: Call) -> Prepared:
    """Judge an order as POST /v1/validate does, and keep it with the answer: one record for each job.

    Two orders that are equal are two records, so send an Idempotency-Key with each job: repeated, it gives the record
    that there is. What is kept is the order, the shop's presses, stock and house rules, and the answer; a rejected
    order is kept as well. It is written before it is answered; while it can't be, there is no answer (503).
    """
    store, caller_shop = call.room.store, call.caller.shop
    draft = store.records.draft(
        call.caller.shop_id,
        question=question_document(call.document, call.shop, {} if caller_shop is None else caller_shop.house.document),
        answer=judged(call),
        revision=call.book.revision,
        reference=call.body.reference,
        retain_days=call.room.config.retain_days,
    )

    def commit(remember: Remember) -> Answer:
        record = store.records.create(draft, who=call.caller.key_id, also=lambda stored: remember(_made(stored)))
        call.room.pruning.now_and_then()
        return _made(record)

    return Prepared(Answer({**whole_record(draft).document(), "record_id": None}), commit)


def _made(record: OrderRecord) -> Answer:
    return Answer(whole_record(record).document(), 201, {"Location": f"/v1/records/{record.record_id}"})
