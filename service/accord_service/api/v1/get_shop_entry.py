from __future__ import annotations

from accord_service.api import examples
from accord_service.api.answers import ShopEntry
from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.run.times import instant
from accord_service.store import ShopRecord

SHOWN = Example("A shop", path=lambda book: {"shop": examples.SHOP["id"]}, answer=examples.SHOP_ENTRY)


@endpoint(
    "GET",
    "/v1/shops/{shop}",
    tag="Administration",
    answers=ShopEntry,
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
    found = ShopEntry(record.document, record.version, instant(record.changed_at))
    return Answer(found.document(), status, version=record.version)
