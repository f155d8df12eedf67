from __future__ import annotations

from accord_rules.governance.house import far_limits, read_house
from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.readings import waiting_readings
from accord_service.api.shop_answers import HouseVersion, PressReading, ShopStatus, Units
from accord_service.api.shops import own_record
from accord_service.http.problems import HouseRulesDoNotFit, NoShop, NotFound, ShopDoesNotFit
from accord_service.http.writing import Answer
from accord_service.run.times import instant
from accord_service.steps import samples
from accord_service.steps.calibration import report
from accord_service.steps.shops import KnownShop
from accord_service.store import HouseRecord, StoreAway


@endpoint(
    "GET",
    "/v1/shop/status",
    operation_id="readOwnShopStatus",
    tag="Shop",
    answers=ShopStatus,
    problems=(HouseRulesDoNotFit, NoShop, NotFound, ShopDoesNotFit),
    examples=(Example("A shop with one press", answer=examples.SHOP_STATUS),),
)
def get_shop_status(call: Call) -> Answer:
    """Say what the own shop's probe readings and samples on record come to, what holds of its presses whatever is
    pressed on them, which probe readings wait for the owner, in which units it reads, and what this key may do."""
    record = own_record(call)
    known = KnownShop(record, call.own.house)
    shop, today = known.shop, call.room.today
    fitting = known.at(call.book, today)
    status = ShopStatus(
        shop_id=record.id,
        version=record.version,
        changed_at=instant(record.changed_at),
        units=Units.of(shop.units),
        calibration=tuple(report(shop, call.authority.book, today)),
        findings=call.authority.of_shop(fitting),
        samples=tuple(samples.report(shop, fitting, call.book)),
        readings_waiting=_waiting(call),
        house_rules=_house(call),
        house_doubts=far_limits(read_house(call.own.house.document).limits, call.book, shop.units),
        role=call.caller.role,
        key_id=call.caller.key_id,
        holder=call.caller.holder,
    )
    return Answer(status.document())


def _waiting(call: Call) -> tuple[PressReading, ...] | None:
    try:
        return waiting_readings(call)
    except StoreAway:
        return None


def _house(call: Call) -> HouseVersion:
    try:
        record: HouseRecord = call.room.store.shops.house(call.own.record.id)
    except StoreAway:
        record = call.own.house
    return HouseVersion(record.version, instant(record.changed_at) if record.version else None)
