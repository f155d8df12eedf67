from __future__ import annotations

from accord_rules.orders.order import SettleRequest
from accord_rules.verdict import Settlement
from accord_service.api import examples
from accord_service.api.endpoint import Asked, endpoint
from accord_service.api.request import note
from accord_service.http.writing import Answer


@endpoint(
    "POST",
    "/v1/recommend",
    operation_id="recommendPlans",
    tag="Orders",
    takes=SettleRequest,
    answers=Settlement,
    judges=True,
    as_of=True,
    examples=examples.REQUESTS,
)
def post_recommend(asked: Asked) -> Answer:
    """Find transfers, a press and settings that will do.

    The same order as for validate, with transfer, press and settings left out or pinned as wished, and what the shop
    would rather have in order of weight. Every plan, put back as an order, validates as accepted or conditional. How
    reported pieces came out moves plans up or down, so ranks and reasons may change between two revisions.
    """
    settlement = asked.authority.recommend(asked.body, asked.shop, asked.room.tally.experiences)
    note(plans=len(settlement.plans))
    return Answer({**settlement.document(), "basis": asked.snapshot.basis})
