"""What the library's pages ask of the API, beyond the one entry that each shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from flask import Response, make_response, redirect, request

from accord_service.api.endpoint import Endpoint
from accord_service.api.v1.get_entry_history import get_entry_history
from accord_service.api.v1.get_house_rules import get_house_rules
from accord_service.api.v1.get_limit import get_limit
from accord_service.api.v1.get_revision_changes import get_revision_changes
from accord_service.api.v1.get_source import get_source
from accord_service.http.problems import BadQuery, NotFound, Problem
from accord_service.pages.library.rendering import as_of, rendered, suffix
from accord_service.pages.library.showing import Document, limit_value, units_of
from accord_service.pages.library.words import address_of
from accord_service.pages.visit import Visit

HISTORY_SHOWN = "10"


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A limit as a page shows it, in the visitor's units; ``own`` is the shop's stricter value, empty without one."""

    id: str
    title: str
    value: str
    as_written: str
    own: str
    stricter: str
    safety: bool
    kind: str
    sources: tuple[str, ...]


def all_entries(visit: Visit, endpoint: Endpoint, **named: Any) -> list[Document]:
    """Every entry of a list, page by page, all of one revision."""
    return visit.entries(endpoint, query=as_of(), **named)


def sources_of(visit: Visit, names: Sequence[str]) -> list[Document]:
    """Sources by name, whole."""
    return [visit.ask(get_source, path={"name": name}, query=as_of()).document for name in names]


def own_limits(visit: Visit) -> Mapping[str, Any]:
    """The limits that the visitor's shop has made stricter, as its house rules write them."""
    if visit.caller.shop is None or not visit.may(get_house_rules):
        return {}
    limits: Mapping[str, Any] = visit.ask(get_house_rules).document.get("limits", {})
    return limits


def numbers_of(visit: Visit, names: Sequence[str]) -> list[Number]:
    """Limits by name, with where the visitor's shop is stricter."""
    own, preferences = own_limits(visit), units_of(visit)
    told = (visit.ask(get_limit, path={"name": name}, query=as_of()).document for name in names)
    return [
        Number(
            id=limit["id"],
            title=limit["entry"]["title"],
            value=limit_value(limit["entry"], preferences),
            as_written=str(limit["entry"]["value"]),
            own=limit_value(limit["entry"], preferences, own[limit["id"]]) if limit["id"] in own else "",
            stricter=limit["entry"]["stricter"],
            safety=limit["entry"]["safety"],
            kind=limit["kind"],
            sources=tuple(limit["entry"]["sources"]),
        )
        for limit in told
    ]


def history_of(visit: Visit, kind: str, name: str) -> Document | None:
    """The revisions that changed an entry, as far back as one question looks; from where the visitor asks on."""
    told = _history(visit, kind, name, request.args.get("before"))
    if told is None:
        return None
    further = dict(parse_qsl(urlsplit(told["next"]).query)).get("cursor") if told["next"] else None
    return {**told, "further": further and "?" + urlencode({**as_of(), "before": further}) + "#history"}


def _history(visit: Visit, kind: str, name: str, newest: str | None) -> Document | None:
    """The same, from a revision back; None where there never was such an entry, or no such revision is."""
    query = {"limit": HISTORY_SHOWN, **({"cursor": newest} if newest else {})}
    try:
        return visit.ask(get_entry_history, path={"kind": kind, "name": name}, query=query).document
    except (NotFound, BadQuery):
        return None


def shown_or_led_on(visit: Visit, kind: str, name: str, show: Callable[[], Response | str]) -> Response | str:
    """A page of an entry. Another word for one leads to it, one that is gone to what is left of it, and one that an old
    revision did not have yet to when it came."""
    try:
        return show()
    except NotFound as problem:
        instead = _other_word(problem)
        if instead is not None:
            return make_response(redirect(address_of(kind, instead) + suffix(), 303))
        absent = _absent(visit, kind, name)
        if absent is None:
            raise
        return absent


def _absent(visit: Visit, kind: str, name: str) -> Response | None:
    """Why the revision that the visitor asks for lacks an entry that others have; None where it is not known."""
    revision = as_of().get("revision")
    until, history = _history(visit, kind, name, revision), history_of(visit, kind, name)
    if until is None or history is None or (revision is not None and int(revision) > history["head"]):
        return None
    shown = {"kind": kind, "name": name, "history": history}
    if until["entries"]:
        last = until["entries"][0]
        if last["what"] != "removed":
            return None
        came = _came_instead(visit, kind, last["revision"])
        return make_response(rendered("library_gone.html", gone=last, came=came, **shown), 410)
    added = [change for change in history["entries"] if change["what"] == "added"]
    if until["next"] is not None or not added:
        return None
    return make_response(rendered("library_not_yet.html", first=added[-1], **shown), 404)


def _other_word(problem: Problem) -> str | None:
    """The one entry that a word of people stands for, where the API says that it is one."""
    words = [fault.allowed for fault in problem.faults if "is a word for" in fault.message]
    return str(words[0][0]) if words and len(words[0]) == 1 else None


def _came_instead(visit: Visit, kind: str, revision: int) -> list[str]:
    """The entries of a kind that came with the revision that took one out."""
    changes = visit.ask(get_revision_changes, path={"revision": str(revision)}).document["changes"]
    return [change["id"] for change in changes if change["kind"] == kind and change["before"] == "none"]
