from __future__ import annotations

from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.readings import at_press, readings_of
from accord_service.api.shop_answers import PressReadings
from accord_service.api.shops import PRESS
from accord_service.api.v1.get_shop_press import SHOWN
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/shop/presses/{press_id}/readings",
    operation_id="listReadings",
    tag="Shop",
    answers=PressReadings,
    query=PageQuery,
    parameters=PRESS,
    problems=(NoShop,),
    examples=(Example("One that waits", path=SHOWN.path, answer=examples.READINGS),),
)
def get_press_readings(call: Call) -> Answer:
    """List the probe readings of one press of the own shop: those that count, and those that wait for the owner."""
    readings = readings_of(call, at_press(call))
    page = page_of(readings, call.query, f"/v1/shop/presses/{call.path['press_id']}/readings")
    return Answer(PressReadings(tuple(readings[id_] for id_ in page.items), page.next).document())
