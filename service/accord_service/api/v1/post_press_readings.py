from __future__ import annotations

from accord_rules.documents.reading import Fault, read
from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, by_owner, endpoint
from accord_service.api.readings import (
    AtPress,
    ProbeReading,
    as_kept,
    at_press,
    counted_now,
    keys_of,
    made,
    told_waiting,
)
from accord_service.api.shop_answers import PressReading
from accord_service.api.shops import PRESS
from accord_service.api.v1.get_shop_press import SHOWN
from accord_service.http.problems import AlreadyThere, FaultyDocument, NoShop
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.readings import Document, counting, doubts_left, faults_of_reading, reading_id
from accord_service.store import WAITING_MOST, WaitingReading


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
    settles=by_owner,
    success=201,
    problems=(NoShop,),
    examples=(Example("Bench, 180 °C", examples.READING_TAKEN, SHOWN.path, examples.READING),),
)
def post_press_readings(call: Call) -> Prepared:
    """Enter what a probe read on the platen of one press of the own shop.

    The owner's counts at once, and everywhere when the answer comes. An operator's waits and counts for nothing until
    the owner confirms it; until then /v1/shop/status tells of it. One at a setting of the display that was read before
    takes the older one's place.

    Some readings are refused outright: of a day that has begun nowhere yet, or of a setting beyond the press's display.
    One that is only unlikely is refused with a word for the doubt; sent again with that word in despite it is taken,
    and the doubt is kept and shown with it, to the owner too. Let one that contradicts others count only if those are
    wrong: they count no more then. Read all spots in steady heat, with a contact probe.
    """
    at, document = at_press(call), as_kept(call.document)
    _refuse_faults(call, at, document)
    id_ = reading_id(at.press["id"], document)
    if id_ in counting(at.press):
        raise AlreadyThere(f"This reading is on record already, as {id_}.")
    if id_ in at.waiting_here:
        raise AlreadyThere(f"This reading waits already, as {id_}: the owner has to confirm it.")
    reading = WaitingReading(
        reading_id=id_,
        press_id=at.press["id"],
        document=document,
        despite=call.body.despite,
        entered_at=call.room.now_s,
        entered_by=call.caller.key_id,
    )
    return counted_now(call, at, reading) if call.caller.role == "owner" else _waiting(call, at, reading)


def _refuse_faults(call: Call, at: AtPress, document: Document) -> None:
    """Raises FaultyDocument with every fault, and where there is none, with every doubt that was not set aside."""
    room, shop = call.room, read(Shop, at.record.document)
    faults = [*faults_of_reading(document, at.press, shop, call.book, room.newest_day)]
    faults = faults or [*doubts_left(document, at.press, shop, call.book, room.today, call.body.despite)]
    if faults:
        raise FaultyDocument(faults=faults)


def _waiting(call: Call, at: AtPress, waiting: WaitingReading) -> Prepared:
    if len(at.waiting_here) >= WAITING_MOST:
        message = f"{WAITING_MOST} readings of this press wait for the owner already: these have to be looked at first"
        raise FaultyDocument(faults=[Fault("", message, code="out-of-range")])
    store, keys = call.room.store, keys_of(call, waiting)

    def answer(entered: WaitingReading) -> Answer:
        return made(told_waiting(call, at.record, entered, keys))

    def commit(remember: Remember) -> Answer:
        return answer(store.readings.enter(at.waiting, waiting, also=lambda entered: remember(answer(entered))))

    return Prepared(answer(waiting), commit)
