from __future__ import annotations

from accord_service.api import examples
from accord_service.api.answers import ListedShop, PulledBundle, Shops
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer
from accord_service.run.times import instant
from accord_service.store import BundlePull


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
    """List the shops of the collective, page by page, with the bundle that each pulled last."""
    shops = {record.id: record for record in call.room.store.shops.list()}
    page = page_of(shops, call.query, "/v1/shops")
    pulls = call.room.store.shops.pulls(page.items)
    entries = tuple(
        ListedShop(
            record.id,
            record.document["name"],
            record.version,
            instant(record.changed_at),
            _bundle(pulls.get(record.id)),
        )
        for record in map(shops.__getitem__, page.items)
    )
    return Answer(Shops(entries, page.next).document())


def _bundle(pull: BundlePull | None) -> PulledBundle | None:
    return None if pull is None else PulledBundle(instant(pull.pulled_at), pull.revision, pull.expires_on)
