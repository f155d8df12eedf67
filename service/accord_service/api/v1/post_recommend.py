from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, Many, Whole, optional
from accord_rules.orders.order import Order
from accord_rules.verdict import PLANS_MOST, Recommendation
from accord_service.api import examples
from accord_service.api.endpoint import Call, always, endpoint
from accord_service.api.request import note
from accord_service.http.writing import Answer


@dataclass(frozen=True, slots=True)
class RecommendQuery:
    """How many plans to give, and what to tell with them."""

    plans: int = optional(
        Whole(1, PLANS_MOST), PLANS_MOST, about="as many plans, the best ones; fewer from eight prints on"
    )
    include: tuple[str, ...] = optional(
        Many(Choice(("curve", "observed")), 2, 1, distinct=True),
        (),
        about="curve: what it takes to draw each plan's heat; observed: what each finding found, fact by fact",
    )


@endpoint(
    "POST",
    "/v1/recommend",
    operation_id="recommendPlans",
    tag="Orders",
    takes=Order,
    query=RecommendQuery,
    answers=Recommendation,
    judges=True,
    heavy=always,
    as_of=True,
    examples=examples.REQUESTS,
)
def post_recommend(call: Call) -> Answer:
    """Find transfers, a press and settings that will do.

    The same order as for validate, with transfer, press and settings left out or pinned as wished, and what the shop
    would rather have in order of weight. Every plan carries the whole order it is, which validates as it stands, as
    accepted or conditional. How reported pieces came out moves plans up or down, so ranks and reasons may change
    between two revisions.
    """
    include = call.query.include
    recommendation = call.authority.recommend(
        call.body,
        call.shop,
        call.room.tally.experiences,
        most=call.query.plans,
        observed="observed" in include,
        curve="curve" in include,
    )
    note(plans=len(recommendation.plans))
    return Answer({**recommendation.document(), "basis": call.snapshot.basis})
