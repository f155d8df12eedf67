from __future__ import annotations

from dataclasses import replace

from accord_rules.documents.reading import Fault, read
from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.readings import AtPress, ProbeReading, as_kept, at_press, told, told_waiting
from accord_service.api.shop_answers import PressReading
from accord_service.api.shops import PRESS
from accord_service.api.v1.get_shop_press import SHOWN
from accord_service.http.problems import AlreadyThere, FaultyDocument, NoShop
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.readings import (
    Document,
    counting,
    doubts_left,
    faults_of_reading,
    reading_id,
    with_press,
    with_reading,
)
from accord_service.store import WAITING_MOST, Event, ShopRecord, WaitingReading


@endpoint(
    "POST",
    "/v1/shop/presses/{press_id}/readings",
    operation_id="enterReading",
    tag="Shop",
    takes=ProbeReading,
    answers=PressReading,
    parameters=PRESS,
    writes=True,
    shares=True,
    success=201,
    problems=(NoShop,),
    examples=(Example("Bench, 180 °C", examples.READING_TAKEN, SHOWN.path, examples.READING),),
)
def post_press_readings(call: Call) -> Prepared:
    """Enter what a probe read on the platen of one press of the own shop.

    The owner's counts at once. An operator's waits and counts for nothing until the owner confirms it; until then
    /v1/shop/status tells of it. One at a setting of the display that was read before takes the older one's place.

    What cannot be is refused: a day that is still to come, a display beyond the press's, a surface that does not rise
    with the display. What is only unlikely is refused with a word for the doubt; sent again with that word in despite
    it is taken, and the doubt is shown with it. Read all spots in steady heat, with a contact probe.
    """
    at, document = at_press(call), as_kept(call.document)
    _refuse_faults(call, at, document)
    id_ = reading_id(at.press["id"], document)
    if id_ in counting(at.press):
        raise AlreadyThere(f"This reading is on record already, as {id_}.")
    if id_ in at.waiting_here:
        raise AlreadyThere(f"This reading waits already, as {id_}: the owner has to confirm it.")
    return _counted(call, at, document) if call.caller.role == "owner" else _waiting(call, at, id_, document)


def _refuse_faults(call: Call, at: AtPress, document: Document) -> None:
    """Raises FaultyDocument with every fault, and where there is none, with every doubt that was not set aside."""
    today, shop = call.room.today, read(Shop, at.record.document)
    faults = [*faults_of_reading(document, at.press, call.book, today)]
    faults = faults or [*doubts_left(document, at.press, shop, call.book, today, call.body.despite)]
    if faults:
        raise FaultyDocument(faults=faults)


def _counted(call: Call, at: AtPress, document: Document) -> Prepared:
    press = with_reading(at.press, document)
    shop = with_press(at.record.document, press)
    id_ = reading_id(press["id"], document)

    def answer(record: ShopRecord) -> Answer:
        return _made(told(call, record, press, document, counts=True))

    def commit(remember: Remember) -> Answer:
        return answer(
            call.room.store.shops.replace(
                at.record.id,
                at.record.version,
                shop,
                who=call.caller.key_id,
                event=Event.READING_ENTERED,
                subject_id=f"{at.record.id}/{press['id']}/{id_}",
                also=lambda record: remember(answer(record)),
            )
        )

    return Prepared(answer(replace(at.record, document=shop)), commit)


def _waiting(call: Call, at: AtPress, id_: str, document: Document) -> Prepared:
    if len(at.waiting_here) >= WAITING_MOST:
        message = f"{WAITING_MOST} readings of this press wait for the owner already: these have to be looked at first"
        raise FaultyDocument(faults=[Fault("", message, code="out-of-range")])
    store, press_id = call.room.store, at.press["id"]
    waiting = WaitingReading(id_, press_id, document, call.body.despite, call.room.now_s, call.caller.key_id)
    keys = store.keys.get_all([call.caller.key_id])

    def answer(entered: WaitingReading) -> Answer:
        return _made(told_waiting(call, at.record, entered, keys))

    def commit(remember: Remember) -> Answer:
        return answer(store.readings.enter(at.waiting, waiting, also=lambda entered: remember(answer(entered))))

    return Prepared(answer(waiting), commit)


def _made(reading: PressReading) -> Answer:
    location = f"/v1/shop/presses/{reading.press_id}/readings/{reading.reading_id}"
    return Answer(reading.document(), 201, {"Location": location})
