from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from accord_rules.documents.reading import Name, optional
from accord_service.api import examples
from accord_service.api.answers import Key, Keys
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.signatories import signatories
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.run.times import instant
from accord_service.store import KeyRecord

KEY = MappingProxyType({"key_id": "id of the key"})
_NEVER: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class KeysQuery(PageQuery):
    """Which keys."""

    shop_id: str | None = optional(Name(), about="only this shop's keys; an owner sees no other's")


@endpoint(
    "GET",
    "/v1/keys",
    operation_id="listKeys",
    tag="Administration",
    answers=Keys,
    query=KeysQuery,
    problems=(NotFound,),
    examples=(Example("One key", answer=examples.KEYS),),
)
def get_keys(call: Call) -> Answer:
    """List keys, revoked ones too; an owner those of the own shop. No token is kept, so none is shown."""
    shop = call.query.shop_id
    if call.caller.role != "admin":
        shop = own_only(call, shop or call.caller.shop_id)
    keys = {record.id: record for record in call.room.store.keys.list(shop)}
    page = page_of(keys, call.query, "/v1/keys", {"shop_id": call.query.shop_id})
    last_used = call.room.store.keys.last_used(page.items)
    shown = shown_keys(call, [keys[id_] for id_ in page.items], last_used)
    return Answer(Keys(shown, page.next).document())


def own_only(call: Call, shop: str) -> str:
    """``shop``, if the caller administers the collective or it is the caller's own. Raises NotFound.

    To an owner another shop is not forbidden, it does not exist.
    """
    if call.caller.role != "admin" and shop != call.caller.shop_id:
        raise NotFound(f"There is no shop {shop!r}.")
    return shop


def key_at(call: Call) -> KeyRecord:
    """The key that the address names, if the caller may see it. Raises NotFound."""
    record = call.room.store.keys.get(call.path["key_id"])
    if record is None or (call.caller.role != "admin" and record.shop != call.caller.shop_id):
        raise NotFound(f"There is no key {call.path['key_id']!r}.")
    return record


def shown_keys(call: Call, records: Sequence[KeyRecord], last_used: Mapping[str, float] = _NEVER) -> tuple[Key, ...]:
    """Keys as everybody who may see them sees them, with who issued and confirmed each."""
    whose = signatories(call.room.store, (id_ for record in records for id_ in (record.issued_by, record.confirmed_by)))
    return tuple(
        Key(
            key_id=record.id,
            shop_id=record.shop,
            role=record.role,
            holder=record.holder,
            last_four=record.last_four,
            issued_at=instant(record.issued_at),
            issued_by=record.issued_by,
            issuer=whose.get(record.issued_by),
            expires_at=instant_or_null(record.expires_at),
            last_used_at=instant_or_null(last_used.get(record.id)),
            waits=record.waits and record.revoked_at is None,
            confirmed_by=record.confirmed_by,
            confirmer=whose.get(record.confirmed_by),
            confirmed_at=instant_or_null(record.confirmed_at),
            revoked_at=instant_or_null(record.revoked_at),
            origins=record.origins,
        )
        for record in records
    )


def shown_key(call: Call, record: KeyRecord, last_used: Mapping[str, float] = _NEVER) -> Key:
    """One key."""
    (shown,) = shown_keys(call, (record,), last_used)
    return shown


def instant_or_null(seconds: float | None) -> str | None:
    return None if seconds is None else instant(seconds)
