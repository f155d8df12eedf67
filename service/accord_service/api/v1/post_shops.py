from __future__ import annotations

from dataclasses import replace

from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shops import shop_document
from accord_service.http.problems import AlreadyThere
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.shops import refuse_faults
from accord_service.store import ShopRecord


@endpoint(
    "POST",
    "/v1/shops",
    operation_id="addShop",
    tag="Administration",
    takes=Shop,
    answers=Shop,
    writes=True,
    success=201,
    examples=(Example("A shop with one press", examples.NEW_SHOP, answer=examples.NEW_SHOP),),
)
def post_shops(call: Call) -> Prepared:
    """Add a shop. Its keys are issued afterwards (POST /v1/keys)."""
    shops, id_ = call.room.store.shops, call.body.id
    refuse_faults(call.book, call.body, id_, call.room.newest_day)
    if shops.get(id_) is not None:
        raise AlreadyThere(f"There is a shop {id_!r} already.")

    def commit(remember: Remember) -> Answer:
        return _made(
            shops.create(id_, call.document, who=call.caller.key_id, also=lambda record: remember(_made(record)))
        )

    return Prepared(shop_document(ShopRecord(id_, 1, call.document, call.room.now_s)), commit)


def _made(record: ShopRecord) -> Answer:
    return replace(shop_document(record), status=201, headers={"Location": f"/v1/shops/{record.id}"})
