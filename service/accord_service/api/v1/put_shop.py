from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.shops import shop_document, shop_record
from accord_service.http.problems import NoShop, NotFound
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.shops import read_kept, refuse_faults
from accord_service.store import ShopRecord


@endpoint(
    "PUT",
    "/v1/shop",
    operation_id="replaceOwnShop",
    tag="Shop",
    takes=Shop,
    answers=Shop,
    replaces=lambda call: shop_document(shop_record(call, call.own.record.id)),
    settles=always,
    problems=(NoShop, NotFound),
    examples=(Example("A shop with one press", examples.SHOP, answer=examples.SHOP),),
)
def put_shop(call: Call) -> Prepared:
    """Replace the caller's own shop: presses with their probe readings, stock, what stands ready, units, names.

    Its names are its own words for what the book has; its orders may say them. Give the day of each reading
    (taken_on), so that old ones can be told. Orders are judged by it everywhere when the answer comes.
    """
    return replaced(call, call.own.record.id)


def replaced(call: Call, id_: str) -> Prepared:
    """A shop's next version, checked against the book. Raises FaultyDocument."""
    refuse_faults(call.book, call.body, id_, call.room.newest_day, read_kept(shop_record(call, id_)))
    return written(call, id_, call.document, shop_document)


def written(call: Call, id_: str, document: Mapping[str, Any], answer: Callable[[ShopRecord], Answer]) -> Prepared:
    """A shop's next version after the one that If-Match named; ``answer`` shows of it what was replaced."""

    def commit(remember: Remember) -> Answer:
        return answer(
            call.room.store.shops.replace(
                id_,
                call.version,
                document,
                who=call.caller.key_id,
                also=lambda record: remember(answer(record)),
            )
        )

    return Prepared(answer(ShopRecord(id_, call.version + 1, document, call.room.now_s)), commit)
