from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Whole, optional
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import News, NewsItem
from accord_service.api.governance_examples import NEWS
from accord_service.api.signatories import signatory
from accord_service.http.writing import Answer
from accord_service.steps import news
from accord_service.store import StoreBroken


@dataclass(frozen=True, slots=True)
class NewsQuery:
    """Since when."""

    since: int | None = optional(
        Whole(0, 999_999_999_999), about="seq of the news before; left out, nothing is told but where they begin"
    )


@endpoint(
    "GET",
    "/v1/news",
    operation_id="readNews",
    tag="Changes",
    answers=News,
    query=NewsQuery,
    examples=(Example("A revision was published", answer=NEWS),),
)
def get_news(call: Call) -> Answer:
    """Tell what happened since, as far as it concerns the key that asks.

    New revisions; to stewards, and to the shop that made a proposal, what becomes of it, and which wait for a decision;
    to a shop its probe readings, reports and changes; to admins and owners their keys. Cheap to ask every half minute:
    with If-None-Match the answer is 304 while nothing happened. The service calls nobody: ``accord watch`` asks, and
    what it prints can be passed on.
    """
    store, caller = call.room.store, call.caller
    reader = news.Reader(caller.role, caller.shop_id)
    head = store.audit.head().seq
    since = head if call.query.since is None else min(call.query.since, head)
    try:
        items, seq, more = news.since(store, since, reader)
    except ValueError as error:
        raise StoreBroken(f"after entry {since} the audit holds what is no entry: {error}") from None
    told = tuple(
        NewsItem(
            seq=item.entry.seq,
            at=item.entry.written_at,
            event=item.entry.event,
            subject_id=item.entry.subject_id,
            by=signatory(item.actor),
            text=item.text,
        )
        for item in items
    )
    waiting = store.proposals.list("open", limit=news.TOLD_MOST).items if caller.role == "steward" else ()
    ids = tuple(proposal.id for proposal in waiting if proposal.author != caller.key_id)
    return Answer(News(items=told, seq=seq, more=more, proposals_waiting=ids).document())
