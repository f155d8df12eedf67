"""Signing in with a key, signing out, and the browsers that are signed in with a key."""

from __future__ import annotations

from contextlib import suppress

from flask import Response, make_response, redirect, render_template, request

from accord_service.api.endpoint import count_request, refuse_worthless
from accord_service.api.room import room
from accord_service.http.problems import NotAuthenticated, NotFound
from accord_service.http.roles import STOREFRONT
from accord_service.pages.visit import (
    Visit,
    is_signed_in,
    local_address,
    open_page,
    page,
    sign_browser_out,
    signed_in,
    signed_out,
)
from accord_service.store import SESSION_S, StoreAway

_UNKNOWN = "This key is not known. Copy all of it, from accord_ to its last letter; whoever made it can make another."


@open_page("/sign-in", methods=("GET", "POST"))
def sign_in() -> Response | str:
    """A key, once, and the browser is signed in for a working day; whoever is signed in already is led on."""
    if request.method == "GET":
        if is_signed_in():
            return make_response(redirect(local_address(request.args.get("to")), 303))
        return render_template("sign_in.html", to=local_address(request.args.get("to")), refused="")
    to = local_address(request.form.get("to"))
    try:
        token = _begin(request.form.get("key", "").strip())
    except NotAuthenticated as problem:
        return make_response(render_template("sign_in.html", to=to, refused=problem.detail), 401)
    return signed_in(make_response(redirect(to, 303)), token, SESSION_S)


def _begin(key: str) -> str:
    """The token of a new session for whoever holds the key. Raises NotAuthenticated."""
    here = room()
    with here.taken() as snapshot:
        caller = here.caller(key, snapshot) if key else None
        if caller is None:
            raise NotAuthenticated(_UNKNOWN if key else "Type or paste your key.")
        if caller.role == STOREFRONT:
            raise NotAuthenticated("A storefront's key is for the pages of a web shop: sign in with a key of your own.")
        refuse_worthless(caller, here.now_s)
        count_request(caller, here.now_s)
        _, token = here.store.sessions.begin(caller.key_id, request.user_agent.string)
        return token


@page("/sign-out", methods=("POST",))
def sign_out(visit: Visit) -> Response:
    """End this browser's session; one that the store could not be told of ends by itself."""
    with suppress(StoreAway):
        sign_browser_out(visit.session)
    return signed_out(make_response(redirect("/", 303)))


@page("/sessions")
def sessions(visit: Visit) -> str:
    """Every browser that is signed in with this key."""
    return render_template("sessions.html", sessions=room().store.sessions.of_key(visit.caller.key_id))


@page("/sessions/<session_id>/end", methods=("POST",))
def end_session(visit: Visit, session_id: str) -> Response:
    """Sign one of them out."""
    own = room().store.sessions.of_key(visit.caller.key_id)
    session = next((session for session in own if session.id == session_id), None)
    if session is None:
        raise NotFound("No browser is signed in by that name with this key.")
    sign_browser_out(session)
    return make_response(redirect("/sessions", 303))
