from __future__ import annotations

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shops import own_record, shop_document
from accord_service.http.problems import NoShop, NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/shop",
    operation_id="readOwnShop",
    tag="Shop",
    answers=Shop,
    problems=(NoShop, NotFound),
    examples=(Example("A shop with one press", answer=examples.SHOP),),
)
def get_shop(call: Call) -> Answer:
    """Give the caller's own shop as its owner wrote it: presses, stock, what stands ready, and the units it reads.

    It can be sent back by PUT with this answer's ETag. What is computed of it is at /v1/shop/status.
    """
    return shop_document(own_record(call))
