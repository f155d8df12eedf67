from __future__ import annotations

from accord_rules.orders.order import Press
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.shops import PRESS, place_of, press_document, shop_record
from accord_service.api.v1.get_shop_press import SHOWN, press_now
from accord_service.api.v1.put_shop import written
from accord_service.http.problems import NoShop
from accord_service.http.writing import Prepared
from accord_service.steps.shops import read_kept, refuse_press_faults


@endpoint(
    "PUT",
    "/v1/shop/presses/{press_id}",
    operation_id="replacePress",
    tag="Shop",
    takes=Press,
    answers=Press,
    parameters=PRESS,
    replaces=press_now,
    settles=always,
    problems=(NoShop,),
    examples=(Example("A press", examples.PRESS, SHOWN.path, examples.PRESS),),
)
def put_shop_press(call: Call) -> Prepared:
    """Replace one press of the own shop, its probe readings with it; the rest of the shop stays.

    Orders are judged by it everywhere when the answer comes.
    """
    id_ = call.path["press_id"]
    record = shop_record(call, call.own.record.id)
    refuse_press_faults(call.book, call.body, id_, call.room.newest_day, read_kept(record))
    presses = list(record.document["presses"])
    presses[place_of(record, id_)] = dict(call.document)
    document = {**record.document, "presses": presses}
    return written(call, record.id, document, lambda stored: press_document(stored, id_))
