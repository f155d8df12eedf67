"""The steward's desk: what waits, what came since, and what is old or poor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from flask import Response, make_response, redirect, request

from accord_service.api.room import room
from accord_service.api.v1.get_audit_head import get_audit_head
from accord_service.api.v1.get_news import get_news
from accord_service.api.v1.get_proposals import get_proposals
from accord_service.api.v1.get_revisions import get_revisions
from accord_service.api.v1.get_shops import get_shops
from accord_service.pages.desk import words
from accord_service.pages.desk.audit import KEEPERS
from accord_service.pages.desk.outcomes import outcomes_of
from accord_service.pages.desk.shops import bundles_of
from accord_service.pages.desk.steps import STEPS, refusal
from accord_service.pages.desk.words import Document, page_of
from accord_service.pages.numbers import whole
from accord_service.pages.visit import Visit, page

SEEN_COOKIE = "accord-news-seen"
# Without a word of what was seen, the news of so many entries of the audit are told, and so many of them shown.
LOOKED_BACK, NEWS_MOST = 500, 12
_YEAR_S = 365 * 86_400


@page("/desk")
def desk(visit: Visit) -> str:
    """All that a steward looks at first."""
    waiting, others = _open_proposals(visit)
    news, seq = _news(visit)
    drafts = _in_state(visit, "draft")
    return page_of(
        "front.html",
        waiting=waiting,
        others=others,
        approved=_in_state(visit, "approved"),
        drafts=[draft for draft in drafts if draft["author_id"] == visit.caller.key_id],
        program_drafts=[draft for draft in drafts if draft["author"] is None],
        state_words=words.STATES,
        news=news[:NEWS_MOST],
        news_left_out=sum(1 + item.alike for item in news[NEWS_MOST:]),
        seq=seq,
        revisions=visit.ask(get_revisions, query={"limit": "5"}).document["entries"],
        poor=outcomes_of(visit, poor=True),
        **_kept_by_stewards(visit),
    )


@page("/desk/seen", methods=("POST",))
def desk_seen(visit: Visit) -> Response:
    """The news were read; this browser remembers up to where."""
    seq = request.form.get("seq", "")
    response = make_response(redirect("/desk", 303))
    if seq.isascii() and seq.isdecimal():
        response.set_cookie(
            SEEN_COOKIE,
            seq[:12],
            max_age=_YEAR_S,
            path="/desk",
            secure=request.is_secure,
            httponly=True,
            samesite="Lax",
        )
    return response


def _open_proposals(visit: Visit) -> tuple[list[Document], list[tuple[Document, str]]]:
    """The open proposals that this person may approve now, and the others, each with why not."""
    waiting: list[Document] = []
    others: list[tuple[Document, str]] = []
    approve = STEPS["approve"]
    for proposal in _in_state(visit, "open"):
        why = refusal(visit, proposal, approve) if visit.may(approve.endpoint) else ""
        if why or not visit.may(approve.endpoint):
            others.append((proposal, why))
        else:
            waiting.append(proposal)
    return waiting, others


def _in_state(visit: Visit, state: str) -> list[Document]:
    told = visit.ask(get_proposals, query={"state": state, "limit": "30"})
    return list(told.document["entries"])


@dataclass(frozen=True, slots=True)
class NewsLine:
    """News, and how many of the same kind by the same person came right before."""

    item: Document
    alike: int


def _news(visit: Visit) -> tuple[list[NewsLine], int]:
    """What happened since it was last said to be seen, newest first, and up to where that is."""
    head = visit.ask(get_news).document["seq"]
    seen = request.cookies.get(SEEN_COOKIE, "")
    number = whole(seen)
    since = max(head - LOOKED_BACK, 0) if number is None else min(number, head)
    told = visit.ask(get_news, query={"since": str(since)}).document
    alike = groupby(reversed(told["items"]), key=lambda item: (item["event"], item["by"]))
    runs = (tuple(items) for _, items in alike)
    return [NewsLine(run[0], len(run) - 1) for run in runs], told["seq"]


def _kept_by_stewards(visit: Visit) -> Mapping[str, Any]:
    """Bundles and audit, for those who look after them."""
    if visit.caller.role not in KEEPERS:
        return {"old_bundles": None, "audit": None, "unfaithful": None}
    told = visit.ask(get_shops, query={"limit": "200"}).document
    unfaithful = room().state().audit
    return {
        "old_bundles": [shop for shop in bundles_of(visit, told) if shop.wants],
        "audit": visit.ask(get_audit_head).document,
        "unfaithful": None if unfaithful is None else unfaithful.detail,
    }
