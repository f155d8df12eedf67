from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import Flag, optional
from accord_rules.orders.order import Order
from accord_rules.verdict import Verdict
from accord_service.api import examples
from accord_service.api.endpoint import Asked, endpoint
from accord_service.api.request import note
from accord_service.http.writing import Answer
from accord_service.steps.records import asked_document


@dataclass(frozen=True, slots=True)
class ValidateQuery:
    """What to do with the verdict."""

    record: bool = optional(Flag(), False, about="keep order and verdict, for GET /v1/verdicts/{id}")


@endpoint(
    "POST",
    "/v1/validate",
    tag="Orders",
    takes=Order,
    query=ValidateQuery,
    answers=Verdict,
    judges=True,
    as_of=True,
    examples=examples.ORDERS,
)
def post_validate(asked: Asked) -> Answer:
    """Say whether an order can be done.

    The verdict is accepted, conditional (fine if the conditions are met), undetermined (something that could block is
    not said: see needs) or rejected (see findings and remedies). A rejected order is a 200. The same order under the
    same revision and house rules gives the same bytes. With ``record=true`` the verdict is kept before it is answered;
    while it can't be, there is no answer (503). The same verdict asked for again costs no second record.
    """
    verdict = asked.authority.validate(asked.body, asked.shop)
    metrics = asked.room.metrics
    metrics.judged(verdict.verdict)
    for finding in verdict.findings:
        metrics.found(finding)
    note(verdict=verdict.verdict, verdict_id=verdict.id)
    document = {**verdict.document(), "basis": asked.snapshot.basis}
    if asked.query.record:
        _record(asked, document)
    return Answer(document)


def _record(asked: Asked, verdict: Mapping[str, Any]) -> None:
    known = asked.caller.known
    asked.room.store.verdicts.record(
        asked.caller.shop_id,
        verdict["id"],
        order=asked_document(asked.document, asked.shop, {} if known is None else known.house.document),
        verdict=verdict,
        revision=asked.book.revision,
        reference=asked.body.reference,
        retain_days=asked.room.config.retain_days,
        who=asked.caller.key_id,
    )
    asked.room.pruning.now_and_then()
