"""Everything a request can be refused for, and its answer (RFC 9457 problem details).

    Problem
    ├── MalformedJson       400  the body is not one JSON object that every reader reads alike
    ├── BadQuery            400  a query parameter is unknown or out of bounds
    ├── NotAuthenticated    401  no key, or one that is not known
    ├── RoleNotAllowed      403  the key's role may not do this
    ├── NotFound            404  no such page, or no such entry in the book
    ├── WrongMethod         405  the page exists, but not for this method
    ├── BodyTooLarge        413  the body is over the limit
    ├── WrongMediaType      415  the body is not declared as JSON
    ├── FaultyDocument      422  the JSON is sound, but not a document of this kind
    ├── InternalError       500  our fault
    └── NotReady            503  the service has not passed its own test

A refused order is none of these: it is a 200 with the verdict "rejected".
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, ClassVar

from flask import Response
from werkzeug.http import HTTP_STATUS_CODES

from accord_rules.reading import Fault

MEDIA_TYPE = "application/problem+json"
MOST_ERRORS = 50
_LONGEST_MESSAGE = 300
_LONGEST_POINTER = 200


class Problem(Exception):
    """A request that can't be answered. ``meaning`` and ``remedy`` are its page at ``/problems/<slug>``."""

    slug: ClassVar[str]
    status: ClassVar[int]
    title: ClassVar[str]
    meaning: ClassVar[str]
    remedy: ClassVar[str]

    def __init__(
        self, detail: str = "", faults: Iterable[Fault] = (), headers: Mapping[str, str] = MappingProxyType({})
    ) -> None:
        self.faults = tuple(faults)
        self.detail = detail or _told(self.faults) or self.title
        self.headers = headers
        super().__init__(self.detail)


class MalformedJson(Problem):
    slug = "malformed-json"
    status = 400
    title = "The body is not acceptable JSON"
    meaning = (
        "The body could not be read as one JSON object in UTF-8, or two programs could read it in two ways: a key"
        " given twice, NaN or Infinity, a number too large to be held exactly, half a surrogate pair, or nesting"
        " deeper than 32 levels."
    )
    remedy = "Write the body with a JSON library rather than by hand. Each error names the place."


class BadQuery(Problem):
    slug = "bad-query"
    status = 400
    title = "The query string has faults"
    meaning = "A query parameter is not known here, is given twice, or is out of bounds."
    remedy = "Each error names the parameter as a JSON Pointer of one step, with the values that would do."


class NotAuthenticated(Problem):
    slug = "not-authenticated"
    status = 401
    title = "A shop's key is needed"
    meaning = "The request carries no key, or one that this service does not know (it may have been revoked)."
    remedy = "Send the key of your shop in the header: Authorization: Bearer <key>."


class RoleNotAllowed(Problem):
    slug = "role-not-allowed"
    status = 403
    title = "This key's role may not do that"
    meaning = "The key is known, but its role (counter, operator, owner, steward or admin) does not cover this."
    remedy = "Ask somebody whose role does; the detail names the roles."


class NotFound(Problem):
    slug = "not-found"
    status = 404
    title = "There is nothing here"
    meaning = "No page has this address, or the book has no entry of this name."
    remedy = "The lists under /v1/catalogue, /v1/rules, /v1/limits and /v1/sources hold every name of the book."


class WrongMethod(Problem):
    slug = "wrong-method"
    status = 405
    title = "This address does not answer to that method"
    meaning = "The address exists, but for other methods."
    remedy = "The Allow header and the detail list the methods it answers to."


class BodyTooLarge(Problem):
    slug = "body-too-large"
    status = 413
    title = "The body is too large"
    meaning = "The body is over the service's limit. No honest order comes near it."
    remedy = "Send one order a request. The detail names the limit."


class WrongMediaType(Problem):
    slug = "wrong-media-type"
    status = 415
    title = "The body must be declared as JSON"
    meaning = "The Content-Type is missing or is not application/json in UTF-8, or the body is compressed."
    remedy = "Send the header Content-Type: application/json, and the body as it is."


class FaultyDocument(Problem):
    slug = "faulty-document"
    status = 422
    title = "The document has faults"
    meaning = (
        "The JSON is sound, but it is not a document of this kind: a field that is not known, a quantity without its"
        " unit, a value out of bounds, or a name that the book does not have."
    )
    remedy = "Each error names the field by JSON Pointer, what is wrong, and what would be allowed."


class InternalError(Problem):
    slug = "internal-error"
    status = 500
    title = "The service failed"
    meaning = "Something went wrong that is not the fault of the request. It has been logged."
    remedy = "Try again; if it stays, give the request id to whoever runs the service. Press nothing on a guess."


class NotReady(Problem):
    slug = "not-ready"
    status = 503
    title = "The service is not ready to answer"
    meaning = "The rules have not passed their own test, so no answer would be safe to rely on."
    remedy = "/readyz says what failed. Whoever runs the service must look at it."


def _told(faults: tuple[Fault, ...]) -> str:
    """The faults in a sentence, for whoever reads no further than the detail."""
    if not faults:
        return ""
    first = _cut(f"{faults[0].pointer or 'the document'}: {faults[0].message}", _LONGEST_MESSAGE)
    return first if len(faults) == 1 else f"{len(faults)} faults, the first at {first}"


PROBLEMS: Mapping[str, type[Problem]] = MappingProxyType({each.slug: each for each in Problem.__subclasses__()})
BY_STATUS: Mapping[int, type[Problem]] = MappingProxyType(
    {each.status: each for each in PROBLEMS.values() if each is not BadQuery}
)


def document(problem: Problem, request_id: str) -> dict[str, Any]:
    """The problem as JSON data; a hundred faults are no more help than fifty."""
    shown = problem.faults[:MOST_ERRORS]
    answer: dict[str, Any] = {
        "type": f"/problems/{problem.slug}",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "errors": [_error(fault) for fault in shown],
        "request_id": request_id,
    }
    if len(problem.faults) > len(shown):
        answer["errors_left_out"] = len(problem.faults) - len(shown)
    return answer


def _error(fault: Fault) -> dict[str, Any]:
    return {
        "pointer": _cut(fault.pointer, _LONGEST_POINTER),
        "message": _cut(fault.message, _LONGEST_MESSAGE),
        "allowed": list(fault.allowed),
    }


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def response(problem: Problem, request_id: str) -> Response:
    return _written(document(problem, request_id), problem.headers)


def bare_response(status: int, request_id: str) -> Response:
    """For statuses without a type of ours, as RFC 9457 section 4.2.1 has it."""
    title = HTTP_STATUS_CODES.get(status, "Error")
    return _written(
        {
            "type": "about:blank",
            "title": title,
            "status": status,
            "detail": title,
            "errors": [],
            "request_id": request_id,
        },
        {},
    )


def _written(answer: dict[str, Any], headers: Mapping[str, str]) -> Response:
    # A pointer may hold anything that somebody used as a key, even what has no UTF-8.
    body = json.dumps(answer, ensure_ascii=False).encode("utf-8", "replace")
    written = Response(body, status=answer["status"], mimetype=MEDIA_TYPE)
    written.headers.extend(dict(headers))
    written.headers["Cache-Control"] = "no-store"
    return written
