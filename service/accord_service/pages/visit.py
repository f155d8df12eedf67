"""One request of a person who is signed in, and the decorator that makes a page of a function.

A page asks the API's own endpoints from within (``Visit.ask``), as the person's key: what a page shows and does is what
the API answers to that key, so there is no second way to judge, to write or to be allowed something.

    @page("/counter", methods=("GET",))
    def counter(visit: Visit) -> Response | str:
        told = visit.ask(post_validate, document=order)
        return render_template("counter.html", verdict=told.document)

Whatever changes something comes as POST, from a form that has ``{{ visit.form_fields() }}`` in it: who sends another
page's form in this person's name does not know its word (CSRF).
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from threading import Lock
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from flask import Response, g, make_response, redirect, render_template, request, url_for
from markupsafe import Markup

from accord_service.api.endpoint import Endpoint, Told, count_request, refuse_worthless
from accord_service.api.request import request_id
from accord_service.api.room import Room, Snapshot, room
from accord_service.api.store_problems import store_problems
from accord_service.http.problems import FormNotOurs, NotAuthenticated, Problem, RoleNotAllowed, document
from accord_service.http.roles import ROLES, STOREFRONT
from accord_service.steps.shops import Caller
from accord_service.store import SessionRecord, StoreAway, id_of

PEOPLE = tuple(role for role in ROLES if role != STOREFRONT)
COOKIE = "accord-session"
SIGN_IN = "/sign-in"
# How long a session is believed that a worker saw last, while the store that would say so is away.
BELIEVED_S = 15 * 60.0
# In the order of the header: address, words, and whose it is.
PLACES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("/counter", "Counter", PEOPLE),
    ("/records", "Records", PEOPLE),
    ("/library", "Library", PEOPLE),
    ("/shop", "Shop", ("counter", "operator", "owner")),
    ("/desk", "Steward's desk", ("operator", "owner", "steward", "admin")),
)
_EMPTY: Mapping[str, Any] = MappingProxyType({})
_KNOWN_MOST = 1000
_PAGE_MOST = "200"
# Of a form, as it is made here; none where only its word is sent, as by a page's script that has something tried.
_NUMBER = re.compile(r"(?:[0-9a-f]{32})?")
_WORD, _ONCE = FORM_FIELDS = ("form_word", "form_once")


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """Who asks for a page, and what is answered from. ``token``: the session's, which never leaves its cookie."""

    caller: Caller
    snapshot: Snapshot
    session: SessionRecord
    token: str

    def may(self, endpoint: Endpoint) -> bool:
        """Whether the person's role may ask this."""
        return self.caller.role in endpoint.roles

    def ask(
        self,
        endpoint: Endpoint,
        *,
        path: Mapping[str, str] = _EMPTY,
        query: Mapping[str, str] = _EMPTY,
        document: Mapping[str, Any] = _EMPTY,
        if_match: str | None = None,
    ) -> Told:
        """What the API answers to this person. A write is done once, however often its form is sent.

        ``if_match``: the ETag that the form was made from, as ``Told.etag`` said it. Raises Problem.
        """
        once = request.form.get(_ONCE) if request.method == "POST" and endpoint.writes else None
        return endpoint.ask(
            self.snapshot,
            self.caller,
            path=path,
            query=query,
            document=document,
            if_match=if_match,
            # A form may do several writes; each is done once.
            idempotency_key=f"{once}:{endpoint.operation_id}" if once else None,
        )

    def entries(
        self, endpoint: Endpoint, *, path: Mapping[str, str] = _EMPTY, query: Mapping[str, str] = _EMPTY
    ) -> list[Mapping[str, Any]]:
        """Every entry of a list, of all its pages, which are all of the first one's revision. Raises Problem."""
        wanted = {"limit": _PAGE_MOST, **query}
        entries: list[Mapping[str, Any]] = []
        while True:
            told = self.ask(endpoint, path=path, query=wanted).document
            entries += told["entries"]
            if told["next"] is None:
                return entries
            wanted = dict(parse_qsl(urlsplit(told["next"]).query))

    @property
    def form_word(self) -> str:
        """What this session's forms bring along, and nobody else's can: another each time, since who sees how long
        packed pages are could guess what is the same in all of them."""
        pad = secrets.token_bytes(hashlib.sha256().digest_size)
        return (pad + _apart(pad, self._word)).hex()

    def knows(self, form_word: str) -> bool:
        """Whether a form of this session brought this word along."""
        try:
            both = bytes.fromhex(form_word)
        except ValueError:
            return False
        half = len(self._word)
        return len(both) == 2 * half and hmac.compare_digest(_apart(both[:half], both[half:]), self._word)

    @property
    def _word(self) -> bytes:
        return hmac.new(self.token.encode(), b"forms", hashlib.sha256).digest()

    def form_fields(self) -> Markup:
        """The hidden fields of every form that changes something."""
        fields = Markup('<input type="hidden" name="{}" value="{}">')
        return fields.format(_WORD, self.form_word) + fields.format(_ONCE, secrets.token_hex(16))


