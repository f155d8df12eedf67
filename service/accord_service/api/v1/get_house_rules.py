from __future__ import annotations

from accord_rules.governance.house import HouseRules
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.house import house_record, whole_answer
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/shop/house-rules",
    operation_id="readHouseRules",
    tag="Shop",
    answers=HouseRules,
    problems=(NoShop,),
    examples=(Example("Two limits made stricter", answer=examples.OWN_HOUSE_RULES),),
)
def get_house_rules(call: Call) -> Answer:
    """Give the caller's shop's house rules: where it is stricter than the book.

    They can be sent back by PUT with this answer's ETag, also where there are none yet.
    """
    return whole_answer(house_record(call))
