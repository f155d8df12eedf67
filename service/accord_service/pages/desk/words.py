"""What the desk's pages say of times, people, states and shares: words alone, nothing that is worked out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from flask import render_template

from accord_rules.documents.counted import counted
from accord_service.api.room import room

Document = Mapping[str, Any]

STATES: Mapping[str, str] = MappingProxyType(
    {
        "draft": "draft",
        "open": "open: stewards decide",
        "approved": "approved: waits to be published",
        "declined": "declined",
        "withdrawn": "withdrawn",
        "published": "published",
        "void": "void: the book moved on",
    }
)
EFFECT_STATES: Mapping[str, str] = MappingProxyType(
    {
        "working": "being worked out",
        "done": "worked out",
        "failed": "not worked out",
        "cancelled": "stopped",
        "void": "given up: the book moved on",
    }
)
_DOES: Mapping[str, str] = MappingProxyType(
    {
        "equal": "No answer becomes another",
        "mixed": "The book becomes stricter for some orders and looser for others",
    }
)
_DAY_S = 86_400
_ADDRESSED = re.compile(r" \((?:GET|POST|PUT|DELETE) /v1/[^)]*\)")


def page_of(template: str, **told: Any) -> str:
    """A template of the desk with the words that all of them use."""
    return render_template(f"desk/{template}", when=when, ago=ago, person=person, approvals=approvals, **told)


def when(instant: str | None) -> str:
    """An instant of the API as people read it."""
    return "" if instant is None else f"{instant[:10]} {instant[11:16]} UTC"


def ago(instant: str) -> str:
    """How long ago an instant of the API was, roughly."""
    seconds = room().now_s - datetime.fromisoformat(instant).timestamp()
    if seconds < 2 * 3600:
        return f"{counted(max(int(seconds // 60), 0), 'minute')} ago"
    if seconds < 2 * _DAY_S:
        return f"{int(seconds // 3600)} hours ago"
    return f"{int(seconds // _DAY_S)} days ago"


def days_until(day: str) -> int:
    """Days from today (UTC) to a day; below 0 where it is over."""
    return (date.fromisoformat(day) - datetime.fromtimestamp(room().now_s, UTC).date()).days


def person(signatory: Document | None, id_: str | None) -> str:
    """Whose key it is, by name, role and shop; by its id where nobody is known."""
    if signatory is None:
        return id_ or "nobody"
    shop = signatory["shop_id"]
    of = "the collective" if shop == "collective" else shop
    return f"{signatory['holder'] or id_}, {signatory['role']} of {of}"


def approvals(status: Document) -> str:
    """How many approvals count, of how many that are needed; how many that are, only the effect tells."""
    if status["shown"] is None:
        return "none before its effect is known"
    return f"{status['approvals_valid']} of {status['approvals_needed']}"


def decision(effect: Document) -> str:
    """What a change does as a whole, in a sentence."""
    told = effect["decision"]
    does = _DOES.get(told["kind"], f"The book becomes {told['kind']}")
    return f"{does}, decided {told['decided']}, for {told['holds_for']}."


def progress(effect: Document) -> str:
    """How far the working out of an effect is."""
    if effect["state"] != "working":
        because = f": {effect['ended_because']}" if effect["ended_because"] else ""
        return f"The effect is {EFFECT_STATES.get(effect['state'], effect['state'])}{because}"
    if effect["orders"] is None:
        return "The effect waits for its turn to be worked out."
    left = "" if effect["time_left_s"] is None else f", about {_lasting(effect['time_left_s'])} left"
    return f"The effect is being worked out: {effect['replayed']} of {counted(effect['orders'], 'order')}{left}."


def share(summary: Document) -> str:
    """The share of good pieces with its interval."""
    if summary["likely"] is None:
        return "Nothing counts any more: all of it was withdrawn."
    low, high, sure = (_percent(summary[name]) for name in ("low", "high", "credibility"))
    return f"Of many pieces, between {low} and {high} would come out good ({sure} sure)."


def plain(sentence: str) -> str:
    """The API's own sentence, without what it says to programs: which address to ask."""
    return _ADDRESSED.sub("", sentence)


def following(told: Document, address: str, kept: Mapping[str, str] | None = None) -> str | None:
    """The page that shows what the API's next page holds; None on the last."""
    if told["next"] is None:
        return None
    (cursor,) = parse_qs(urlsplit(told["next"]).query)["cursor"]
    return f"{address}?{urlencode({**(kept or {}), 'cursor': cursor})}"


def _percent(of_one: float) -> str:
    return f"{100 * of_one:.0f}\u00a0%"


def _lasting(seconds: int) -> str:
    minutes, rest = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s" if minutes else f"{rest} s"
