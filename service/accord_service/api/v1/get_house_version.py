from __future__ import annotations

from accord_rules.governance.house import read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.shop_answers import HouseRulesVersion
from accord_service.api.versions import VERSION, changes_of, no_version, version_in, version_lines
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/shop/house-rules/versions/{version}",
    operation_id="readHouseRulesVersion",
    tag="Shop",
    answers=HouseRulesVersion,
    parameters=VERSION,
    problems=(NoShop,),
    examples=(Example("The second", path=lambda book: {"version": "2"}, answer=examples.HOUSE_VERSION),),
)
def get_house_version(call: Call) -> Answer:
    """Give the own shop's house rules as one version had it, who wrote that, and what it changed of the one before."""
    shops, id_, number = call.room.store.shops, call.own.record.id, version_in(call)
    record = shops.house_version(id_, number)
    if record is None:
        raise no_version(number)
    (line,) = version_lines(call, (record,))
    changes, left_out = changes_of(shops.house_version(id_, number - 1), record)
    answer = HouseRulesVersion(
        line=line,
        house_rules=read_house(record.document).document(),
        changes=changes,
        changes_left_out=left_out,
    )
    return Answer(answer.document())
