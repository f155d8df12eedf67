from __future__ import annotations

from dataclasses import replace

from accord_rules.governance.proposal import same_holder
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, by_owner, endpoint
from accord_service.api.readings import READING, keys_of, no_reading, told, told_waiting
from accord_service.api.shop_answers import PressReading
from accord_service.api.shops import shop_record
from accord_service.api.v1.get_press_reading import SHOWN
from accord_service.http.problems import NoShop, NotYours
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.readings import counting, with_press, without_reading
from accord_service.store import Event, ShopRecord, WaitingReading, WaitingReadings


@endpoint(
    "DELETE",
    "/v1/shop/presses/{press_id}/readings/{reading_id}",
    operation_id="deleteReading",
    tag="Shop",
    answers=PressReading,
    parameters=READING,
    writes=True,
    shares=True,
    settles=by_owner,
    problems=(NoShop, NotYours),
    examples=(Example("One that waited", path=SHOWN.path, answer=examples.READING),),
)
def delete_press_reading(call: Call) -> Prepared:
    """Take a probe reading back: as the owner any, one that counts as well; as an operator one's own that waits.

    What is answered is the reading as it was. One that counted stays to be read in the shop's versions, and one that
    waits can be taken back although its press is gone.
    """
    shop_id, id_ = call.own.record.id, call.path["reading_id"]
    waiting = call.room.store.readings.waiting(shop_id)
    record = shop_record(call, shop_id)
    one = next((w for w in waiting.readings if (w.press_id, w.reading_id) == (call.path["press_id"], id_)), None)
    return _counting(call, record, waiting) if one is None else _withdrawn(call, record, waiting, one)


def _withdrawn(call: Call, record: ShopRecord, waiting: WaitingReadings, one: WaitingReading) -> Prepared:
    keys = keys_of(call, one)
    key = keys.get(one.entered_by)
    own = one.entered_by == call.caller.key_id or (key is not None and same_holder(key.holder, call.caller.holder))
    if call.caller.role != "owner" and not own:
        who = key.holder if key and key.holder else "Somebody else"
        raise NotYours(
            f"{who} entered this: only they, or a key of the role owner, take it back; this key's role is"
            f" {call.caller.role}, and its holder another."
        )
    answer = Answer(told_waiting(call, record, one, keys).document())

    def commit(remember: Remember) -> Answer:
        call.room.store.readings.withdraw(waiting, one, who=call.caller.key_id, also=lambda _: remember(answer))
        return answer

    return Prepared(answer, commit)


def _counting(call: Call, record: ShopRecord, waiting: WaitingReadings) -> Prepared:
    press = next((press for press in record.document["presses"] if press["id"] == call.path["press_id"]), None)
    document = None if press is None else counting(press).get(call.path["reading_id"])
    if press is None or document is None:
        raise no_reading(call)
    if call.caller.role != "owner":
        raise NotYours(
            f"This reading counts: only a key of the role owner takes it back; this key's role is {call.caller.role}."
        )
    origin = waiting.origin(call.path["press_id"], call.path["reading_id"])
    counted = told(call, record, press, document, origin, keys_of(call, origin))
    answer = Answer(replace(counted, counts=False).document())
    shop = with_press(record.document, without_reading(press, call.path["reading_id"]))

    def commit(remember: Remember) -> Answer:
        call.room.store.shops.replace(
            record.id,
            record.version,
            shop,
            who=call.caller.key_id,
            event=Event.READING_WITHDRAWN,
            subject_id=f"{record.id}/{call.path['press_id']}/{call.path['reading_id']}",
            also=lambda _: remember(answer),
        )
        return answer

    return Prepared(answer, commit)
