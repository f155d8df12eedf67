from __future__ import annotations

from accord_rules.governance.effort import refuse_dear_house
from accord_rules.governance.house import HouseError, HouseRules, Refusal, check_house
from accord_rules.infer.engine import EngineError
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.house import whole_answer, written
from accord_service.api.v1.get_house_rules import get_house_rules
from accord_service.http.problems import HouseRulesRefused, NoShop, NotFound, ShopDoesNotFit
from accord_service.http.writing import Prepared
from accord_service.worker.edition import try_rules


@endpoint(
    "PUT",
    "/v1/shop/house-rules",
    operation_id="replaceHouseRules",
    tag="Shop",
    heavy=always,
    takes=HouseRules,
    answers=HouseRules,
    replaces=get_house_rules.run,
    settles=always,
    problems=(HouseRulesRefused, NoShop, NotFound, ShopDoesNotFit),
    examples=(Example("Two limits made stricter", examples.HOUSE_RULES, answer=examples.OWN_HOUSE_RULES),),
)
def put_house_rules(call: Call) -> Prepared:
    """Replace the shop's house rules: limits moved the stricter way, rules that find more, stock not to be used.

    A shop may only be stricter than the book. What would loosen anything is refused with an order that would slip
    through, and what would have questions take too long with the figures. The answer comes when the rules are in force
    everywhere: an order asked after it is judged by them.
    """
    refuse_what_loosens(call, call.body)
    return written(call, call.version, call.body, whole_answer)


def refuse_what_loosens(call: Call, house: HouseRules) -> None:
    """Raises HouseRulesRefused for house rules that do not fit the book, loosen it, or make questions too dear."""
    try:
        laid = check_house(call.book, house, call.shop)
        if house.rules:
            try_rules(laid, house)
        if house.rules or house.limits:
            refuse_dear_house(call.snapshot.edition.authority, house, call.shop)
    except HouseError as error:
        raise HouseRulesRefused(error.refusals) from None
    except EngineError as error:
        raise HouseRulesRefused([Refusal("/rules", str(error), code="breaks-book")]) from None
