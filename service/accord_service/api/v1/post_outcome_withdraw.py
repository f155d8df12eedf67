from __future__ import annotations

from dataclasses import replace

from accord_rules.governance.proposal import same_holder
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import OutcomeReport
from accord_service.api.governance_examples import OUTCOME, OUTCOME_WITHDRAWN
from accord_service.api.records import RECORD_ID, outcome_at, outcome_report, record_at
from accord_service.http.problems import NoShop, NotYours
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.store import OutcomeRecord


@endpoint(
    "POST",
    "/v1/records/{record_id}/outcomes/{outcome_id}/withdraw",
    operation_id="withdrawOutcome",
    tag="Records",
    answers=OutcomeReport,
    parameters={**RECORD_ID, "outcome_id": "id of the report"},
    writes=True,
    problems=(NoShop, NotYours),
    examples=(
        Example(
            "A mistake",
            path=lambda book: {name: OUTCOME[name] for name in ("record_id", "outcome_id")},
            answer=OUTCOME_WITHDRAWN,
        ),
    ),
)
def post_outcome_withdraw(call: Call) -> Prepared:
    """Withdraw a report, as who made it. It stays to be read, counts no more, and its piece can be reported anew.

    Its reporter is the holder of the key it was made with, with that key or another of the same shop. A proposal that
    it drafted stays, for the stewards to decline. One that is withdrawn already stays so.
    """
    record = record_at(call)
    outcome = outcome_at(call, record)
    _refuse_strangers(call, outcome)

    def commit(remember: Remember) -> Answer:
        withdrawn = call.room.store.outcomes.withdraw(
            record,
            call.path["outcome_id"],
            who=call.caller.key_id,
            also=lambda stored: remember(_answer(call, stored)),
        )
        return _answer(call, withdrawn)

    return Prepared(_answer(call, replace(outcome, withdrawn_at=outcome.withdrawn_at or call.room.now_s)), commit)


def _refuse_strangers(call: Call, outcome: OutcomeRecord) -> None:
    """What is not known counts against it. Raises NotYours."""
    if outcome.reported_by == call.caller.key_id:
        return
    key = None if outcome.reported_by is None else call.room.store.keys.get(outcome.reported_by)
    if key is None:
        raise NotYours("Nobody kept who reported this, so nobody can withdraw it.")
    if key.shop != call.caller.shop_id or not same_holder(key.holder, call.caller.holder):
        raise NotYours(f"{key.holder or 'Somebody else'} reported this: nobody else can withdraw it.")


def _answer(call: Call, outcome: OutcomeRecord) -> Answer:
    return Answer(outcome_report(call, outcome).document())
