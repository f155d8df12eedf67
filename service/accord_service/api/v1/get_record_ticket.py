from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass

from accord_rules.documents.reading import Fault, Name, optional
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.governance_answers import RecordTicket, TicketPress
from accord_service.api.governance_examples import RECORD, TICKET
from accord_service.api.records import RECORD_ID, record_at, record_line
from accord_service.http.problems import BadQuery, NotFound
from accord_service.http.writing import Answer
from accord_service.steps.tickets import Ticket, able, changed, ticket, why_none
from accord_service.store import OrderRecord


@dataclass(frozen=True, slots=True)
class TicketQuery:
    """Which press it is for."""

    press: str | None = optional(Name(), None, about="one of the presses that can do it; the best one when left out")


@endpoint(
    "GET",
    "/v1/records/{record_id}/ticket",
    operation_id="readRecordTicket",
    tag="Records",
    answers=RecordTicket,
    query=TicketQuery,
    parameters=RECORD_ID,
    judges=True,
    heavy=always,
    examples=(Example("One that was rejected", path=lambda book: {"record_id": RECORD["record_id"]}, answer=TICKET),),
)
def get_record_ticket(call: Call) -> Answer:
    """Give the plan to press a recorded order by: what POST /v1/recommend gives for it under the revision, the shop and
    the house rules that it was judged by, with the press and the settings of its verdict.

    ``changed`` says what is no more as it was. An order that was rejected, or is undetermined, has no plan.
    """
    record = record_at(call)
    presses = tuple(TicketPress(press["press"], press["press_title"]) for press in able(record))
    press = _press_of(record, presses, call.query.press)
    told = Ticket(None, why_none(record.answer)) if press is None else _ticket(call, record, press)
    document = RecordTicket(
        line=record_line(record),
        digest=record.answer["digest"],
        shop_name=record.question["shop"]["name"],
        unit_system=record.question["shop"]["unit_system"],
        book_revision=call.book.revision,
        changed=tuple(changed(record, call.book.digest, call.own.house.document, call.shop)),
        presses=presses,
        press=press,
        plan=told.plan,
        why=told.why,
        as_judged=told.as_judged,
    )
    return Answer(document.document())


def _press_of(record: OrderRecord, presses: tuple[TicketPress, ...], wanted: str | None) -> str | None:
    """The press that is meant; None where no press can do it. Raises BadQuery for one that can't."""
    names = [press.press for press in presses]
    if wanted is not None and wanted not in names:
        message = "is none of the presses that this order can be done on"
        fault = Fault("/press", message, tuple(names), code="not-allowed", refused=wanted)
        raise BadQuery(faults=(fault,))
    if not names:
        return None
    best = record.answer["judged_on"]
    return wanted or (best if best in names else names[0])


def _ticket(call: Call, record: OrderRecord, press: str) -> Ticket:
    with ExitStack() as stack:
        try:
            then = stack.enter_context(call.room.older(record.revision)).authority
        except NotFound:
            then = None
        return ticket(record, then, press)