@dataclass(frozen=True, slots=True)
class Page:
    """A page as the application routes it."""

    address: str
    name: str
    methods: tuple[str, ...]
    view: Callable[..., Response]


class _KnownSessions:
    """Sessions seen lately, for while the store is away; of one worker. Another may have ended one since: none is
    believed for longer than ``BELIEVED_S``."""

    def __init__(self) -> None:
        self._records: OrderedDict[str, tuple[SessionRecord, float]] = OrderedDict()
        self._lock = Lock()

    def note(self, record: SessionRecord, now_s: float) -> None:
        with self._lock:
            self._records[record.id] = record, now_s
            self._records.move_to_end(record.id)
            while len(self._records) > _KNOWN_MOST:
                self._records.popitem(last=False)

    def forget(self, id_: str) -> None:
        with self._lock:
            self._records.pop(id_, None)

    def get(self, id_: str, now_s: float) -> SessionRecord | None:
        with self._lock:
            record, seen_at = self._records.get(id_, (None, 0.0))
        holds = record is not None and now_s < min(record.expires_at, seen_at + BELIEVED_S)
        return record if holds else None


_known_sessions = _KnownSessions()


def page(
    address: str, *, methods: tuple[str, ...] = ("GET",), roles: tuple[str, ...] = PEOPLE
) -> Callable[[Callable[..., Response | str]], Page]:
    """Make a function of a visit, and of the parts of its address, the page at this address.

    Whoever is not signed in is led to the sign-in and back. A problem is shown as a page with its status; a page that
    takes a form catches its problems itself, so that what was typed is not lost.
    """

    def declare(run: Callable[..., Response | str]) -> Page:
        def view(**parts: str) -> Response:
            try:
                with room().taken() as snapshot, store_problems(replaces=True):
                    visit = _visit(snapshot)
                    if visit is None:
                        return _led_to_sign_in()
                    g.visit = visit
                    if visit.caller.role not in roles:
                        raise RoleNotAllowed(
                            f"This page is for {_listed(roles)}; you are signed in with a key of the role"
                            f" {visit.caller.role}."
                        )
                    if request.method == "POST":
                        _refuse_forged(visit)
                    response = make_response(run(visit, **parts))
            except NotAuthenticated:
                return _led_to_sign_in()
            except Problem as problem:
                response = problem_response(problem)
            return never_kept(response)

        return Page(address, f"page_{run.__name__}", methods, view)

    return declare


def open_page(address: str, *, methods: tuple[str, ...] = ("GET",)) -> Callable[[Callable[..., Response | str]], Page]:
    """The same for a page that anybody may ask for; its function gets no visit."""

    def declare(run: Callable[..., Response | str]) -> Page:
        def view(**parts: str) -> Response:
            try:
                with store_problems(replaces=True):
                    if request.method == "POST":
                        _refuse_other_sites()
                    response = make_response(run(**parts))
            except Problem as problem:
                response = problem_response(problem)
            return never_kept(response)

        return Page(address, f"page_{run.__name__}", methods, view)

    return declare


def never_kept(response: Response) -> Response:
    """What a person sees is nobody else's: no cache keeps it."""
    response.headers["Cache-Control"] = "no-store"
    return response


def problem_response(problem: Problem) -> Response:
    """A problem as a page."""
    told = document(problem, request_id())
    response = make_response(render_template("refused.html", problem=told, kind=type(problem)), problem.status)
    response.headers.extend(dict(problem.headers))
    return response


