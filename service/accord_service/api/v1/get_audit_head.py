from __future__ import annotations

from accord_service.api.audit import audit_head
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import AuditHead
from accord_service.api.governance_examples import AUDIT_HEAD
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/audit/head",
    operation_id="readAuditHead",
    tag="Administration",
    answers=AuditHead,
    examples=(Example("A head", answer=AUDIT_HEAD),),
)
def get_audit_head(call: Call) -> Answer:
    """Show where the audit ends, sealed, as one line to be kept: the anchor.

    A store that is set back as a whole to what it once was shows no trace of it. A shop that keeps an anchor now and
    then, in its own book, can have it looked for at any later time: ``accord audit check --anchor``.
    """
    return Answer(audit_head(call, call.room.store.audit.head()).document())
