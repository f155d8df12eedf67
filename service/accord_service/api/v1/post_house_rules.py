from __future__ import annotations

from dataclasses import replace

from accord_rules.governance.house import HouseRule, read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.house import house_record, in_piece, rule_answer, rule_place, written
from accord_service.api.v1.put_house_rules import refuse_what_loosens
from accord_service.http.problems import AlreadyThere, HouseRulesRefused, NoShop, NotFound, ShopDoesNotFit
from accord_service.http.writing import Answer, Prepared
from accord_service.store import HouseRecord


@endpoint(
    "POST",
    "/v1/shop/house-rules/rules",
    operation_id="addHouseRule",
    tag="Shop",
    takes=HouseRule,
    answers=HouseRule,
    writes=True,
    shares=True,
    heavy=always,
    settles=always,
    success=201,
    problems=(HouseRulesRefused, NoShop, NotFound, ShopDoesNotFit),
    examples=(Example("A rule", examples.NEW_HOUSE_RULE, answer=examples.NEW_HOUSE_RULE),),
)
def post_house_rules(call: Call) -> Prepared:
    """Add a rule to the own shop's house rules; the rest stays. It makes a version of the whole.

    It is held to what whole house rules are held to, and in force everywhere when the answer comes.
    """
    record, added = house_record(call), call.body
    house = read_house(record.document)
    if added.id in house.rules:
        raise AlreadyThere(f"Your house rules have a rule {added.id!r} already: replace it with PUT.")
    house = house.with_rule(added.id, added.rule)
    try:
        refuse_what_loosens(call, house)
    except HouseRulesRefused as error:
        raise in_piece(error, rule_place(added.id), "/rule") from None

    def made(record: HouseRecord) -> Answer:
        location = {"Location": f"/v1/shop/house-rules/rules/{added.id}"}
        return replace(rule_answer(record, added.id), status=201, headers=location)

    return written(call, record.version, house, made)
