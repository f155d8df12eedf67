"""The steps that a person may take with a proposal: what the API would say to each is asked before it is offered."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from flask import request

from accord_service.api.endpoint import Endpoint
from accord_service.api.v1.post_proposal_approve import post_proposal_approve
from accord_service.api.v1.post_proposal_decline import post_proposal_decline
from accord_service.api.v1.post_proposal_effect_cancel import post_proposal_effect_cancel
from accord_service.api.v1.post_proposal_open import post_proposal_open
from accord_service.api.v1.post_proposal_publish import post_proposal_publish
from accord_service.api.v1.post_proposal_withdraw import post_proposal_withdraw
from accord_service.http.problems import Problem
from accord_service.pages.desk.words import Document, plain
from accord_service.pages.visit import Visit

LIVE = ("draft", "open", "approved")
DIGESTS = ("change_digest", "base_digest", "replay_digest")
_TRY_ONLY = {"validate_only": "true"}
_ANY_REASON = {"reason": "?"}
_NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Step:
    """A step: ``does`` says what it comes to; ``sends`` is what its form brings along, ``tries`` what is sent to find
    out whether it would be taken."""

    endpoint: Endpoint
    words: str
    does: str
    needs_reason: bool = False
    sends: Callable[[], Mapping[str, str]] = lambda: _NOTHING
    tries: Callable[[Document], Mapping[str, str]] = lambda status: _NOTHING


def _digests_seen() -> Mapping[str, str]:
    return {name: request.form.get(name, "") for name in DIGESTS}


def _digests_now(status: Document) -> Mapping[str, str]:
    return {name: status["digests"][name] or "none" for name in DIGESTS}


def _reason() -> Mapping[str, str]:
    return {"reason": request.form.get("reason", "").strip()}


STEPS: Mapping[str, Step] = MappingProxyType(
    {
        "approve": Step(
            post_proposal_approve,
            "Approve",
            "Exactly these changes, on this base, with this effect. Should one of them change, it counts no more.",
            sends=_digests_seen,
            tries=_digests_now,
        ),
        "publish": Step(
            post_proposal_publish,
            "Publish",
            "It becomes the next revision of the book, and every shop's answers come from it within two seconds.",
        ),
        "open": Step(
            post_proposal_open,
            "Work out the effect",
            "On all recorded orders of all shops and on orders at the edges of limits. Then stewards can decide.",
        ),
        "cancel": Step(
            post_proposal_effect_cancel, "Stop", "Stop working out the effect. It can be worked out again later."
        ),
        "decline": Step(
            post_proposal_decline,
            "Decline",
            "It ends here. The author and everybody else can read your reason.",
            needs_reason=True,
            sends=_reason,
            tries=lambda status: _ANY_REASON,
        ),
        "withdraw": Step(
            post_proposal_withdraw,
            "Withdraw",
            "Take your own proposal back. It ends here, with your reason.",
            needs_reason=True,
            sends=_reason,
            tries=lambda status: _ANY_REASON,
        ),
    }
)


@dataclass(frozen=True, slots=True)
class Offered:
    """A step on the page: ``refusal`` is the API's own sentence where it would not be taken, else empty."""

    name: str
    step: Step
    words: str
    refusal: str


def offered(visit: Visit, status: Document, *, working: bool) -> Iterator[Offered]:
    """The steps that this person's role may take with a proposal as it stands, the first the likeliest."""
    if status["state"] not in LIVE:
        return
    own = status["author_id"] == visit.caller.key_id
    hidden = {
        "open": working,
        "cancel": not working,
        "decline": own,
        "withdraw": not own,
        "publish": status["state"] == "draft",
    }
    for name, step in STEPS.items():
        if visit.may(step.endpoint) and not hidden.get(name, False):
            words = "Work out the effect anew" if name == "open" and status["shown"] is not None else step.words
            yield Offered(name, step, words, refusal(visit, status, step))


def refusal(visit: Visit, status: Document, step: Step) -> str:
    """Why the API would not take a step now, in its own sentence; empty where it would."""
    try:
        visit.ask(
            step.endpoint,
            path={"proposal_id": status["proposal_id"]},
            query=_TRY_ONLY,
            document=step.tries(status),
        )
    except Problem as problem:
        return plain(problem.detail or problem.title)
    return ""
