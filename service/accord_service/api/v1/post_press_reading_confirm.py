from __future__ import annotations

from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.readings import READING, at_press, no_reading, told
from accord_service.api.shop_answers import PressReading
from accord_service.api.v1.get_press_reading import SHOWN
from accord_service.http.problems import AlreadyThere, FaultyDocument, NoShop
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.readings import counting, faults_of_reading, with_press, with_reading
from accord_service.store import Event, ShopRecord


@endpoint(
    "POST",
    "/v1/shop/presses/{press_id}/readings/{reading_id}/confirm",
    operation_id="confirmReading",
    tag="Shop",
    answers=PressReading,
    parameters=READING,
    writes=True,
    shares=True,
    problems=(FaultyDocument, NoShop),
    examples=(Example("An operator's", path=SHOWN.path, answer=examples.CONFIRMED_READING),),
)
def post_press_reading_confirm(call: Call) -> Prepared:
    """Let an operator's probe reading count, as the owner of the shop.

    It takes the place of one at the same setting of the display. One that would not hold any more, since press or
    readings have changed in between, is refused.
    """
    at, id_ = at_press(call), call.path["reading_id"]
    waiting = at.waiting_here.get(id_)
    if waiting is None and id_ in counting(at.press):
        raise AlreadyThere("This reading counts already.")
    if waiting is None:
        raise no_reading(call)
    faults = [*faults_of_reading(waiting.document, at.press, call.book, call.room.today)]
    if faults:
        raise FaultyDocument(faults=faults)
    store, press = call.room.store, with_reading(at.press, waiting.document)
    shop = with_press(at.record.document, press)

    def answer(record: ShopRecord) -> Answer:
        return Answer(told(call, record, press, waiting.document, counts=True).document())

    def commit(remember: Remember) -> Answer:
        settled = store.readings.settling(at.waiting, waiting)
        return answer(
            store.shops.replace(
                at.record.id,
                at.record.version,
                shop,
                who=call.caller.key_id,
                event=Event.READING_CONFIRMED,
                subject_id=f"{at.record.id}/{press['id']}/{id_}",
                also=lambda record: settled + remember(answer(record)),
            )
        )

    return Prepared(answer(ShopRecord(at.record.id, at.record.version + 1, shop, call.room.now_s)), commit)
