"""What the endpoints about single probe readings share: who may, what is told of one, how one comes to count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from accord_rules.documents.reading import Choice, Date, Many, optional, read, required
from accord_rules.orders.order import INSTRUMENTS, PRESS_HEAT
from accord_rules.orders.shop import Shop
from accord_rules.revision.readings import DOUBTS
from accord_service.api.answers import Signatory
from accord_service.api.endpoint import Call
from accord_service.api.shop_answers import PressReading
from accord_service.api.shops import PRESS, place_of, shop_record
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.run.times import instant
from accord_service.steps.readings import (
    Document,
    contradicted_by,
    counting,
    doubt_sentences,
    reading_id,
    replaced_by,
    with_press,
    with_reading,
)
from accord_service.store import CountedReading, Event, KeyRecord, ShopRecord, WaitingReading, WaitingReadings

Keys = Mapping[str, KeyRecord]

READING = MappingProxyType({**PRESS, "reading_id": "id of the reading"})


@dataclass(frozen=True, slots=True)
class ProbeReading:
    """What was read on the platen at one setting of the display, in steady heat, on several spots."""

    display: float = required(PRESS_HEAT, about="what the display said")
    surface: tuple[float, ...] = required(Many(PRESS_HEAT, 25, 1), about="what was read, spot by spot")
    taken_on: str = required(Date(), about="the day it was read")
    instrument: str | None = optional(
        Choice(INSTRUMENTS), about="what it was read with; a contact probe where left out"
    )
    despite: tuple[str, ...] = optional(
        Many(Choice(tuple(DOUBTS)), len(DOUBTS), distinct=True),
        (),
        "doubts to set aside, since it was read so: " + "; ".join(map(": ".join, DOUBTS.items())),
    )


def as_kept(document: Mapping[str, Any]) -> dict[str, Any]:
    """A reading as the shop's document has it."""
    return {name: value for name, value in document.items() if name != "despite"}


@dataclass(frozen=True, slots=True)
class AtPress:
    """One press of the caller's shop as it is kept, and what waits at the shop."""

    record: ShopRecord
    press: Document
    waiting: WaitingReadings

    @property
    def waiting_here(self) -> dict[str, WaitingReading]:
        """What waits of this press, by id."""
        return {one.reading_id: one for one in self.waiting.readings if one.press_id == self.press["id"]}


def at_press(call: Call) -> AtPress:
    """The press that the address names. Raises NotFound, NoShop, StoreAway."""
    # What waits first: what was confirmed in between counts by then, and a write on the old state is refused.
    waiting = call.room.store.readings.waiting(call.own.record.id)
    record = shop_record(call, call.own.record.id)
    press = record.document["presses"][place_of(record, call.path["press_id"])]
    return AtPress(record, press, waiting)


def no_reading(call: Call) -> NotFound:
    return NotFound(f"Press {call.path['press_id']!r} has no reading {call.path['reading_id']!r}.")


def told(
    call: Call, record: ShopRecord, press: Document, document: Document, origin: CountedReading | None, keys: Keys
) -> PressReading:
    """One that counts as the shop's people read it; ``origin``: where it comes from, None for the shop's document."""
    shop = read(Shop, record.document)
    return PressReading(
        reading_id=reading_id(press["id"], document),
        press_id=press["id"],
        press_names=_names(shop, press["id"]),
        display=document["display"],
        surface=tuple(document["surface"]),
        taken_on=document.get("taken_on"),
        instrument=document.get("instrument"),
        counts=True,
        doubts=doubt_sentences(document, press, shop, call.book, call.room.today),
        despite=() if origin is None else origin.despite,
        replaces=None,
        contradicts=(),
        entered_at=None if origin is None else instant(origin.entered_at),
        entered_by=None if origin is None else _holder(keys.get(origin.entered_by)),
        confirmed_at=None if origin is None or origin.confirmed_at is None else instant(origin.confirmed_at),
        confirmed_by=None if origin is None else _holder(keys.get(origin.confirmed_by or "")),
    )


