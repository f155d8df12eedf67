from __future__ import annotations

from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shop_answers import Versions
from accord_service.api.versions import versions_answer
from accord_service.http.paging import PageQuery, number_in
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer

_ADDRESS = "/v1/shop/versions"


@endpoint(
    "GET",
    _ADDRESS,
    operation_id="listOwnShopVersions",
    tag="Shop",
    answers=Versions,
    query=PageQuery,
    problems=(NoShop,),
    examples=(Example("One version", answer=examples.VERSIONS),),
)
def get_shop_versions(call: Call) -> Answer:
    """List the versions of the own shop's document, newest first, with who wrote each.

    The last hundred are kept.
    """
    shops, query = call.room.store.shops, call.query
    page = shops.versions(call.own.record.id, number_in(query), query.limit)
    return versions_answer(call, _ADDRESS, page)
