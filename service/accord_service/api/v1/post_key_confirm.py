from __future__ import annotations

from dataclasses import replace

from accord_rules.governance.proposal import same_holder
from accord_service.api import examples
from accord_service.api.answers import Key
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.v1.get_keys import KEY, key_at, shown_key
from accord_service.http.problems import AlreadyThere, NotYours
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.store import KeyRecord


@endpoint(
    "POST",
    "/v1/keys/{key_id}/confirm",
    operation_id="confirmKey",
    tag="Administration",
    answers=Key,
    parameters=KEY,
    writes=True,
    problems=(NotYours,),
    examples=(Example("A steward's", path=lambda book: {"key_id": examples.KEY_ID}, answer=examples.CONFIRMED),),
)
def post_key_confirm(call: Call) -> Prepared:
    """Confirm a steward's or an admin's key that another admin issued; until then it opens nothing.

    Whoever confirms is another person than its issuer and than its holder, told apart by the holders that keys name.
    """
    keys, record, caller = call.room.store.keys, key_at(call), call.caller
    if record.revoked_at is not None or not record.waits:
        raise AlreadyThere("This key waits for nobody.")
    _refuse_the_same_person(call, record)

    def commit(remember: Remember) -> Answer:
        # Done only while the confirming key holds.
        holding = keys.holding((caller.key_id,))
        return answer(keys.confirm(record.id, who=caller.key_id, also=lambda done: holding + remember(answer(done))))

    def answer(record: KeyRecord) -> Answer:
        return Answer(shown_key(call, record).document())

    return Prepared(answer(replace(record, confirmed_by=caller.key_id, confirmed_at=call.room.now_s)), commit)


def _refuse_the_same_person(call: Call, record: KeyRecord) -> None:
    """What is not known counts against it. Raises NotYours."""
    caller, issuer = call.caller, call.room.store.keys.get(record.issued_by)
    if caller.holder is None or issuer is None or issuer.holder is None or record.holder is None:
        raise NotYours("One of the keys names no holder, so nobody can tell that two people stand behind it.")
    if caller.key_id == record.issued_by or same_holder(caller.holder, issuer.holder):
        raise NotYours(f"{issuer.holder} issued it: another admin has to confirm it.")
    if same_holder(caller.holder, record.holder):
        raise NotYours(f"It is for {record.holder}: another admin has to confirm it.")
