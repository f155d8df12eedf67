from __future__ import annotations

from accord_service.api import examples
from accord_service.api.answers import Key
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.v1.get_keys import KEY, key_at, shown_key
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/keys/{key_id}",
    operation_id="readKey",
    tag="Administration",
    answers=Key,
    parameters=KEY,
    examples=(Example("A key", path=lambda book: {"key_id": examples.KEY["key_id"]}, answer=examples.KEY),),
)
def get_key(call: Call) -> Answer:
    """Give one key, revoked or not; an owner one of the own shop. Its token is kept nowhere."""
    record = key_at(call)
    return Answer(shown_key(call, record, call.room.store.keys.last_used([record.id])).document())
