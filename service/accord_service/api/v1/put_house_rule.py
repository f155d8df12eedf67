from __future__ import annotations

from accord_rules.governance.house import HouseRule, read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.house import (
    RULE_ID,
    house_record,
    in_piece,
    refuse_other_id,
    rule_answer,
    rule_place,
    written,
)
from accord_service.api.v1.get_house_rule import SHOWN, get_house_rule
from accord_service.api.v1.put_house_rules import refuse_what_loosens
from accord_service.http.problems import HouseRulesRefused, NoShop, ShopDoesNotFit
from accord_service.http.writing import Prepared


@endpoint(
    "PUT",
    "/v1/shop/house-rules/rules/{rule_id}",
    operation_id="replaceHouseRule",
    tag="Shop",
    takes=HouseRule,
    answers=HouseRule,
    parameters=RULE_ID,
    replaces=get_house_rule.run,
    heavy=always,
    settles=always,
    problems=(HouseRulesRefused, NoShop, ShopDoesNotFit),
    examples=(Example("A rule", examples.HOUSE_RULE, SHOWN.path, examples.HOUSE_RULE),),
)
def put_house_rule(call: Call) -> Prepared:
    """Replace one rule of the own shop's house rules; the rest stays. It makes a version of the whole.

    It is held to what whole house rules are held to, and in force everywhere when the answer comes.
    """
    id_ = call.path["rule_id"]
    refuse_other_id(call, id_)
    house = read_house(house_record(call).document).with_rule(id_, call.body.rule)
    try:
        refuse_what_loosens(call, house)
    except HouseRulesRefused as error:
        raise in_piece(error, rule_place(id_), "/rule") from None
    return written(call, call.version, house, lambda record: rule_answer(record, id_))
