from __future__ import annotations

from accord_rules.governance.house import HouseRule
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.house import RULE_ID, house_record, rule_answer
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer

SHOWN = Example("A rule", path=lambda book: {"rule_id": examples.HOUSE_RULE["id"]}, answer=examples.HOUSE_RULE)


@endpoint(
    "GET",
    "/v1/shop/house-rules/rules/{rule_id}",
    operation_id="readHouseRule",
    tag="Shop",
    answers=HouseRule,
    parameters=RULE_ID,
    problems=(NoShop,),
    examples=(SHOWN,),
)
def get_house_rule(call: Call) -> Answer:
    """Give one rule of the own shop's house rules.

    It can be sent back by PUT with this answer's ETag, which stays while the rest of the house rules changes.
    """
    return rule_answer(house_record(call), call.path["rule_id"])
