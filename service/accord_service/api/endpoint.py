"""One decorator ties together what an endpoint is: address, shapes, statuses and who may call it.

The function it decorates takes an :class:`Call` and gives an :class:`Answer`, or, for writes, what :class:`Prepared`
says; it never touches Flask. The same declaration makes the route here and the description in ``openapi``.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from types import MappingProxyType
from typing import Any, cast

from flask import Response, after_this_request, g, request, stream_with_context
from werkzeug.datastructures import ETags
from werkzeug.http import http_date, parse_etags

from accord_rules.authority import Authority
from accord_rules.documents.counted import counted
from accord_rules.documents.reading import DocumentError, Fault, Flag, Whole, escape, optional
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import unknown_in
from accord_service.api import lines, table
from accord_service.api.request import note, request_id, timed
from accord_service.api.room import Room, Snapshot, room
from accord_service.api.store_problems import store_problems
from accord_service.api.tags import OF_ORDERS, require_tag
from accord_service.http import roles, wire
from accord_service.http.body import json_of, refuse_other_media
from accord_service.http.coding import unpacked
from accord_service.http.problems import (
    AddressTooLong,
    AlreadyThere,
    BadHeader,
    BadQuery,
    BodyTooLarge,
    ChangedMeanwhile,
    CodingNotUnderstood,
    ColumnsNotClear,
    ExpectationRefused,
    FaultyDocument,
    HeaderTooLarge,
    HouseRulesDoNotFit,
    IfMatchNeeded,
    InternalError,
    KeyUsedBefore,
    MalformedJson,
    NoShop,
    NotAuthenticated,
    NotFound,
    NotReady,
    OriginNotListed,
    Problem,
    RequestTooSlow,
    RoleNotAllowed,
    ShopDoesNotFit,
    StillUnderWay,
    StoreUnavailable,
    TooManyHeavy,
    TooManyRequests,
    UnreadableRequest,
    VersionNotServed,
    WrongMediaType,
)
from accord_service.http.writing import (
    ATTEMPTS,
    IDEMPOTENCY_KEY,
    IF_MATCH,
    Answer,
    Prepared,
    Repeatable,
    etag,
    idempotency_key,
    if_match,
    request_digest,
)
from accord_service.run.times import instant
from accord_service.steps.shops import Caller, KnownShop
from accord_service.worker.admission import BOOKS, LINES, QUESTIONS, admit_heavy, admitted_before, asker, is_heavy
from accord_service.worker.rates import SHOP, WINDOW_S

_EMPTY: Mapping[str, Any] = MappingProxyType({})
# Whatever has an id: names that people give are of this alphabet, as are the ids that are made here.
ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
ID_ALPHABET = "ids are 1 to 80 of the letters a to z, digits, hyphens, underscores and dots"
_INVALID_TOKEN = MappingProxyType({"WWW-Authenticate": 'Bearer realm="platen-accord", error="invalid_token"'})
BASIS_HEADER = "Accord-Basis"
# What waits before is done by then, as a rule: most heavy questions take a tenth of a second, the worst 1.5 s.
HEAVY_RETRY_S = "2"
# A cache may keep it, and has to ask each time whether it still holds.
REVALIDATED = "private, no-cache"
# What any request may be told; a judged one, one with a body, a write.
_OF_ALL = (
    BadQuery,
    UnreadableRequest,
    NotAuthenticated,
    RequestTooSlow,
    AddressTooLong,
    ExpectationRefused,
    TooManyRequests,
    HeaderTooLarge,
    InternalError,
    CodingNotUnderstood,
    NotReady,
    StoreUnavailable,
    VersionNotServed,
)
_OF_JUDGING = (NoShop, ShopDoesNotFit, HouseRulesDoNotFit)
_OF_BODIES = (MalformedJson, BodyTooLarge, WrongMediaType, FaultyDocument)
_OF_STOREFRONTS = (OriginNotListed, RoleNotAllowed)
_OF_WRITES = (BadHeader, StillUnderWay, KeyUsedBefore)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """A request as an endpoint sees it: ``body`` and ``query`` are the dataclasses it declared.

    ``document`` is the body as it was sent; ``if_match`` what that header names, and ``version`` the version of what it
    names, which is what is there now (None and 0 where the endpoint replaces nothing).
    """

    room: Room
    snapshot: Snapshot
    caller: Caller
    path: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    query: Any = None
    body: Any = None
    document: Mapping[str, Any] = field(default_factory=lambda: _EMPTY)
    if_match: ETags | None = None
    version: int = 0

    @property
    def book(self) -> Book:
        """The book to answer from."""
        return self.snapshot.book

    @property
    def own(self) -> KnownShop:
        """The caller's shop. Raises NoShop for a key that belongs to none."""
        if self.caller.shop is None:
            raise NoShop(f"This {self.caller.role}'s key belongs to no shop: one of the shop that is meant is needed.")
        return self.caller.shop

    @property
    def shop(self) -> Shop:
        """The caller's shop as the book knows it. Raises NoShop, ShopDoesNotFit."""
        return self.own.at(self.book, self.room.today)

    @property
    def authority(self) -> Authority:
        """The authority over the book, under the house rules of the caller's shop. Raises HouseRulesDoNotFit."""
        return self.snapshot.authority_for(self.caller.shop)

    @property
    def kept_filters(self) -> Mapping[str, Any]:
        """The query parameters that the next page's address must have too, beside its own.

        The pages of a list are those of one revision, the first page's, whatever is published meanwhile.
        """
        return {"revision": self.book.revision}


