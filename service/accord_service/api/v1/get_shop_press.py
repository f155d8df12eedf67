from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.orders.order import Press
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.v1.get_shop import own_record, shop_record
from accord_service.http.problems import NoShop, NotFound
from accord_service.http.writing import Answer
from accord_service.store import ShopRecord

PRESS = MappingProxyType({"press_id": "id of the press"})
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


def press_document(record: ShopRecord, id_: str) -> Answer:
    """One press of a version of a shop as an answer. Raises NotFound."""
    return Answer(record.document["presses"][place_of(record, id_)], version=record.version, part=True)


def place_of(record: ShopRecord, id_: str) -> int:
    """Where a press stands in its shop's list. Raises NotFound."""
    presses: list[Mapping[str, Any]] = record.document["presses"]
    place = next((index for index, press in enumerate(presses) if press.get("id") == id_), None)
    if place is None:
        raise NotFound(f"Your shop has no press {id_!r}. A new one is added with PUT /v1/shop.")
    return place
