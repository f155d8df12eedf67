from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Fault, Text, optional
from accord_service.api.audit import audit_account
from accord_service.api.endpoint import HEAVY_RETRY_S, Call, Example, endpoint
from accord_service.api.governance_answers import AuditAccount
from accord_service.api.governance_examples import AUDIT_ACCOUNT
from accord_service.http.problems import BadQuery, TooManyHeavy
from accord_service.http.writing import Answer
from accord_service.store import ChainHead


@dataclass(frozen=True, slots=True)
class AnchorQuery:
    """What the chain is held against."""

    anchor: str | None = optional(Text(400), about="a line of /v1/audit/head that was kept: is it still in the chain?")


@endpoint(
    "GET",
    "/v1/audit/check",
    operation_id="readAuditAccount",
    tag="Administration",
    answers=AuditAccount,
    query=AnchorQuery,
    problems=(TooManyHeavy,),
    examples=(Example("A whole store", answer=AUDIT_ACCOUNT),),
)
def get_audit_check(call: Call) -> Answer:
    """Check that everything the store holds is what the audit says, and that the audit is as it was sealed.

    All entries and all documents are read, which takes a second for some twenty thousand; a worker does one such check
    at a time. ``accord audit check`` says the same of the store itself, without a service.
    """
    anchors = () if call.query.anchor is None else (_anchor(call.query.anchor),)
    if not call.room.checking.acquire(blocking=False):
        raise TooManyHeavy("Another check is under way.", headers={"Retry-After": HEAVY_RETRY_S})
    try:
        account = call.room.store.check(anchors)
    finally:
        call.room.checking.release()
    return Answer(audit_account(call, account).document())


def _anchor(line: str) -> ChainHead:
    try:
        return ChainHead.from_line(line)
    except ValueError as error:
        raise BadQuery(faults=[Fault("/anchor", str(error), code="bad-format")]) from None
