"""What the endpoints about a shop's document, and about one press of it, share."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from accord_service.api.endpoint import Call
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.store import ShopRecord, StoreAway

PRESS = MappingProxyType({"press_id": "id of the press"})


def own_record(call: Call) -> ShopRecord:
    """The caller's shop as it is kept; as it is held while the store is away, since answers rest on that."""
    try:
        return shop_record(call, call.own.record.id)
    except StoreAway:
        return call.own.record


def shop_record(call: Call, id_: str) -> ShopRecord:
    """A shop as it is kept. Raises NotFound, StoreAway."""
    record = call.room.store.shops.get(id_)
    if record is None:
        raise NotFound(f"There is no shop {id_!r}. A new one is added with POST /v1/shops.")
    return record


def shop_document(record: ShopRecord) -> Answer:
    """One version of a shop as an answer."""
    return Answer(record.document, version=record.version)


def press_document(record: ShopRecord, id_: str) -> Answer:
    """One press of a version of a shop as an answer. Raises NotFound."""
    return Answer(record.document["presses"][place_of(record, id_)], version=record.version, part=True)


def place_of(record: ShopRecord, id_: str) -> int:
    """Where a press stands in its shop's list. Raises NotFound."""
    presses: list[Mapping[str, Any]] = record.document["presses"]
    place = next((index for index, press in enumerate(presses) if press.get("id") == id_), None)
    if place is None:
        raise NotFound(f"Your shop has no press {id_!r}. A new one is added with PUT /v1/shop.")
    return place
