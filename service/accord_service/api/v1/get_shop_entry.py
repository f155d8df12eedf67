from __future__ import annotations

from accord_service import examples
from accord_service.answers import ShopEntryAnswer
from accord_service.endpoint import Asked, Example, endpoint
from accord_service.problems import NotFound
from accord_service.store import ShopRecord
from accord_service.times import instant
from accord_service.writing import Answer

SHOWN = Example("A shop", path=lambda settings: {"shop": examples.SHOP["id"]}, answer=examples.SHOP_ENTRY)


@endpoint(
    "GET",
    "/v1/shops/{shop}",
    tag="Administration",
    answers=ShopEntryAnswer,
    parameters={"shop": "id of the shop"},
    statuses=(404,),
    examples=(SHOWN,),
)
def get_shop_entry(asked: Asked) -> Answer:
    """Give one shop whole. Its ETag is what PUT needs in If-Match."""
    record = asked.room.store.shops.get(asked.path["shop"])
    if record is None:
        raise NotFound(f"There is no shop {asked.path['shop']!r}.")
    return shop_entry(record)


def shop_entry(record: ShopRecord, status: int = 200) -> Answer:
    """One version of a shop as an answer."""
    document = {"shop": record.document, "version": record.version, "changed_at": instant(record.changed_at)}
    return Answer(document, status, version=record.version)
