from __future__ import annotations

from accord_rules.governance.house import HouseLimit, read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.house import (
    LIMIT_ID,
    house_record,
    in_piece,
    limit_answer,
    limit_place,
    refuse_other_id,
    written,
)
from accord_service.api.v1.get_house_limit import SHOWN, get_house_limit
from accord_service.api.v1.put_house_rules import refuse_what_loosens
from accord_service.http.problems import HouseRulesRefused, NoShop, ShopDoesNotFit
from accord_service.http.writing import Prepared


@endpoint(
    "PUT",
    "/v1/shop/house-rules/limits/{limit_id}",
    operation_id="replaceHouseLimit",
    tag="Shop",
    takes=HouseLimit,
    answers=HouseLimit,
    parameters=LIMIT_ID,
    replaces=get_house_limit.run,
    heavy=always,
    settles=always,
    problems=(HouseRulesRefused, NoShop, ShopDoesNotFit),
    examples=(Example("A limit", examples.HOUSE_LIMIT, SHOWN.path, examples.HOUSE_LIMIT),),
)
def put_house_limit(call: Call) -> Prepared:
    """Make one limit stricter in the own shop's house rules, or give it back to the book (null); the rest stays.

    It makes a version of the whole. What would loosen it is refused with an order that would slip through.
    """
    id_, value = call.path["limit_id"], call.body.value
    refuse_other_id(call, id_)
    house = read_house(house_record(call).document).with_limit(id_, value)
    if value is not None:  # the book's own is never looser than the book, whatever else no longer fits
        try:
            refuse_what_loosens(call, house)
        except HouseRulesRefused as error:
            raise in_piece(error, limit_place(id_), "/value") from None
    return written(call, call.version, house, lambda record: limit_answer(record, id_))
