from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, Many, optional
from accord_rules.orders.order import Order
from accord_rules.verdict import Verdict
from accord_service.api import examples
from accord_service.api.endpoint import Call, endpoint, large_order
from accord_service.api.kept_answers import given_again, validated
from accord_service.http.writing import Answer


@dataclass(frozen=True, slots=True)
class ValidateQuery:
    """What to tell with the verdict."""

    include: tuple[str, ...] = optional(
        Many(Choice(("observed",)), 1, 1, distinct=True), (), about="observed: what each finding found, fact by fact"
    )


@endpoint(
    "POST",
    "/v1/validate",
    operation_id="validateOrder",
    tag="Orders",
    takes=Order,
    query=ValidateQuery,
    answers=Verdict,
    judges=True,
    heavy=large_order,
    again=given_again,
    as_of=True,
    examples=examples.ORDERS,
)
def post_validate(call: Call) -> Answer:
    """Say whether an order can be done.

    The verdict is accepted, conditional (fine if the conditions are met), undetermined (something that could block is
    not said: see needs) or rejected (see findings and remedies). A rejected order is a 200. Each press that the order
    may be done on has a verdict of its own, with settings if it can be done there. What the shop would rather have
    (``prefer``) makes no difference. The same order under the same revision and house rules gives the same bytes.
    Nothing is kept: POST /v1/records does that.
    """
    return validated(call)
