from __future__ import annotations

from accord_rules.order import Order
from accord_service import examples
from accord_service.answers import VerdictAnswer
from accord_service.endpoint import Answer, Asked, endpoint
from accord_service.request import note


@endpoint(
    "POST",
    "/v1/validate",
    tag="Orders",
    takes=Order,
    answers=VerdictAnswer,
    judges=True,
    examples=examples.ORDERS,
)
def post_validate(asked: Asked) -> Answer:
    """Say whether an order can be done.

    The verdict is accepted, conditional (fine if the conditions are met), undetermined (something that could block is
    not said: see needs) or rejected (see findings and remedies). A rejected order is a 200. The same order under the
    same revision and house rules gives the same bytes.
    """
    verdict = asked.room.authority.validate(asked.body, asked.caller.shop)
    metrics = asked.room.metrics
    metrics.judged(verdict.verdict)
    for finding in verdict.findings:
        metrics.found(finding.rule, finding.level)
    note(verdict=verdict.verdict, verdict_id=verdict.id)
    return Answer(verdict.document())
