from __future__ import annotations

from accord_rules.order import SettleRequest
from accord_service import examples
from accord_service.answers import SettlementAnswer
from accord_service.endpoint import Answer, Asked, endpoint
from accord_service.request import note


@endpoint(
    "POST",
    "/v1/recommend",
    tag="Orders",
    takes=SettleRequest,
    answers=SettlementAnswer,
    judges=True,
    examples=examples.REQUESTS,
)
def post_recommend(asked: Asked) -> Answer:
    """Find transfers, a press and settings that will do.

    The same order as for validate, with transfer, press and settings left out or pinned as wished, and what the shop
    would rather have in order of weight. Every plan, put back as an order, validates as accepted or conditional.
    """
    settlement = asked.room.authority.recommend(asked.body, asked.caller.shop)
    note(plans=len(settlement.plans))
    return Answer(settlement.document())
