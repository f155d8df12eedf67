"""The audit: its entries from the end, where it ends, and a check of the whole store on request."""

from __future__ import annotations

from flask import Response, make_response, request

from accord_service.api.endpoint import Told
from accord_service.api.v1.get_audit import get_audit
from accord_service.api.v1.get_audit_check import get_audit_check
from accord_service.http.problems import Problem
from accord_service.pages.desk.words import Document, following, page_of
from accord_service.pages.visit import Visit, page
from accord_service.store import Event

KEEPERS = ("steward", "admin")
_FILTERS = ("event", "id")
# Where an event's word alone is not what people say.
_EVENTS = {
    Event.PROPOSAL_EFFECT_STARTED: "proposal: effect asked for",
    Event.PROPOSAL_EFFECT_ENDED: "proposal: effect not worked out",
    Event.PROPOSAL_OPENED: "proposal: effect worked out",
    Event.PROPOSAL_REOPENED: "proposal: lost an approval",
    Event.PROPOSAL_VOIDED: "proposal: void, the book moved on",
    Event.HOUSE_RULES_REPLACED: "house rules: changed",
    Event.SHOP_REPLACED: "shop: changed",
    Event.RECORD_REFERENCE_DELETED: "record: reference deleted",
    Event.STORE_ADOPTED: "store: sealed as it was",
}


def event_words(event: str) -> str:
    """An event as people say it: key.issued is "key: issued"."""
    return _EVENTS.get(Event(event)) or event.replace(".", ": ").replace("-", " ")


@page("/desk/audit", methods=("GET", "POST"), roles=KEEPERS)
def desk_audit(visit: Visit) -> Response | str:
    """Entries, newest first; sent as a form, the whole store is checked as well."""
    if request.method == "GET":
        return _shown(visit)
    anchor = request.form.get("anchor", "").strip()
    try:
        account = visit.ask(get_audit_check, query={"anchor": anchor} if anchor else {})
    except Problem as problem:
        return make_response(_shown(visit, problem=problem, anchor=anchor), problem.status)
    return _shown(visit, account=account, anchor=anchor)


def _shown(visit: Visit, *, account: Told | None = None, problem: Problem | None = None, anchor: str = "") -> str:
    filters = {name: value for name in _FILTERS if (value := request.args.get(name, "").strip())}
    cursor = request.args.get("cursor")
    query = {"limit": "50", "newest_first": "true"} | filters | ({"cursor": cursor} if cursor else {})
    told = visit.ask(get_audit, query=query).document
    return page_of(
        "audit.html",
        head=told["head"],
        entries=told["entries"],
        filters=filters,
        events=sorted(Event),
        event_words=event_words,
        subject=_subject,
        following=following(told, "/desk/audit", filters),
        account=None if account is None else account.document,
        problem=problem,
        anchor=anchor,
    )


def _subject(entry: Document) -> tuple[str, str | None]:
    """What it was done to, and the page that shows it."""
    id_, event = entry["subject_id"], entry["event"]
    if id_ is None:
        return "several", None
    if event.startswith("proposal."):
        return id_, f"/desk/proposals/{id_}"
    if event == Event.REVISION_PUBLISHED:
        return f"revision {id_}", f"/desk/revisions/{id_}"
    return id_, None
