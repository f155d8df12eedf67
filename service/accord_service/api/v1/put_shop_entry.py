from __future__ import annotations

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.v1.get_shop_entry import SHOWN, get_shop_entry
from accord_service.api.v1.put_shop import replaced
from accord_service.http.writing import Prepared


@endpoint(
    "PUT",
    "/v1/shops/{shop_id}",
    operation_id="replaceShop",
    tag="Administration",
    takes=Shop,
    answers=Shop,
    parameters={"shop_id": "id of the shop"},
    replaces=get_shop_entry.run,
    settles=always,
    examples=(Example("A shop with one press", examples.SHOP, SHOWN.path, examples.SHOP),),
)
def put_shop_entry(call: Call) -> Prepared:
    """Replace a shop's document. House rules and keys stay as they are.

    Orders are judged by it everywhere when the answer comes.
    """
    return replaced(call, call.path["shop_id"])
