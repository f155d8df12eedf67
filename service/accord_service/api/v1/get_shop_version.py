from __future__ import annotations

from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shop_answers import ShopVersion
from accord_service.api.versions import VERSION, changes_of, no_version, version_in, version_lines
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/shop/versions/{version}",
    operation_id="readOwnShopVersion",
    tag="Shop",
    answers=ShopVersion,
    parameters=VERSION,
    problems=(NoShop,),
    examples=(Example("The second", path=lambda book: {"version": "2"}, answer=examples.SHOP_VERSION),),
)
def get_shop_version(call: Call) -> Answer:
    """Give the own shop's document as one version had it, who wrote that, and what it changed of the one before."""
    shops, id_, number = call.room.store.shops, call.own.record.id, version_in(call)
    record = shops.version(id_, number)
    if record is None:
        raise no_version(number)
    (line,) = version_lines(call, (record,))
    changes, left_out = changes_of(shops.version(id_, number - 1), record)
    answer = ShopVersion(
        line=line,
        shop=record.document,
        changes=changes,
        changes_left_out=left_out,
    )
    return Answer(answer.document())
