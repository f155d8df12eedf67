"""One decorator ties together what an endpoint is: address, shapes, statuses and who may call it.

The function it decorates takes an :class:`Asked` and gives an :class:`Answer`; it never touches Flask. The same
declaration makes the route here and the description in ``openapi``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, cast

from flask import Response, request
from marshmallow import Schema

from accord_rules.reading import DocumentError, Fault
from accord_service import wire
from accord_service.body import json_of
from accord_service.problems import BadQuery, FaultyDocument, NotAuthenticated, NotReady, RoleNotAllowed
from accord_service.request import note, timed
from accord_service.room import Room, room
from accord_service.shops import ROLES, Caller

_EMPTY: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as an endpoint sees it: ``body`` and ``query`` are the dataclasses it declared."""

    room: Room
    caller: Caller
    path: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    query: Any = None
    body: Any = None


@dataclass(frozen=True, slots=True)
class Answer:
    document: Mapping[str, Any]
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=lambda: _EMPTY)


@dataclass(frozen=True, slots=True)
class Example:
    """A request that is shown in the documentation; the answer beside it is the real one, asked for on the spot.

    ``path`` finds its names in the book, so that it goes on working when entries come and go.
    """

    title: str
    body: Mapping[str, Any] | None = None
    path: Callable[[Room], Mapping[str, str]] = lambda room: _EMPTY


@dataclass(frozen=True, slots=True)
class Endpoint:
    """A declared endpoint. ``statuses`` are those of its problems, beside those that follow from the declaration."""

    run: Callable[[Asked], Answer]
    method: str
    path: str
    tag: str
    answers: type[Schema]
    takes: type | None
    query: type | None
    parameters: Mapping[str, str]
    roles: tuple[str, ...]
    judges: bool
    statuses: tuple[int, ...]
    examples: tuple[Example, ...]

    @property
    def name(self) -> str:
        return self.run.__name__

    @property
    def rule(self) -> str:
        """The address as Flask writes it."""
        return self.path.replace("{", "<").replace("}", ">")

    @property
    def problem_statuses(self) -> frozenset[int]:
        """Every status of a problem that this endpoint may answer with."""
        read_body = {400, 413, 415, 422} if self.takes else {400}
        return frozenset({401, 403, 500, *self.statuses, *read_body, *({503} if self.judges else ())})

    def view(self, **path: str) -> Response:
        caller = self._caller()
        if self.judges and room().failed:
            raise NotReady()
        with timed("read"):
            query, body = self._query(), self._body()
        try:
            with timed("answer"):
                answer = self.run(Asked(room(), caller, path, query, body))
        except DocumentError as error:
            raise FaultyDocument(faults=error.faults) from None
        finally:
            counts = room().authority.counts
            room().metrics.doubted(counts.engine_errors, counts.disagreements)
        return self._written(answer)

    def _caller(self) -> Caller:
        scheme, _, token = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer" or not token.strip():
            raise NotAuthenticated(headers={"WWW-Authenticate": 'Bearer realm="platen-accord"'})
        caller = room().shops.by_key(token.strip())
        if caller is None:
            challenge = 'Bearer realm="platen-accord", error="invalid_token"'
            raise NotAuthenticated("This key is not known.", headers={"WWW-Authenticate": challenge})
        note(shop=caller.shop.id, role=caller.role, key=caller.key_id)
        if caller.role not in self.roles:
            raise RoleNotAllowed(f"This needs one of the roles {', '.join(self.roles)}; the key's is {caller.role}.")
        return caller

    def _query(self) -> Any:
        doubled = [name for name, values in request.args.lists() if len(values) > 1]
        if doubled:
            raise BadQuery(faults=[Fault(f"/{name}", "is given more than once") for name in doubled])
        try:
            return wire.load(self.query or NoQuery, request.args.to_dict(), in_query=True)
        except DocumentError as error:
            raise BadQuery(faults=error.faults) from None

    def _body(self) -> Any:
        if self.takes is None:
            return None
        document = json_of(request, room().config.body_limit)
        try:
            return wire.load(self.takes, document)
        except DocumentError as error:
            raise FaultyDocument(faults=error.faults) from None

    def _written(self, answer: Answer) -> Response:
        with timed("write"):
            response = Response(dump(answer.document), status=answer.status, mimetype="application/json")
        response.headers.extend(dict(answer.headers))
        return remembered(response) if self.method == "GET" else response


@dataclass(frozen=True, slots=True)
class NoQuery:
    """An endpoint without query parameters; whatever is given is refused by name."""


def dump(document: Mapping[str, Any]) -> bytes:
    """The bytes of an answer: keys in the document's own order, so the same answer always has the same bytes."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()


def remembered(response: Response) -> Response:
    """Give a read its strong ETag (the sum of its bytes, which hold the book's digest); 304 if the caller has it."""
    response.set_etag(hashlib.sha256(response.get_data()).hexdigest()[:32])
    response.headers["Cache-Control"] = "private, no-cache"
    response.headers["Vary"] = "Authorization"
    return cast(Response, response.make_conditional(request))


def endpoint(
    method: str,
    path: str,
    *,
    tag: str,
    answers: type[Schema],
    takes: type | None = None,
    query: type | None = None,
    parameters: Mapping[str, str] = _EMPTY,
    roles: tuple[str, ...] = ROLES,
    judges: bool = False,
    statuses: tuple[int, ...] = (),
    examples: tuple[Example, ...] = (Example("As it is"),),
) -> Callable[[Callable[[Asked], Answer]], Endpoint]:
    """Declare an endpoint under /v1.

    ``takes`` and ``query`` are dataclasses with readers, ``answers`` the schema of the answer, ``parameters`` what the
    names in the path mean, ``judges`` whether it must not answer while the authority's own test is red. The first
    line of the function's docstring is its summary, the rest its description.
    """

    def declare(run: Callable[[Asked], Answer]) -> Endpoint:
        return Endpoint(run, method, path, tag, answers, takes, query, parameters, roles, judges, statuses, examples)

    return declare
