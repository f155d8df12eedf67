from __future__ import annotations

from contextlib import ExitStack

from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.governance_answers import ReplayedRecord
from accord_service.api.governance_examples import RECORD, REPLAY
from accord_service.api.records import RECORD_ID, record_at
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.steps.records import Present, replay


@endpoint(
    "GET",
    "/v1/records/{record_id}/replay",
    operation_id="replayRecord",
    tag="Records",
    answers=ReplayedRecord,
    parameters=RECORD_ID,
    judges=True,
    heavy=always,
    as_of=True,
    examples=(Example("Nothing changed", path=lambda book: {"record_id": RECORD["record_id"]}, answer=REPLAY),),
)
def get_record_replay(call: Call) -> Answer:
    """Ask a recorded order again, and say which of code, book and house made a difference.

    It is asked three times: as it was then, with the book of now (or of ``revision``), and with the shop's presses,
    stock and house rules of now as well. What differs between two of them is due to what was exchanged.
    """
    record = record_at(call)
    caller_shop = call.caller.shop
    house = {} if caller_shop is None else caller_shop.house.document
    with ExitStack() as stack:
        try:
            then = stack.enter_context(call.room.older(record.revision)).authority
        except NotFound:
            then = None
        replayed = replay(record, then, Present(call.snapshot.edition.authority, call.shop, house))
    document = {
        "record_id": record.record_id,
        "recorded_revision": record.revision,
        "revision": call.book.revision,
        **replayed.document(),
    }
    return Answer(document)
