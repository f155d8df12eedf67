from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, Flag, Text, optional
from accord_service.api.audit import audit_entries, audit_head
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Audit
from accord_service.api.governance_examples import AUDIT
from accord_service.http.paging import PageQuery, next_address, number_in
from accord_service.http.writing import Answer
from accord_service.store import ChainHead, Event, SealedEntry, StoreBroken

# Entries that are looked through for one answer.
LOOKED_THROUGH_MOST = 1000


@dataclass(frozen=True, slots=True)
class AuditQuery(PageQuery):
    """Which entries."""

    event: str | None = optional(Choice(tuple(Event)), about="only those of this kind")
    id: str | None = optional(Text(200), about="only what this key did, and what was done to what has this id")
    newest_first: bool = optional(Flag(), False, about="whether to begin at the end")


@endpoint(
    "GET",
    "/v1/audit",
    operation_id="listAuditEntries",
    tag="Administration",
    answers=Audit,
    query=AuditQuery,
    examples=(Example("The first entry", answer=AUDIT),),
)
def get_audit(call: Call) -> Answer:
    """List every write there ever was, oldest first, each sealed to the one before; newest first if wished.

    Whoever reads all of it can check the chain: ``accord audit check`` does. Of ids of keys it says whose they are.
    Where only some are asked for, a page may be short: an answer looks through a thousand.
    """
    query, head = call.query, call.room.store.audit.head()
    looked_through = _looked_through(call, head)
    wanted = tuple(entry for entry in looked_through if _is_wanted(entry, query))
    entries = wanted[: query.limit]
    # Where not all of them are told, the next page goes on behind the last one that is.
    last = entries[-1:] if len(wanted) > len(entries) else looked_through[-1:]
    end = 1 if query.newest_first else head.seq
    following = next((str(entry.seq) for entry in last if entry.seq != end), None)
    filters = {"event": query.event, "id": query.id, "newest_first": "true" if query.newest_first else None}
    address = next_address("/v1/audit", following, query, filters)
    return Answer(Audit(audit_head(call, head), audit_entries(call, entries), address).document())


def _looked_through(call: Call, head: ChainHead) -> tuple[SealedEntry, ...]:
    """The entries that this page is chosen from, in its order. Raises StoreBroken."""
    query = call.query
    most = query.limit if query.event is None and query.id is None else LOOKED_THROUGH_MOST
    if query.newest_first:
        before = min(number_in(query) or head.seq + 1, head.seq + 1)
        after = max(before - 1 - most, 0)
        most = before - 1 - after
    else:
        after = number_in(query) or 0
    try:
        entries = call.room.store.audit.entries(after, most) if most else ()
    except ValueError as error:
        raise StoreBroken(f"after entry {after} the audit holds what is no entry: {error}") from None
    return entries[::-1] if query.newest_first else entries


def _is_wanted(entry: SealedEntry, query: AuditQuery) -> bool:
    return query.event in (None, entry.event) and query.id in (None, entry.actor_id, entry.subject_id)
