from __future__ import annotations

from dataclasses import replace

from accord_service.api import examples
from accord_service.api.answers import Key
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.api.v1.get_keys import KEY, key_at, shown_key
from accord_service.http.problems import AlreadyThere, RoleNotAllowed
from accord_service.http.roles import SHOP_ROLES
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.steps.proposals import write_down_states
from accord_service.store import KeyRecord


@endpoint(
    "DELETE",
    "/v1/keys/{key_id}",
    operation_id="revokeKey",
    tag="Administration",
    answers=Key,
    parameters=KEY,
    writes=True,
    settles=always,
    examples=(Example("A key", path=lambda book: {"key_id": examples.REVOKED["key_id"]}, answer=examples.REVOKED),),
)
def delete_key(call: Call) -> Prepared:
    """Revoke a key, for good. An owner can revoke those of the own shop, but no steward's or admin's, by which others
    are bound. One that is revoked already stays so.

    Every worker refuses it when the answer comes (one that cannot reach the store, once it can), and what it approved
    is no longer approved by it, unless that was published before (what an expired key approved stays approved). The
    last admin's key can't be revoked.
    """
    keys, record, now_s = call.room.store.keys, key_at(call), call.room.now_s
    if call.caller.role != "admin" and record.role not in SHOP_ROLES:
        raise RoleNotAllowed(
            "This needs a key of the role admin; this key's role is owner, which revokes the roles"
            f" {', '.join(SHOP_ROLES)}."
        )
    if record.role == "admin":
        living = {key.id for key in keys.list() if key.role == "admin" and _holds(key, now_s)}
        if living == {record.id}:
            raise AlreadyThere("This is the last admin's key: issue another before you revoke it.")

    def commit(remember: Remember) -> Answer:
        # Nothing to remember: asked for again, the answer is the same anyway.
        revoked = keys.revoke(record.id, who=call.caller.key_id)
        write_down_states(call.room.store, "revocation")
        return answer(revoked)

    def answer(record: KeyRecord) -> Answer:
        return Answer(shown_key(call, record, keys.last_used([record.id])).document())

    return Prepared(answer(replace(record, revoked_at=record.revoked_at or now_s)), commit)


def _holds(record: KeyRecord, now_s: float) -> bool:
    return record.revoked_at is None and not record.waits and (record.expires_at is None or record.expires_at > now_s)
