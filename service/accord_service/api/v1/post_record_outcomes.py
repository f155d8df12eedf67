from __future__ import annotations

import logging
from dataclasses import dataclass, replace

from accord_rules.documents.reading import Choice, Fault, Text, Whole, optional, read, required
from accord_rules.orders.order import Order
from accord_rules.orders.shop import FAILURES, Shop
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import RESULTS, OutcomeReport
from accord_service.api.governance_examples import OUTCOME, OUTCOME_ASKED, RECORD
from accord_service.api.records import RECORD_ID, outcome_report, record_at
from accord_service.http.problems import AllPiecesReported, FaultyDocument, NoShop, RecordRejected
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.outcomes import cell_of, propose_if_poor
from accord_service.store import Cell, OrderRecord, OutcomeRecord, StoreError

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one pressed piece came out."""

    result: str = required(Choice(RESULTS), about="how it came out")
    failure: str | None = optional(Choice(FAILURES), about="what failed; needed for a failed piece, and only there")
    washes: int | None = optional(Whole(0, 1000), about="after how many washes")
    decoration: int | None = optional(Whole(0, 11), about="which decoration; needed where the order has several")
    note: str | None = optional(Text(500, lines=True), about="your own words; name no customer")


@endpoint(
    "POST",
    "/v1/records/{record_id}/outcomes",
    operation_id="reportOutcome",
    tag="Records",
    takes=Outcome,
    answers=OutcomeReport,
    parameters=RECORD_ID,
    writes=True,
    success=201,
    problems=(AllPiecesReported, NoShop, RecordRejected),
    examples=(
        Example(
            "Peeled after six washes",
            OUTCOME_ASKED,
            path=lambda book: {"record_id": RECORD["record_id"]},
            answer=OUTCOME,
        ),
    ),
)
def post_record_outcomes(call: Call) -> Prepared:
    """Report how a piece of a recorded order came out.

    It counts for the transfer family, the substrate and the type of press. The counts stand beside the transfer in the
    catalogue and move plans up or down in recommend, without ever hiding one. Poor ones draft a proposal for the
    stewards, once, where two shops or more say so, each by its own pieces, of three recorded orders together: a rule
    that is only watched, so it is counted, shown in no answer and turns no verdict, until stewards enforce it.

    All keys of a shop together report at most as many pieces for each decoration of a record as the order's quantity,
    one where it says none. A piece of a rejected order says nothing of what the book allows, so a report on it is
    refused: record the order as it was pressed. Whoever reported can withdraw it. A repetition under the same
    Idempotency-Key does not name the proposal, which is drafted once the report is kept; the report, read again, does.
    """
    record, body = record_at(call), call.body
    if record.answer["verdict"] == "rejected":
        raise RecordRejected(_why_rejected(record))
    index = _decoration(record, body)
    cell = _cell(call, record, index)
    quantity = int(record.question["order"].get("quantity") or 1)  # unsaid is one piece, as the fact has it
    outcomes = call.room.store.outcomes
    outcomes.leave_room(record, index, quantity)
    document = {"result": body.result, "washes": body.washes, "note": body.note, "decoration": index}
    preview = OutcomeRecord(
        outcome_id=None,
        record_id=record.record_id,
        cell=cell,
        failure=body.failure,
        document=document,
        reported_at=call.room.now_s,
        reported_by=call.caller.key_id,
    )

    def commit(remember: Remember) -> Answer:
        added = outcomes.add(
            record,
            document,
            decoration=index,
            quantity=quantity,
            cell=cell,
            failure=body.failure,
            who=call.caller.key_id,
            also=lambda stored: remember(_made(call, stored)),
        )
        return _made(call, replace(added, drafted_proposal_id=_drafted(call, record, added)))

    return Prepared(Answer(outcome_report(call, preview).document()), commit)


def _made(call: Call, outcome: OutcomeRecord) -> Answer:
    location = f"/v1/records/{outcome.record_id}/outcomes/{outcome.outcome_id}"
    return Answer(outcome_report(call, outcome).document(), 201, {"Location": location})


def _why_rejected(record: OrderRecord) -> str:
    because = next(finding["because"] for finding in record.answer["findings"] if finding["level"] == "blocks")
    return f"The order of record {record.record_id} is rejected: {because}"


def _decoration(record: OrderRecord, body: Outcome) -> int:
    """Which decoration the report is about. Raises FaultyDocument where the report does not hold together."""
    count = len(record.question["order"]["decorations"])
    faults = []
    if (body.result == "failed") is (body.failure is None):
        why = "is needed for a failed piece" if body.result == "failed" else "goes with a failed piece alone"
        code = "required" if body.result == "failed" else "contradiction"
        faults.append(Fault("/failure", why, FAILURES if body.result == "failed" else (), code=code))
    if body.decoration is None and count > 1:
        faults.append(Fault("/decoration", f"is needed: the order has {count} decorations", code="required"))
    if body.decoration is not None and body.decoration >= count:
        faults.append(Fault("/decoration", f"the order's last decoration is {count - 1}", code="out-of-range"))
    if faults:
        raise FaultyDocument(faults=faults)
    return body.decoration or 0


def _cell(call: Call, record: OrderRecord, index: int) -> Cell:
    order, shop = read(Order, record.question["order"]), read(Shop, record.question["shop"])
    cell = cell_of(call.book, order, shop, record.answer, index)
    if cell is None:
        why = "the order leaves transfer, substrate or press open: record it as it was pressed"
        raise FaultyDocument(faults=[Fault("", why, code="required")])
    return cell


def _drafted(call: Call, record: OrderRecord, outcome: OutcomeRecord) -> str | None:
    """The report is kept already: what keeps a proposal from being drafted must not make it look undone."""
    store = call.room.store
    try:
        return propose_if_poor(
            store,
            call.book,
            outcome.cell,
            call.caller.key_id,
            also=lambda proposal: store.outcomes.drafting(record, outcome, proposal.id),
        )
    except StoreError as error:
        logger.warning("no proposal could be drafted: %s", error)
        return None
