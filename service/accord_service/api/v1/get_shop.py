from __future__ import annotations

from accord_service.api import examples
from accord_service.api.answers import OwnShop, Units
from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.steps.calibration import report
from accord_service.steps.shops import KnownShop
from accord_service.store import ShopRecord, StoreAway


@endpoint(
    "GET",
    "/v1/shop",
    tag="Shop",
    answers=OwnShop,
    statuses=(404, 409),
    examples=(Example("A shop with one press", answer=examples.OWN_SHOP),),
)
def get_shop(asked: Asked) -> Answer:
    """Give the caller's own shop: presses, stock, what its probe readings come to, and the units it reads.

    Its ETag is what PUT /v1/shop needs in If-Match.
    """
    known = own(asked)
    try:
        record = asked.room.store.shops.get(known.record.id)
    except StoreAway:  # then what is held is what answers rest on
        record = None
    return own_shop(asked, record or known.record)


def own(asked: Asked) -> KnownShop:
    """The caller's shop. Raises NotFound for a key that belongs to none."""
    if asked.caller.known is None:
        raise NotFound("This key belongs to no shop.")
    return asked.caller.known


def own_shop(asked: Asked, record: ShopRecord) -> Answer:
    """One version of the caller's shop as an answer."""
    shop = KnownShop(record, own(asked).house).shop
    found = OwnShop(
        shop=record.document,
        units=Units.of(shop.units),
        calibration=tuple(report(shop, asked.authority.book, asked.room.today)),
        version=record.version,
        role=asked.caller.role,
        key=asked.caller.key_id,
    )
    return Answer(found.document(), version=record.version)
