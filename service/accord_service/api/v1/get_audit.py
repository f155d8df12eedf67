from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Whole, optional
from accord_service.api.endpoint import Asked, Example, endpoint
from accord_service.api.governance_answers import Audit, AuditEntry, AuditHead
from accord_service.api.governance_examples import AUDIT
from accord_service.http.writing import Answer
from accord_service.store import StoreBroken


@dataclass(frozen=True, slots=True)
class AuditQuery:
    """Which page."""

    after: int = optional(Whole(0, 1_000_000_000), 0, about="only entries after this one")
    limit: int = optional(Whole(1, 500), 100, about="entries a page; 100 when left out")


@endpoint(
    "GET",
    "/v1/audit",
    tag="Administration",
    answers=Audit,
    query=AuditQuery,
    examples=(Example("The first entry", answer=AUDIT),),
)
def get_audit(asked: Asked) -> Answer:
    """List every write there ever was, oldest first, each sealed to the one before.

    Whoever reads all of it can check the chain: ``accord audit verify`` does.
    """
    audit, query = asked.room.store.audit, asked.query
    head = audit.head()
    try:
        entries = audit.entries(query.after, query.limit)
    except ValueError as error:
        raise StoreBroken(f"after entry {query.after} the audit holds what is no entry: {error}") from None
    last = entries[-1].seq if entries else query.after
    following = f"/v1/audit?after={last}&limit={query.limit}" if entries and last < head.seq else None
    shown = Audit(AuditHead(head.seq, head.hash), tuple(AuditEntry(**each.document()) for each in entries), following)
    return Answer(shown.document())
