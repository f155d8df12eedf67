from __future__ import annotations

from accord_rules.orders.order import Press
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shops import PRESS, own_record, press_document, shop_record
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer

SHOWN = Example("A press", path=lambda book: {"press_id": examples.PRESS["id"]}, answer=examples.PRESS)


@endpoint(
    "GET",
    "/v1/shop/presses/{press_id}",
    operation_id="readPress",
    tag="Shop",
    answers=Press,
    parameters=PRESS,
    problems=(NoShop,),
    examples=(SHOWN,),
)
def get_shop_press(call: Call) -> Answer:
    """Give one press of the own shop as its owner wrote it.

    It can be sent back by PUT with this answer's ETag, which stays while others change the rest of the shop.
    """
    return press_document(own_record(call), call.path["press_id"])


def press_now(call: Call) -> Answer:
    """The same, from the store alone."""
    return press_document(shop_record(call, call.own.record.id), call.path["press_id"])
