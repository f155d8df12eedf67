from __future__ import annotations

from accord_rules.documents.reading import read
from accord_rules.orders.shop import Shop
from accord_rules.revision.readings import CONTRADICTS, DOUBTS
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.readings import READING, at_press, counted_now, no_reading
from accord_service.api.shop_answers import PressReading
from accord_service.api.v1.get_press_reading import SHOWN
from accord_service.http.problems import AlreadyThere, FaultyDocument, NoShop
from accord_service.http.writing import Prepared
from accord_service.steps.readings import counting, doubts_left, faults_of_reading


@endpoint(
    "POST",
    "/v1/shop/presses/{press_id}/readings/{reading_id}/confirm",
    operation_id="confirmReading",
    tag="Shop",
    answers=PressReading,
    parameters=READING,
    writes=True,
    shares=True,
    settles=always,
    problems=(FaultyDocument, NoShop),
    examples=(Example("An operator's", path=SHOWN.path, answer=examples.CONFIRMED_READING),),
)
def post_press_reading_confirm(call: Call) -> Prepared:
    """Let an operator's probe reading count, as the owner of the shop: everywhere, when the answer comes.

    Its doubts are told with it, as are the readings that it takes the place of or contradicts, which count no more
    then: read them first. One that would not hold any more, or contradicts others since these came or changed, is
    refused; whoever read it enters it anew, with the doubt set aside.
    """
    at, id_ = at_press(call), call.path["reading_id"]
    waiting = at.waiting_here.get(id_)
    if waiting is None and id_ in counting(at.press):
        raise AlreadyThere("This reading counts already.")
    if waiting is None:
        raise no_reading(call)
    shop = read(Shop, at.record.document)
    faults = [*faults_of_reading(waiting.document, at.press, shop, call.book, call.room.newest_day)]
    # That it is old by now, or off by what the book says since, is no reason to have it read again.
    known = tuple(name for name in DOUBTS if name != CONTRADICTS or name in waiting.despite)
    faults = faults or [*doubts_left(waiting.document, at.press, shop, call.book, call.room.today, known)]
    if faults:
        raise FaultyDocument(faults=faults)
    return counted_now(call, at, waiting)
