"""What the endpoints about single probe readings share: who may, what is told of one, how one comes to count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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
from accord_service.run.times import instant
from accord_service.steps.readings import Document, counting, doubt_sentences, reading_id, replaced_by
from accord_service.store import KeyRecord, ShopRecord, WaitingReading, WaitingReadings

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


def told(call: Call, record: ShopRecord, press: Document, document: Document, *, counts: bool) -> PressReading:
    """A reading as the shop's people read it, but for who entered it."""
    shop = read(Shop, record.document)
    return PressReading(
        reading_id=reading_id(press["id"], document),
        press_id=press["id"],
        display=document["display"],
        surface=tuple(document["surface"]),
        taken_on=document.get("taken_on"),
        instrument=document.get("instrument"),
        counts=counts,
        doubts=doubt_sentences(document, press, shop, call.book, call.room.today),
        replaces=None if counts else replaced_by(press, document),
        entered_at=None,
        entered_by=None,
    )


def told_waiting(
    call: Call, record: ShopRecord, waiting: WaitingReading, keys: Mapping[str, KeyRecord]
) -> PressReading:
    """One that waits, with who entered it; of a press that is gone, without what is known by that."""
    press = next((one for one in record.document["presses"] if one["id"] == waiting.press_id), None)
    key = keys.get(waiting.entered_by)
    own = None if press is None else told(call, record, press, waiting.document, counts=False)
    return PressReading(
        reading_id=waiting.reading_id,
        press_id=waiting.press_id,
        display=waiting.document["display"],
        surface=tuple(waiting.document["surface"]),
        taken_on=waiting.document.get("taken_on"),
        instrument=waiting.document.get("instrument"),
        counts=False,
        doubts=() if own is None else own.doubts,
        replaces=None if own is None else own.replaces,
        entered_at=instant(waiting.entered_at),
        entered_by=None if key is None else Signatory(key.shop, key.holder, key.role),
    )


def readings_of(call: Call, at: AtPress) -> dict[str, PressReading]:
    """Every reading of a press by id: those that count, and those that wait."""
    count = {
        id_: told(call, at.record, at.press, document, counts=True) for id_, document in counting(at.press).items()
    }
    here = at.waiting_here
    keys = call.room.store.keys.get_all([one.entered_by for one in here.values()])
    return count | {id_: told_waiting(call, at.record, one, keys) for id_, one in here.items()}


def waiting_readings(call: Call) -> tuple[PressReading, ...]:
    """All that waits at the caller's shop, of presses that are gone as well, the longest waiting first."""
    waiting = call.room.store.readings.waiting(call.own.record.id).readings
    if not waiting:
        return ()
    record = shop_record(call, call.own.record.id)
    keys = call.room.store.keys.get_all([one.entered_by for one in waiting])
    return tuple(told_waiting(call, record, one, keys) for one in waiting)