@dataclass(frozen=True, slots=True, kw_only=True)
class Deprecation:
    """An endpoint that will go: since when that is said, when it goes (None: not decided), and where to ask instead."""

    since: datetime
    sunset: datetime | None
    successor: str

    def mark(self, response: Response) -> Response:
        """Say so in an answer (RFC 9745, RFC 8594, RFC 5829 section 3.2)."""
        response.headers["Deprecation"] = f"@{int(self.since.timestamp())}"
        if self.sunset is not None:
            response.headers["Sunset"] = http_date(self.sunset)
        response.headers["Link"] = f'<{self.successor}>; rel="successor-version"'
        return response


@dataclass(frozen=True, slots=True)
class Told:
    """An answer as whoever asks from outside would read it: the document in plain JSON, its ETag for If-Match."""

    document: Mapping[str, Any]
    etag: str
    status: int
    headers: Mapping[str, str]


# A document of an example, or how it follows from the book.
Shown = Mapping[str, Any] | Callable[[Book], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Example:
    """A request that is shown in the documentation; the answer beside it is the real one, asked for on the spot.

    ``path`` finds its names in the book, so that it goes on working when entries come and go; so may ``body``, which
    works as it stands, or is left out. ``answer`` stands in for the real one where asking would write, or would need
    what is only in a store.
    """

    title: str
    body: Shown | None = None
    path: Callable[[Book], Mapping[str, str]] = lambda book: _EMPTY
    answer: Shown | None = None


def shown(document: Shown, book: Book) -> Mapping[str, Any]:
    """A document of an example, as the book has it."""
    return document(book) if callable(document) else document


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoint:
    """A declared endpoint. ``more_problems`` are those that do not follow from the rest of the declaration."""

    operation_id: str
    run: Callable[[Call], Answer | Prepared]
    method: str
    path: str
    tag: str
    answers: type
    takes: type | None
    query: type
    parameters: Mapping[str, str]
    choices: Mapping[str, tuple[str, ...]]
    judges: bool
    heavy: Callable[[Call], bool] | None
    lines: bool
    again: Callable[[Call], Answer | None] | None
    as_of: bool
    writes: bool
    replaces: Callable[[Call], Answer | Prepared] | None
    shares: bool
    settles: Callable[[Call], bool] | None
    success: int
    more_problems: tuple[type[Problem], ...]
    examples: tuple[Example, ...]
    deprecation: Deprecation | None

    @property
    def name(self) -> str:
        return self.run.__name__

    @property
    def roles(self) -> tuple[str, ...]:
        return roles.MAY[self.name]

    @property
    def rule(self) -> str:
        """The address as Flask writes it."""
        return self.path.replace("{", "<").replace("}", ">")

    @property
    def problems(self) -> tuple[type[Problem], ...]:
        """Every type of problem that this endpoint may answer with, by status."""
        groups = (
            _OF_ALL,
            self.more_problems,
            (NotFound,) if self.parameters or self.as_of else (),
            _OF_STOREFRONTS if roles.STOREFRONT in self.roles else (RoleNotAllowed,),
            _OF_JUDGING if self.judges else (),
            (TooManyHeavy,) if self.heavy is not None else (),
            (WrongMediaType, ColumnsNotClear) if self.lines else _OF_BODIES if self.takes else (),
            _OF_WRITES if self.writes else (),
            (ChangedMeanwhile,) if self.method == "GET" else (),
            () if not self.writes else (ChangedMeanwhile, IfMatchNeeded) if self.replaces else (AlreadyThere,),
        )
        distinct = {problem for group in groups for problem in group}
        return tuple(sorted(distinct, key=lambda problem: (problem.status, problem.slug)))

    def view(self, **path: str) -> Response:
        if self.deprecation is not None:
            after_this_request(self.deprecation.mark)
        if self.lines:
            return self._line_by_line(path)
        with room().taken() as snapshot:
            caller = self._caller(snapshot)
            if self.judges and snapshot.edition.failed:
                raise NotReady()
            with timed("read"), store_problems(replaces=self.replaces is not None):
                call = self._sent_call(snapshot, caller, path)
                given_again = self.again(call) if self.again is not None else None
                if given_again is None:
                    call = self._read(call)
                    self._admit(call)
            if given_again is not None:
                return self._written(given_again, call, preview=False)
            try:
                with timed("answer"), store_problems(replaces=self.replaces is not None):
                    key = idempotency_key(request.headers.get(IDEMPOTENCY_KEY)) if self.writes else None
                    answer = self._answer(call, request.path, key, _if_match())
            except DocumentError as error:
                raise FaultyDocument(faults=error.faults) from None
            finally:
                room().metrics.mirror_ledger(room().ledger)
            return self._written(answer, call, preview=self.writes and call.query.validate_only)

    def _line_by_line(self, path: Mapping[str, str]) -> Response:
        """The answer that is worked out as it is sent; what it is answered from is held until its last line."""
        with ExitStack() as leases:
            snapshot = leases.enter_context(room().taken())
            caller = self._caller(snapshot)
            if self.judges and snapshot.edition.failed:
                raise NotReady()
            with store_problems(replaces=False):
                call = self._sent_call(snapshot, caller, path)
                if self.judges:
                    _ = call.authority, call.shop  # what is wrong with these is wrong with every line
                refuse_other_media(request, lines.MEDIA_TYPE, table.MEDIA_TYPE)
                self._admit(call)
            request.max_content_length = None  # each line has a limit, and there may be any number of them
            questions = _questions(call.query.first_line, call.query.from_line)
            leases.callback(room().metrics.mirror_ledger, room().ledger)
            held = leases.pop_all()
        revision = call.snapshot.edition.head.number
        answers = lines.answers(questions, partial(self.answer_line, call), revision, request_id())
        response = Response(stream_with_context(answers), mimetype=lines.MEDIA_TYPE)
        response.call_on_close(held.close)
        response.headers["Cache-Control"] = "no-store"
        response.headers[BASIS_HEADER] = _basis(snapshot)
        return response

    def answer_line(self, call: Call, document: Mapping[str, Any]) -> Answer:
        """The answer to one line of a call. Raises Problem."""
        with ExitStack() as leases:
            call = replace(call, document=document, snapshot=call.snapshot.lent(leases))
            given_again = self.again(call) if self.again is not None else None
            if given_again is not None:
                return given_again
            try:
                return cast(Answer, self.run(self._read(call)))
            except DocumentError as error:
                raise FaultyDocument(faults=error.faults) from None

    def _caller(self, snapshot: Snapshot) -> Caller:
        scheme, _, token = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer" or not token.strip():
            raise NotAuthenticated(headers={"WWW-Authenticate": 'Bearer realm="platen-accord"'})
        caller = room().caller(token.strip(), snapshot)
        if caller is None:
            raise NotAuthenticated("This key is not known.", headers=_INVALID_TOKEN)
        now_s = room().now_s
        refuse_worthless(caller, now_s)
        count_request(caller, now_s)
        self._refuse_role(caller)
        if caller.role == roles.STOREFRONT:
            _refuse_other_pages(caller)
        return caller

    def _refuse_role(self, caller: Caller) -> None:
        if caller.role not in self.roles:
            needed = " or ".join(self.roles)
            raise RoleNotAllowed(f"This needs a key of the role {needed}; this key's role is {caller.role}.")

    def _call(
        self,
        snapshot: Snapshot,
        caller: Caller,
        path: Mapping[str, str],
        arguments: Mapping[str, str],
        if_match_header: str | None,
    ) -> Call:
        """The call without its body. ``arguments``: the query as it was sent."""
        _refuse_ids(path)
        query = self._query(arguments)
        if self.as_of:
            if query.revision is not None and caller.role == roles.STOREFRONT:
                raise RoleNotAllowed("A storefront's key asks under the present revision of the book alone.")
            snapshot = snapshot.as_of(query.revision)
        named = if_match(if_match_header) if self.replaces else None
        return Call(room=room(), snapshot=snapshot, caller=caller, path=path, query=query, if_match=named)

    def _sent_call(self, snapshot: Snapshot, caller: Caller, path: Mapping[str, str]) -> Call:
        """The call that this request is, its body not read yet."""
        _refuse_doubled()
        call = self._call(snapshot, caller, path, request.args.to_dict(), _if_match())
        if self.takes is None or self.lines:
            return call
        return replace(call, document=json_of(request, room().config.body_limit))

    def _read(self, call: Call) -> Call:
        """The call with its body read. Raises FaultyDocument."""
        if self.takes is None:
            return call
        try:
            return replace(call, body=wire.load(self.takes, call.document))
        except DocumentError as error:
            names_it = self.takes is Order and call.caller.shop is not None
            unknown = unknown_in(call.document, call.book, call.shop) if names_it else ()
            raise FaultyDocument(faults=(*error.faults, *unknown)) from None

    def _admit(self, call: Call) -> None:
        """Raises TooManyHeavy for a heavy question without a place, HandedOn for one that has its place elsewhere."""
        # A record is judged; any other heavy write loads a book.
        lane = LINES if self.lines else BOOKS if self.writes and not self.judges else QUESTIONS
        who = asker(call.caller.shop_id, call.caller.key_id, call.caller.role)
        if self.heavy is not None and self.heavy(call) and not admit_heavy(who, lane):
            detail = "All the places for requests that take long are taken, or all that this key or its shop may have."
            raise TooManyHeavy(detail, headers={"Retry-After": HEAVY_RETRY_S})

    def _query(self, arguments: Mapping[str, str]) -> Any:
        try:
            return wire.load(self.query, arguments, in_query=True)
        except DocumentError as error:
            raise BadQuery(faults=error.faults) from None

    def _answer(self, call: Call, path: str, key: str | None, if_match_header: str | None) -> Answer:
        """``key``: the Idempotency-Key of a write, None where none came."""
        if not self.writes:
            return cast(Answer, self.run(call))
        if call.query.validate_only:
            # Nothing was made, so it is nowhere.
            return replace(self._prepared(call).preview, status=200, headers=_EMPTY)
        address = [path, dataclasses.asdict(call.query)]
        digest = request_digest(self.method, address, if_match_header, dict(call.document))
        # The word is made up by one caller; that another of the shop made up the same says nothing.
        once = Repeatable(call.room.store, call.caller.key_id, key, digest)
        answer = once.answered(lambda: self._prepared(call), ATTEMPTS if self.replaces or self.shares else 1)
        if self.settles is not None and self.settles(call):
            # A repetition too, and what changes nothing: the write that it finds done may be of this moment.
            call.room.store.watch.settle()
        return answer

    def _prepared(self, call: Call) -> Prepared:
        """The write; of a replacement only if If-Match names what a read would give now. Raises ChangedMeanwhile."""
        if self.replaces is None or call.if_match is None:
            return cast(Prepared, self.run(call))
        now = cast(Answer, self.replaces(call))
        body = dump(now.document, sort=True)
        if not call.if_match.contains(etag(now, body)):
            raise ChangedMeanwhile("If-Match names none of the ETags that a read would have now.")
        prepared = cast(Prepared, self.run(replace(call, version=now.version or 0)))
        return Prepared(now, None) if dump(prepared.preview.document, sort=True) == body else prepared

    def _written(self, answer: Answer, call: Call, *, preview: bool) -> Response:
        snapshot = call.snapshot
        with timed("write"):
            response = Response(self._content(answer), status=answer.status, mimetype="application/json")
        response.headers.extend(dict(answer.headers))
        if (caching := self._caching(call)) is not None:
            response.headers.setdefault("Cache-Control", caching)
        response.headers[BASIS_HEADER] = _basis(snapshot)
        if self.method == "GET":
            return _if_it_matches(tagged(response, answer))
        if (self.replaces or answer.version is not None) and not preview:
            response.set_etag(etag(answer, response.get_data()))
        return response

    def _content(self, answer: Answer) -> bytes:
        # What is stored comes back with its keys sorted: a document has the same bytes, and ETag, on every way out.
        is_stored = self.writes or answer.version is not None
        return dump(answer.document, is_stored) if answer.content is None else answer.content

    def ask(
        self,
        snapshot: Snapshot,
        caller: Caller,
        *,
        path: Mapping[str, str] = _EMPTY,
        query: Mapping[str, str] = _EMPTY,
        document: Mapping[str, Any] = _EMPTY,
        if_match: str | None = None,
        idempotency_key: str | None = None,
    ) -> Told:
        """What is answered to somebody who is known already, and whose request was counted: the pages' way in.

        All holds that holds for a request from outside: roles, places for heavy requests, If-Match, what a write does
        once. Raises Problem, and HandedOn where it has its place in another lane.
        """
        self._refuse_role(caller)
        if self.judges and snapshot.edition.failed:
            raise NotReady()
        address = self.path.format_map(path)
        try:
            with store_problems(replaces=self.replaces is not None):
                call = replace(self._call(snapshot, caller, path, query, if_match), document=document)
                given_again = self.again(call) if self.again is not None else None
                if given_again is None:
                    call = self._read(call)
                    self._admit(call)
                answer = given_again or self._answer(call, address, idempotency_key, if_match)
        except DocumentError as error:
            raise FaultyDocument(faults=error.faults) from None
        finally:
            room().metrics.mirror_ledger(room().ledger)
        content = self._content(answer)
        return Told(json.loads(content), f'"{etag(answer, content)}"', answer.status, answer.headers)

    def _caching(self, call: Call) -> str | None:
        """What caches may do with the answer; None leaves that to the method.

        The book is the same for all, but read with a key: a cache that others share would go on telling it to whoever
        has none, or no more.
        """
        if self.tag in OF_ORDERS:
            return "no-store"
        pinned = self.as_of and call.query.revision is not None and call.snapshot.basis == "live"
        if pinned:
            return "private, max-age=31536000, immutable"
        return REVALIDATED if self.method == "GET" else None


def refuse_worthless(caller: Caller, now_s: float) -> None:
    """Raises NotAuthenticated for a key that expired, or opens nothing yet."""
    if caller.expires_at is not None and caller.expires_at <= now_s:
        expired = f"This key expired at {instant(caller.expires_at)}: a new one has to be issued."
        raise NotAuthenticated(expired, headers=_INVALID_TOKEN)
    if caller.waits:
        waits = f"This {caller.role}'s key waits: an admin other than the one who issued it has to confirm it."
        raise NotAuthenticated(waits, headers=_INVALID_TOKEN)


def count_request(caller: Caller, now_s: float) -> None:
    """Note that the key was used, and count it. Raises TooManyRequests.

    A request that is answered in another lane was counted when it came.
    """
    room().key_uses.note(caller.key_id, now_s)
    note(shop=caller.shop_id, role=caller.role, key=caller.key_id)
    shop_id = None if caller.shop_id == roles.COLLECTIVE else caller.shop_id
    count = 0 if admitted_before() else 1
    standing = room().rates.spend(caller.key_id, caller.role, now_s, count, shop_id=shop_id)
    g.rate = standing.headers
    if standing.over:
        whose = "All keys of a shop together have" if standing.of == SHOP else "A key of this role has"
        detail = f"{whose} {counted(standing.limit, 'request')} in {WINDOW_S} s, and none is left."
        raise TooManyRequests(detail, headers={"Retry-After": str(standing.reset_s)})


def _refuse_doubled() -> None:
    """Raises BadQuery for a parameter that is given more than once."""
    doubled = [name for name, values in request.args.lists() if len(values) > 1]
    if doubled:
        message = "is given more than once"
        raise BadQuery(faults=[Fault(f"/{escape(name)}", message, code="given-twice") for name in doubled])


def _questions(first_line: int | None, from_line: int) -> lines.Questions:
    """What the body asks, line by line. Raises ColumnsNotClear, RequestTooSlow."""
    source, most = request.stream, room().config.body_limit
    if request.mimetype != table.MEDIA_TYPE:
        return lines.Lines(source, most, first_line or 1, from_line)
    try:
        return table.Rows(source, most, first_line, from_line)
    except TimeoutError as error:
        raise RequestTooSlow(f"The header of the table did not come: {error}.") from None
    except OSError as error:  # of the connection, or of how the body is framed
        raise UnreadableRequest(f"The body can't be read: {error}.") from None


def _refuse_other_pages(caller: Caller) -> None:
    """Refuse a storefront's key outside its pages. Browsers say the origin of a page, which the page cannot change;
    other programs can say what they like, so this keeps a key in its place and guards nothing.

    Raises OriginNotListed.
    """
    origin = request.headers.get("Origin")
    if origin not in caller.origins:
        come = "This request names no origin" if origin is None else f"This request comes from {origin:.100}"
        raise OriginNotListed(f"{come}, and the key is for pages of {', '.join(caller.origins) or 'no origin'}.")


def _basis(snapshot: Snapshot) -> str:
    """What an answer rests on, as its header says it."""
    return f"held; age={snapshot.age_s:.0f}" if snapshot.basis == "held" else "live"


def _refuse_ids(path: Mapping[str, str]) -> None:
    """Raises NotFound for an id in the address that nothing can have: the same sentence, whatever it is the id of."""
    faults = [
        Fault(f"/{name}", "is no id: " + ID_ALPHABET, code="bad-format")
        for name, id_ in path.items()
        if name.endswith("_id") and not ID.fullmatch(id_)
    ]
    if faults:
        raise NotFound(faults=faults)


def always(call: Call) -> bool:
    """Any of these may take long."""
    return True


def by_owner(call: Call) -> bool:
    """Whether it counts at once: of readings, what others enter or take back waits for the owner."""
    return call.caller.role == "owner"


def large_order(call: Call) -> bool:
    """Whether the order that came may take long to judge. A key without a shop is refused later."""
    return call.caller.shop is not None and is_heavy(call.body, call.shop)


def _if_it_matches(response: Response) -> Response:
    """A read that has one of the ETags of If-Match, if that came (RFC 9110 section 13.1.1). Raises ChangedMeanwhile."""
    wanted, (tag, _) = _if_match(), response.get_etag()
    if wanted is not None and not parse_etags(wanted).contains(tag or ""):
        raise ChangedMeanwhile("If-Match names none of the ETags that this read has now.")
    return response


def _if_match() -> str | None:
    """The header as the caller of a plain answer sends it."""
    return unpacked(request.headers.get(IF_MATCH))


@dataclass(frozen=True, slots=True)
class NoQuery:
    """An endpoint without query parameters; whatever is given is refused by name."""


_AS_OF = ("revision", int | None, optional(Whole(1, 1_000_000_000), about="answer as of this revision of the book"))
_VALIDATE_ONLY = ("validate_only", bool, optional(Flag(), False, about="check everything, write nothing"))


def dump(document: Mapping[str, Any], sort: bool = False) -> bytes:
    """The bytes of an answer: keys in the document's own order or sorted; the same answer always has the same bytes."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False, sort_keys=sort).encode()


def tagged(response: Response, answer: Answer) -> Response:
    """Give a read its strong ETag (the sum of its bytes, which hold the book's digest); ``http.coding`` answers 304."""
    response.set_etag(etag(answer, response.get_data()))
    response.headers.setdefault("Cache-Control", REVALIDATED)
    response.vary.add("Authorization")
    return response


def endpoint(
    method: str,
    path: str,
    *,
    operation_id: str,
    tag: str,
    answers: type,
    takes: type | None = None,
    query: type = NoQuery,
    parameters: Mapping[str, str] = _EMPTY,
    choices: Mapping[str, tuple[str, ...]] = _EMPTY,
    judges: bool = False,
    heavy: Callable[[Call], bool] | None = None,
    lines: bool = False,
    again: Callable[[Call], Answer | None] | None = None,
    as_of: bool = False,
    writes: bool = False,
    replaces: Callable[[Call], Answer | Prepared] | None = None,
    shares: bool = False,
    settles: Callable[[Call], bool] | None = None,
    success: int = 200,
    problems: tuple[type[Problem], ...] = (),
    examples: tuple[Example, ...] = (Example("As it is"),),
    deprecation: Deprecation | None = None,
) -> Callable[[Callable[[Call], Answer | Prepared]], Endpoint]:
    """Declare an endpoint under /v1; who may call it stands in ``roles.MAY`` under the function's name.

    ``operation_id``: what it does, a verb and what that is done to, as generated clients name it. ``tag``: a word of
    ``tags.TAGS``; it also says what caches may keep. ``takes``, ``query`` and ``answers`` are dataclasses with readers,
    ``parameters`` what the names in the path mean, and ``choices`` the words that those take which take no others.
    ``judges``: must not
    answer while the authority's own test is red. ``heavy``: says of a call whether it may take long, and so needs a
    place among those (``worker.admission``). ``lines``: takes such a document a line, with no end, and answers each
    with a line (``api.lines``); always heavy; the query has ``first_line`` and ``from_line``.
    ``again``: the answer kept from the last time that the very same was
    asked, given a call whose document is not read yet; None where there is none. ``as_of``: answers from an older
    revision for ``?revision=``.
    ``writes``: gives Prepared, takes ``?validate_only=`` and Idempotency-Key; ``replaces``: and needs If-Match, which
    is held against this read's answer, fresh from the store; whatever a read gives can be sent back, and nothing is
    written if nothing differs. ``shares``: adds to what others write as well, so it is prepared anew where somebody
    was faster. ``settles``: says of a call whether it is answered only once every worker answers from what was written
    (``HeadWatch.settle``), as whatever orders or keys are judged by has to be. ``success``: the status of a good
    answer. ``problems``: those it may answer with that do not follow from the rest (``Endpoint.problems``).
    ``deprecation``: it will go, and says so. The first line of the function's docstring is its summary, the rest its
    description.
    """
    more = ([_AS_OF] if as_of else []) + ([_VALIDATE_ONLY] if writes or replaces is not None else [])
    whole = dataclasses.make_dataclass(query.__name__, more, bases=(query,), frozen=True, slots=True) if more else query

    require_tag(tag)

    def declare(run: Callable[[Call], Answer | Prepared]) -> Endpoint:
        assert run.__name__ in roles.MAY, f"MAY of http/roles.py does not say who may {run.__name__}"
        return Endpoint(
            operation_id=operation_id,
            run=run,
            method=method,
            path=path,
            tag=tag,
            answers=answers,
            takes=takes,
            query=whole,
            parameters=parameters,
            choices=choices,
            judges=judges,
            heavy=heavy,
            lines=lines,
            again=again,
            as_of=as_of,
            writes=writes or replaces is not None,
            replaces=replaces,
            shares=shares,
            settles=settles,
            success=success,
            more_problems=problems,
            examples=examples,
            deprecation=deprecation,
        )

    return declare
