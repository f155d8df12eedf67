from __future__ import annotations

from accord_service.api import examples
from accord_service.api.answers import ListedShop, Shops
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer
from accord_service.run.times import instant


@endpoint(
    "GET",
    "/v1/shops",
    operation_id="listShops",
    tag="Administration",
    answers=Shops,
    query=PageQuery,
    examples=(Example("One shop", answer=examples.SHOPS),),
)
def get_shops(call: Call) -> Answer:
    """List the shops of the collective, page by page."""
    shops = {record.id: record for record in call.room.store.shops.list()}
    page = page_of(shops, call.query, "/v1/shops")
    entries = tuple(
        ListedShop(record.id, record.document["name"], record.version, instant(record.changed_at))
        for record in map(shops.__getitem__, page.items)
    )
    return Answer(Shops(entries, page.next).document())
