"""Revisions of the book: what each changed, by whom and why, and the way back."""

from __future__ import annotations

from flask import Response, make_response, redirect, request

from accord_service.api.v1.get_revision import get_revision
from accord_service.api.v1.get_revision_changes import get_revision_changes
from accord_service.api.v1.get_revisions import get_revisions
from accord_service.api.v1.post_revision_revert import post_revision_revert
from accord_service.http.problems import NotFound, Problem
from accord_service.pages.desk.changes import readable
from accord_service.pages.desk.words import following, page_of
from accord_service.pages.visit import Visit, page


@page("/desk/revisions")
def desk_revisions(visit: Visit) -> str:
    """Every revision, newest first."""
    cursor = request.args.get("cursor")
    told = visit.ask(get_revisions, query={"limit": "50"} | ({"cursor": cursor} if cursor else {})).document
    return page_of(
        "revisions.html", revisions=told["entries"], head=told["head"], following=following(told, "/desk/revisions")
    )


@page("/desk/revisions/<revision>")
def desk_revision(visit: Visit, revision: str) -> str:
    """One revision."""
    return _shown(visit, revision)


@page("/desk/revisions/<revision>/revert", methods=("POST",))
def desk_revision_revert(visit: Visit, revision: str) -> Response | str:
    """Propose to go back to a revision."""
    reason = request.form.get("reason", "").strip()
    try:
        told = visit.ask(post_revision_revert, path={"revision": revision}, document={"reason": reason})
    except NotFound:
        raise
    except Problem as problem:
        return make_response(_shown(visit, revision, problem=problem, reason=reason), problem.status)
    return make_response(redirect(f"/desk/proposals/{told.document['proposal_id']}", 303))


def _shown(visit: Visit, revision: str, *, problem: Problem | None = None, reason: str = "") -> str:
    path = {"revision": revision}
    told = visit.ask(get_revision, path=path).document
    changes = visit.ask(get_revision_changes, path=path).document["changes"]
    head = visit.ask(get_revisions, query={"limit": "1"}).document["head"]
    number = told["revision"]
    # The way back from the newest one is to the one before it.
    back_to = number if number < head or problem is not None else number - 1
    return page_of(
        "revision.html",
        revision=told,
        head=head,
        changes=readable(changes),
        back_to=back_to if back_to and visit.may(post_revision_revert) else None,
        problem=problem,
        reason=reason,
    )
