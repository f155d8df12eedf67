from __future__ import annotations

from accord_rules.governance.house import HouseRules, read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.house import RULE_ID, house_record, whole_answer, written
from accord_service.api.v1.get_house_rule import SHOWN, get_house_rule
from accord_service.http.problems import NoShop
from accord_service.http.writing import Prepared


@endpoint(
    "DELETE",
    "/v1/shop/house-rules/rules/{rule_id}",
    operation_id="deleteHouseRule",
    tag="Shop",
    answers=HouseRules,
    parameters=RULE_ID,
    replaces=get_house_rule.run,
    settles=always,
    problems=(NoShop,),
    examples=(Example("The limits are left", path=SHOWN.path, answer=examples.OWN_HOUSE_RULES),),
)
def delete_house_rule(call: Call) -> Prepared:
    """Take one rule out of the own shop's house rules; what is left is answered, with the ETag of the whole.

    If-Match names the rule, as a read of it gave it. The rule stays to be read in the versions of before.
    """
    house = read_house(house_record(call).document).with_rule(call.path["rule_id"], None)
    return written(call, call.version, house, whole_answer)