def told_waiting(call: Call, record: ShopRecord, waiting: WaitingReading, keys: Keys) -> PressReading:
    """One that waits, with who entered it; of a press that is gone, without what is known by that."""
    press = next((one for one in record.document["presses"] if one["id"] == waiting.press_id), None)
    shop, document = read(Shop, record.document), waiting.document
    return PressReading(
        reading_id=waiting.reading_id,
        press_id=waiting.press_id,
        press_names=_names(shop, waiting.press_id),
        display=document["display"],
        surface=tuple(document["surface"]),
        taken_on=document.get("taken_on"),
        instrument=document.get("instrument"),
        counts=False,
        doubts=() if press is None else doubt_sentences(document, press, shop, call.book, call.room.today),
        despite=waiting.despite,
        replaces=None if press is None else replaced_by(press, document),
        contradicts=() if press is None else contradicted_by(press, document),
        entered_at=instant(waiting.entered_at),
        entered_by=_holder(keys.get(waiting.entered_by)),
        confirmed_at=None,
        confirmed_by=None,
    )


def _names(shop: Shop, press_id: str) -> tuple[str, ...]:
    return tuple(sorted(word for word, id_ in shop.names.presses.items() if id_ == press_id))


def _holder(key: KeyRecord | None) -> Signatory | None:
    return None if key is None else Signatory(key.shop, key.holder, key.role)


def keys_of(call: Call, *readings: WaitingReading | CountedReading | None) -> Keys:
    """The keys of who entered and who confirmed, by id."""
    ids = [one.entered_by for one in readings if one is not None]
    ids += [one.confirmed_by for one in readings if isinstance(one, CountedReading) and one.confirmed_by is not None]
    return call.room.store.keys.get_all(list(dict.fromkeys(ids)))


def counted_now(call: Call, at: AtPress, waiting: WaitingReading) -> Prepared:
    """The write that lets a reading count by the word of the caller, the owner; it waits no more."""
    room, who = call.room, call.caller.key_id
    press = with_reading(at.press, waiting.document)
    shop, now_s = with_press(at.record.document, press), room.now_s
    places = {(one["id"], id_) for one in shop["presses"] for id_ in counting(one)}
    entered = waiting.entered_by == who
    origin = CountedReading(
        reading_id=waiting.reading_id,
        press_id=waiting.press_id,
        despite=waiting.despite,
        entered_at=waiting.entered_at,
        entered_by=waiting.entered_by,
        confirmed_at=None if entered else now_s,
        confirmed_by=None if entered else who,
    )
    settled, keys = room.store.readings.counting(at.waiting, origin, places), keys_of(call, origin)

    def answer(record: ShopRecord) -> Answer:
        reading = told(call, record, press, waiting.document, origin, keys)
        return made(reading) if entered else Answer(reading.document())

    def commit(remember: Remember) -> Answer:
        return answer(
            room.store.shops.replace(
                at.record.id,
                at.record.version,
                shop,
                who=who,
                event=Event.READING_ENTERED if entered else Event.READING_CONFIRMED,
                subject_id=f"{at.record.id}/{press['id']}/{waiting.reading_id}",
                also=lambda record: settled + remember(answer(record)),
            )
        )

    return Prepared(answer(replace(at.record, document=shop)), commit)


def made(reading: PressReading) -> Answer:
    """The answer to a reading that was entered."""
    location = f"/v1/shop/presses/{reading.press_id}/readings/{reading.reading_id}"
    return Answer(reading.document(), 201, {"Location": location})


def readings_of(call: Call, at: AtPress) -> dict[str, PressReading]:
    """Every reading of a press by id: those that count, and those that wait."""
    here, press_id = at.waiting_here, at.press["id"]
    count = {id_: (document, at.waiting.origin(press_id, id_)) for id_, document in counting(at.press).items()}
    keys = keys_of(call, *here.values(), *(origin for _, origin in count.values()))
    told_of = {
        id_: told(call, at.record, at.press, document, origin, keys) for id_, (document, origin) in count.items()
    }
    return told_of | {id_: told_waiting(call, at.record, one, keys) for id_, one in here.items()}


def waiting_readings(call: Call) -> tuple[PressReading, ...]:
    """All that waits at the caller's shop, of presses that are gone as well, the longest waiting first."""
    waiting = call.room.store.readings.waiting(call.own.record.id).readings
    if not waiting:
        return ()
    record = shop_record(call, call.own.record.id)
    keys = keys_of(call, *waiting)
    return tuple(told_waiting(call, record, one, keys) for one in waiting)
