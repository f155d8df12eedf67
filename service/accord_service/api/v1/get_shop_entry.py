from __future__ import annotations

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shops import shop_document, shop_record
from accord_service.http.writing import Answer

SHOWN = Example("A shop", path=lambda book: {"shop_id": examples.SHOP["id"]}, answer=examples.SHOP)


@endpoint(
    "GET",
    "/v1/shops/{shop_id}",
    operation_id="readShop",
    tag="Administration",
    answers=Shop,
    parameters={"shop_id": "id of the shop"},
    examples=(SHOWN,),
)
def get_shop_entry(call: Call) -> Answer:
    """Give one shop as it was written. It can be sent back by PUT with this answer's ETag."""
    return shop_document(shop_record(call, call.path["shop_id"]))
