from __future__ import annotations

from accord_service.api.audit import audit_entries, audit_head
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Audit
from accord_service.api.governance_examples import AUDIT
from accord_service.http.paging import PageQuery, next_address, number_in
from accord_service.http.writing import Answer
from accord_service.store import StoreBroken


@endpoint(
    "GET",
    "/v1/audit",
    operation_id="listAuditEntries",
    tag="Administration",
    answers=Audit,
    query=PageQuery,
    examples=(Example("The first entry", answer=AUDIT),),
)
def get_audit(call: Call) -> Answer:
    """List every write there ever was, oldest first, each sealed to the one before.

    Whoever reads all of it can check the chain: ``accord audit check`` does. Of ids of keys it says whose they are.
    """
    audit, query = call.room.store.audit, call.query
    after = number_in(query) or 0
    head = audit.head()
    try:
        entries = audit.entries(after, query.limit)
    except ValueError as error:
        raise StoreBroken(f"after entry {after} the audit holds what is no entry: {error}") from None
    more = bool(entries) and entries[-1].seq < head.seq
    following = next_address("/v1/audit", str(entries[-1].seq) if more else None, query)
    return Answer(Audit(audit_head(call, head), audit_entries(call, entries), following).document())
