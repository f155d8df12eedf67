from __future__ import annotations

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.http.problems import NoShop, NotFound
from accord_service.http.writing import Answer
from accord_service.store import ShopRecord, StoreAway


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


def own_record(call: Call) -> ShopRecord:
    """The caller's shop as it is kept; as it is held while the store is away, since answers rest on that."""
    try:
        return shop_record(call, call.own.record.id)
    except StoreAway:
        return call.own.record


def shop_record(call: Call, id_: str) -> ShopRecord:
    """A shop as it is kept. Raises NotFound, StoreAway."""
    record = call.room.store.shops.get(id_)
    if record is None:
        raise NotFound(f"There is no shop {id_!r}.")
    return record


def shop_document(record: ShopRecord) -> Answer:
    """One version of a shop as an answer."""
    return Answer(record.document, version=record.version)
