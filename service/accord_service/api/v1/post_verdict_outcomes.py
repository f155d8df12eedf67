from __future__ import annotations

import logging
from dataclasses import dataclass

from accord_rules.documents.reading import Choice, Fault, Text, Whole, given, optional, read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import RESULTS, OutcomeAdded
from accord_service.api.governance_examples import OUTCOME, OUTCOME_ASKED, RECORD
from accord_service.api.verdicts import VERDICT, record_of, reported
from accord_service.http.problems import FaultyDocument
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.outcomes import FAILURES, cell_of, propose_if_poor
from accord_service.store import Cell, OutcomeRecord, StoreError, VerdictRecord

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one pressed piece came out."""

    result: str = given(Choice(RESULTS), about="how it came out")
    failure: str | None = optional(Choice(FAILURES), about="what failed; needed for a failed piece, and only there")
    washes: int | None = optional(Whole(0, 1000), about="after how many washes")
    decoration: int | None = optional(Whole(0, 11), about="which decoration; needed where the order has several")
    note: str | None = optional(Text(500, lines=True), about="your own words; name no customer")


@endpoint(
    "POST",
    "/v1/verdicts/{verdict}/outcomes",
    tag="Records",
    takes=Outcome,
    answers=OutcomeAdded,
    parameters=VERDICT,
    writes=True,
    success=201,
    statuses=(404,),
    examples=(
        Example(
            "Peeled after six washes",
            OUTCOME_ASKED,
            path=lambda book: {"verdict": RECORD["id"]},
            answer={"outcome": OUTCOME, "drafted": None},
        ),
    ),
)
def post_verdict_outcomes(asked: Asked) -> Prepared:
    """Report how a piece pressed under a verdict came out.

    It counts for the transfer family, the substrate and the type of press. The counts stand beside the transfer in the
    catalogue and move plans up or down in recommend, without ever hiding one; poor ones draft a proposal for the
    stewards, once. All keys of a shop together report at most as many pieces for each decoration as the order's
    quantity, one where it says none.
    """
    record, body = record_of(asked), asked.body
    index = _decoration(record, body)
    cell = _cell(asked, record, index)
    quantity = int(record.order["order"].get("quantity") or 1)  # unsaid is one piece, as the fact has it
    asked.room.store.outcomes.leave_room(record.shop, record.id, index, quantity)
    document = {"result": body.result, "washes": body.washes, "note": body.note, "decoration": index}
    preview = OutcomeRecord(
        id="-",
        shop=record.shop,
        verdict=record.id,
        cell=cell,
        failure=body.failure,
        document=document,
        at=asked.room.now_s,
    )

    def commit(remember: Remember) -> Answer:
        added = asked.room.store.outcomes.add(
            record.shop,
            record.id,
            document,
            decoration=index,
            quantity=quantity,
            cell=cell,
            failure=body.failure,
            who=asked.caller.key_id,
            also=lambda made: remember(_answer(made, None, 201)),
        )
        return _answer(added, _drafted(asked, cell), 201)

    return Prepared(_answer(preview, None, 200), commit)


def _answer(record: OutcomeRecord, drafted: str | None, status: int) -> Answer:
    return Answer(OutcomeAdded(reported(record), drafted).document(), status)


def _decoration(record: VerdictRecord, body: Outcome) -> int:
    """Which decoration the report is about. Raises FaultyDocument where the report does not hold together."""
    count = len(record.order["order"]["decorations"])
    faults = []
    if (body.result == "failed") is (body.failure is None):
        why = "is needed for a failed piece" if body.result == "failed" else "goes with a failed piece alone"
        faults.append(Fault("/failure", why, FAILURES if body.result == "failed" else ()))
    if body.decoration is None and count > 1:
        faults.append(Fault("/decoration", f"is needed: the order has {count} decorations"))
    if body.decoration is not None and body.decoration >= count:
        faults.append(Fault("/decoration", f"the order's last decoration is {count - 1}"))
    if faults:
        raise FaultyDocument(faults=faults)
    return body.decoration or 0


def _cell(asked: Asked, record: VerdictRecord, index: int) -> Cell:
    said = record.order
    cell = cell_of(asked.book, read(Order, said["order"]), read(Shop, said["shop"]), record.verdict, index)
    if cell is None:
        why = "the order leaves transfer, substrate or press open: record a verdict on what was really pressed"
        raise FaultyDocument(faults=[Fault("", why)])
    return cell


def _drafted(asked: Asked, cell: Cell) -> str | None:
    """The report is kept already: what keeps a proposal from being drafted must not make it look undone."""
    try:
        return propose_if_poor(asked.room.store, asked.book, cell, asked.caller.key_id)
    except StoreError as error:
        logger.warning("no proposal could be drafted: %s", error)
        return None
