from __future__ import annotations

from accord_rules.orders.order import Order
from accord_rules.verdict import Envelope
from accord_service.api import examples
from accord_service.api.endpoint import Call, always, endpoint
from accord_service.api.request import note
from accord_service.http.writing import Answer


@endpoint(
    "POST",
    "/v1/envelope",
    operation_id="boundOrder",
    tag="Orders",
    takes=Order,
    answers=Envelope,
    judges=True,
    heavy=always,
    as_of=True,
    examples=examples.OPEN,
)
def post_envelope(call: Call) -> Answer:
    """Say what is still allowed for each thing an order leaves open.

    The same order as for validate, with what is not settled left out. Each range is for one open field, the others left
    to the book: with any value in it the order validates as accepted or conditional, a step outside it does not. On
    each press the ranges are those of the transfer that is best there.
    """
    envelope = call.authority.envelope(call.body, call.shop)
    note(presses=len(envelope.presses))
    return Answer({**envelope.document(), "basis": call.snapshot.basis})
