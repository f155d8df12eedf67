from __future__ import annotations

from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.readings import READING, at_press, no_reading, readings_of
from accord_service.api.shop_answers import PressReading
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer

SHOWN = Example(
    "One that waits",
    path=lambda book: {name: examples.READING[name] for name in ("press_id", "reading_id")},
    answer=examples.READING,
)


@endpoint(
    "GET",
    "/v1/shop/presses/{press_id}/readings/{reading_id}",
    operation_id="readReading",
    tag="Shop",
    answers=PressReading,
    parameters=READING,
    problems=(NoShop,),
    examples=(SHOWN,),
)
def get_press_reading(call: Call) -> Answer:
    """Give one probe reading of a press of the own shop: what it says, whether it counts, and what is odd about it."""
    reading = readings_of(call, at_press(call)).get(call.path["reading_id"])
    if reading is None:
        raise no_reading(call)
    return Answer(reading.document())
