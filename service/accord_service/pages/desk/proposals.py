"""Proposals: the list, one with all that a decision needs, and the steps of its life."""

from __future__ import annotations

from typing import Any

from flask import Response, jsonify, make_response, redirect, request

from accord_rules.governance.words import STATES as ALL_STATES
from accord_service.api.v1.get_proposal import get_proposal
from accord_service.api.v1.get_proposal_changes import get_proposal_changes
from accord_service.api.v1.get_proposal_effect import get_proposal_effect
from accord_service.api.v1.get_proposal_status import get_proposal_status
from accord_service.api.v1.get_proposals import get_proposals
from accord_service.http.problems import NotFound, Problem
from accord_service.pages.desk import words
from accord_service.pages.desk.changes import readable
from accord_service.pages.desk.effect import EffectView, effect_view
from accord_service.pages.desk.steps import DIGESTS, LIVE, STEPS, offered
from accord_service.pages.desk.words import Document, page_of
from accord_service.pages.visit import Visit, page

LISTED = "50"


@page("/desk/proposals")
def desk_proposals(visit: Visit) -> str:
    """Every proposal, newest first; of one state if that is wished."""
    state = request.args.get("state", "")
    query = {"limit": LISTED} | {name: value for name in ("state", "cursor") if (value := request.args.get(name))}
    told = visit.ask(get_proposals, query=query).document
    return page_of(
        "proposals.html",
        proposals=told["entries"],
        state=state,
        states=ALL_STATES,
        state_words=words.STATES,
        following=words.following(told, "/desk/proposals", {"state": state} if state else None),
    )


@page("/desk/proposals/<proposal_id>")
def desk_proposal(visit: Visit, proposal_id: str) -> str:
    """One proposal: what it changes, why, what that does, who may decide, and the steps that can be taken."""
    return _shown(visit, proposal_id)


@page("/desk/proposals/<proposal_id>/status")
def desk_proposal_status(visit: Visit, proposal_id: str) -> Response:
    """How far a proposal is, for the page to look after itself: 304 while nothing moved."""
    status = visit.ask(get_proposal_status, path={"proposal_id": proposal_id}).document
    effect = _effect(visit, proposal_id)
    told = {
        "working": effect is not None and effect.working,
        "progress": "" if effect is None else effect.progress,
        "version": status["version"],
    }
    response = jsonify(told)
    response.add_etag()
    response.make_conditional(request)
    return response


@page("/desk/proposals/<proposal_id>/<step>", methods=("POST",))
def desk_proposal_step(visit: Visit, proposal_id: str, step: str) -> Response | str:
    """Take a step; where it is refused, the page says why beside its button, and keeps what was typed."""
    if step not in STEPS:
        raise NotFound(f"There is no step {step:.40} that a proposal could take.")
    wanted = STEPS[step]
    try:
        told = visit.ask(wanted.endpoint, path={"proposal_id": proposal_id}, document=wanted.sends())
    except NotFound:
        raise
    except Problem as problem:
        shown = _shown(visit, proposal_id, step=step, problem=problem, reason=request.form.get("reason", ""))
        return make_response(shown, problem.status)
    if step == "publish":
        return make_response(redirect(f"/desk/revisions/{told.document['revision']}", 303))
    return make_response(redirect(f"/desk/proposals/{proposal_id}", 303))


def _shown(visit: Visit, proposal_id: str, *, step: str = "", problem: Problem | None = None, reason: str = "") -> str:
    path = {"proposal_id": proposal_id}
    status = visit.ask(get_proposal_status, path=path).document
    effect = _effect(visit, proposal_id)
    return page_of(
        "proposal.html",
        proposal=visit.ask(get_proposal, path=path).document,
        status=status,
        state_words=words.STATES,
        changes=readable(visit.ask(get_proposal_changes, path=path).document["changes"]),
        effect=effect,
        live=status["state"] in LIVE,
        needs=_needs(status),
        steps=tuple(offered(visit, status, working=effect is not None and effect.working)),
        digests={name: status["digests"][name] for name in DIGESTS},
        refused=step,
        refusal=None if problem is None else _sentence(problem),
        reason=reason,
    )


def _effect(visit: Visit, proposal_id: str) -> EffectView | None:
    """The effect as far as it is; None where nobody asked for it, and for whom it is not told."""
    if not visit.may(get_proposal_effect):
        return None
    try:
        return effect_view(visit.ask(get_proposal_effect, path={"proposal_id": proposal_id}).document)
    except NotFound:
        return None


def _needs(status: Document) -> str:
    """Who may decide, and what still lacks."""
    if status["shown"] is None:
        return "Its effect has to be worked out first. Then a steward of another shop than the author's can approve it."
    if status["approvals_needed"] > 1:
        who = "It loosens what keeps people safe, so it needs stewards of two shops, neither of them the author's."
    else:
        who = "It needs a steward of another shop than the author's."
    there, needed = status["approvals_valid"], status["approvals_needed"]
    return f"{who} {'It has all it needs.' if there >= needed else f'So far it has {there} of {needed}.'}"


def _sentence(problem: Problem) -> str:
    """What the API refused, with every fault it named."""
    faults: list[Any] = [f"{fault.pointer.rpartition('/')[2]} {fault.sentence}".strip() for fault in problem.faults]
    return words.plain(" ".join(filter(None, (problem.detail or f"{problem.title}.", "; ".join(faults)))))
