from __future__ import annotations

from collections.abc import Callable

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.answers import OwnShop
from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.v1.get_shop import own, own_shop
from accord_service.http.problems import ChangedMeanwhile, NotFound
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.shops import refuse_faults
from accord_service.store import ShopRecord


@endpoint(
    "PUT",
    "/v1/shop",
    tag="Shop",
    takes=Shop,
    answers=OwnShop,
    replaces=True,
    statuses=(404, 409),
    examples=(Example("A shop with one press", examples.SHOP, answer=examples.OWN_SHOP),),
)
def put_shop(asked: Asked) -> Prepared:
    """Replace the caller's own shop: presses with their probe readings, stock, what stands ready, units.

    Give the day of each reading (taken_on), so that old ones can be told.
    """
    return replaced(asked, own(asked).record.id, lambda record: own_shop(asked, record))


def replaced(asked: Asked, id_: str, answer: Callable[[ShopRecord], Answer]) -> Prepared:
    """A shop's next version, checked against the book. Raises NotFound, ChangedMeanwhile, FaultyDocument."""
    shops = asked.room.store.shops
    newest = shops.get(id_)
    if newest is None:
        raise NotFound(f"There is no shop {id_!r}.")
    if newest.version != asked.version:
        raise ChangedMeanwhile(f"You saw version {asked.version}; it is at version {newest.version} now.")
    refuse_faults(asked.book, asked.body, id_, asked.room.today)

    def commit(remember: Remember) -> Answer:
        return answer(
            shops.replace(
                id_,
                asked.version,
                asked.document,
                who=asked.caller.key_id,
                also=lambda record: remember(answer(record)),
            )
        )

    return Prepared(answer(ShopRecord(id_, asked.version + 1, asked.document, asked.room.now_s)), commit)
