from __future__ import annotations

from accord_service.api import examples
from accord_service.api.answers import Key
from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.run.times import instant
from accord_service.store import KeyRecord

KEY = {"key": "id of the key"}


@endpoint(
    "GET",
    "/v1/keys/{key}",
    tag="Administration",
    answers=Key,
    parameters=KEY,
    statuses=(404,),
    examples=(Example("A key", path=lambda book: {"key": examples.KEY["id"]}, answer=examples.KEY),),
)
def get_key(asked: Asked) -> Answer:
    """Give one key, a revoked one too; to an owner those of the own shop. No token is kept, so none is shown."""
    record = key_of(asked)
    return Answer(shown_key(record, asked.room.store.keys.last_used([record.id]).get(record.id)).document())


def key_of(asked: Asked) -> KeyRecord:
    """The key that the address names, if the caller may see it. Raises NotFound.

    To an owner another shop's is not forbidden, it does not exist.
    """
    id_ = asked.path["key"]
    record = asked.room.store.keys.get(id_)
    if record is None or (asked.caller.role != "admin" and record.shop != asked.caller.shop_id):
        raise NotFound(f"There is no key {id_!r}.")
    return record


def shown_key(record: KeyRecord, last_used_at: float | None) -> Key:
    """A key as everybody who may see it sees it."""
    return Key(
        id=record.id,
        shop_id=record.shop,
        role=record.role,
        holder=record.holder,
        last_four=record.last_four,
        issued_at=instant(record.issued_at),
        issued_by=record.issued_by,
        expires_at=_instant_or_null(record.expires_at),
        last_used_at=_instant_or_null(last_used_at),
        revoked_at=_instant_or_null(record.revoked_at),
    )


def _instant_or_null(seconds: float | None) -> str | None:
    return None if seconds is None else instant(seconds)