def told_to_templates() -> dict[str, Any]:
    """What every template knows: who is signed in (None where nobody is), and the places that roles may go to."""
    return {"visit": g.get("visit"), "PLACES": PLACES}


def moment(seconds: float) -> str:
    """Seconds since 1970 (UTC) as people read it; which time it is in stands beside it."""
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d %H:%M UTC")


def day(instant: str) -> str:
    """The day, in UTC, of an instant that an answer of the API says."""
    return instant[:10]


def signed_in(response: Response, token: str, seconds: int) -> Response:
    """Give the browser its session; over TLS it is never sent without."""
    response.set_cookie(
        COOKIE, token, max_age=seconds, path="/", secure=request.is_secure, httponly=True, samesite="Lax"
    )
    return response


def signed_out(response: Response) -> Response:
    """Take the browser's session away."""
    response.delete_cookie(COOKIE, path="/", secure=request.is_secure, httponly=True, samesite="Lax")
    return response


def local_address(text: str | None) -> str:
    """An address of ours to go on to; the counter's where this is none, since it may come from anywhere."""
    is_path = text is not None and text.startswith("/") and not text.startswith("//")
    return text if text and is_path and "\\" not in text and text.isprintable() else "/counter"


def _visit(snapshot: Snapshot) -> Visit | None:
    """Whoever this browser is signed in as. Raises NotAuthenticated for a key that expired, TooManyRequests."""
    token = request.cookies.get(COOKIE, "")
    if not token:
        return None
    here = room()
    session = _session(here, token)
    if session is None:
        return None
    caller = here.holder_of(session.key_id, snapshot)
    if caller is None:
        return None
    refuse_worthless(caller, here.now_s)
    count_request(caller, here.now_s)
    return Visit(caller=caller, snapshot=snapshot, session=session, token=token)


def sign_browser_out(session: SessionRecord) -> None:
    """Sign a browser out, here at once, whether or not the store can be told. Raises StoreAway where it can't."""
    _known_sessions.forget(session.id)
    room().store.sessions.end(session)


def is_signed_in() -> bool:
    """Whether this browser is; that it comes is not counted."""
    here = room()
    session = _session(here, request.cookies.get(COOKIE, ""))
    if session is None:
        return False
    with here.taken() as snapshot:
        caller = here.holder_of(session.key_id, snapshot)
        if caller is None:
            return False
        try:
            refuse_worthless(caller, here.now_s)
        except NotAuthenticated:
            return False
        return True


def _session(here: Room, token: str) -> SessionRecord | None:
    id_ = id_of(token)
    try:
        session = here.store.sessions.by_token(token)
    except StoreAway:
        return _known_sessions.get(id_, here.now_s)  # answers go on while the store is away, for people too
    if session is None:
        _known_sessions.forget(id_)
    else:
        _known_sessions.note(session, here.now_s)
    return session


def _led_to_sign_in() -> Response:
    """To the sign-in, and from there back; what was posted is not sent again."""
    back = request.full_path.removesuffix("?") if request.method == "GET" else None
    response = redirect(url_for("page_sign_in", to=back), 303)
    return never_kept(make_response(response))


def _refuse_forged(visit: Visit) -> None:
    """Raises FormNotOurs for a form that no page of ours made for this session."""
    _refuse_other_sites()
    if not visit.knows(request.form.get(_WORD, "")):
        raise FormNotOurs()
    if not _NUMBER.fullmatch(request.form.get(_ONCE, "")):
        raise FormNotOurs()


def _refuse_other_sites() -> None:
    """Raises FormNotOurs where the browser says that another site's page sent this."""
    request.max_content_length = room().config.body_limit
    site = request.headers.get("Sec-Fetch-Site", "same-origin")
    origin = request.headers.get("Origin")
    is_ours = origin is None or origin.partition("://")[2] == request.host
    if site not in ("same-origin", "none") or not is_ours:
        raise FormNotOurs()


def _apart(pad: bytes, word: bytes) -> bytes:
    return bytes(one ^ other for one, other in zip(pad, word, strict=True))


def _listed(words: tuple[str, ...]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
