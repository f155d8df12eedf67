from __future__ import annotations

from accord_rules.governance.house import HouseLimit, read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.house import LIMIT_ID, house_record, limit_answer
from accord_service.http.problems import NoShop, NotFound
from accord_service.http.writing import Answer

SHOWN = Example("A limit", path=lambda book: {"limit_id": examples.HOUSE_LIMIT["id"]}, answer=examples.HOUSE_LIMIT)


@endpoint(
    "GET",
    "/v1/shop/house-rules/limits/{limit_id}",
    operation_id="readHouseLimit",
    tag="Shop",
    answers=HouseLimit,
    parameters=LIMIT_ID,
    problems=(NoShop,),
    examples=(SHOWN,),
)
def get_house_limit(call: Call) -> Answer:
    """Say where the own shop has one limit of the book; null: where the book has it (/v1/limits/{name}).

    It can be sent back by PUT with this answer's ETag, also where it is null.
    """
    record, id_ = house_record(call), call.path["limit_id"]
    if id_ not in call.book.limits and id_ not in read_house(record.document).limits:
        raise NotFound(f"There is no limit {id_!r} in the book.")
    return limit_answer(record, id_)
