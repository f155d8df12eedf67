"""The headers that requests and answers have beside those of HTTP itself, each described once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from accord_service.api.endpoint import BASIS_HEADER, Endpoint
from accord_service.http.problems import (
    NotAuthenticated,
    Problem,
    StillUnderWay,
    StoreUnavailable,
    TooManyHeavy,
    TooManyRequests,
)
from accord_service.http.writing import IDEMPOTENCY_KEY, IF_MATCH, KEY_MOST

REQUEST_ID = "X-Request-Id"
# Of an answer: name to what it says.
ANSWERED: Mapping[str, str] = MappingProxyType(
    {
        BASIS_HEADER: 'what was answered from: live, or "held; age=" and for how many seconds the store has been away',
        "Cache-Control": "what caches may keep of it (RFC 9111); absent from answers to writes, which none keeps",
        "Deprecation": "since when it should not be used any more: @ and seconds since 1970, UTC (RFC 9745)",
        "ETag": "which bytes these are, in this coding; send it in If-None-Match, or in If-Match to replace",
        "Idempotency-Replayed": "true where the write was done before, under the same Idempotency-Key; else absent",
        "Link": "what to ask instead (rel=successor-version)",
        "Location": "where what was made can be read, relative to the service",
        "RateLimit": "how many requests the key has left (r), and after how many seconds all are there again (t);"
        " absent where the key is not known",
        "RateLimit-Policy": "how many requests (q) a key of this role has in how many seconds (w); absent as well",
        "Retry-After": "after how many seconds to ask again; absent where waiting does not help",
        "Server-Timing": "how many milliseconds each part of the answer took",
        "Sunset": "when it goes, where that is decided (RFC 8594)",
        "Vary": "the headers of a request that it may differ by",
        "WWW-Authenticate": "which kind of key is wanted, and what is wrong with the one that came (RFC 6750)",
        REQUEST_ID: "the request's id, to give to whoever runs the service",
    }
)
_OF_ALL = ("Cache-Control", "Server-Timing", "Vary", REQUEST_ID)
_ETAG = '(?:W/)?"[!#-~]*"'
# Told whoever asks with a key that is known.
_OF_KEYS = ("RateLimit", "RateLimit-Policy")
_WAITS = (StillUnderWay, StoreUnavailable, TooManyHeavy, TooManyRequests)


def components() -> Iterator[tuple[str, dict[str, Any]]]:
    """Each header of an answer by name, as the description's component."""
    for name, about in ANSWERED.items():
        yield name, {"description": about, "schema": {"type": "string"}}


def of_good(endpoint: Endpoint, *, trial: bool = False) -> dict[str, Any]:
    """The headers of a good answer; ``trial``: of one that says what would be written (validate_only)."""
    going = ("Deprecation", "Sunset", "Link") if endpoint.deprecation is not None else ()
    tag = ("ETag",) if endpoint.method == "GET" or endpoint.replaces else ()
    location = ("Location",) if endpoint.success == 201 and not trial else ()
    replayed = ("Idempotency-Replayed",) if endpoint.writes and not trial else ()
    return named(BASIS_HEADER, *_OF_ALL, *_OF_KEYS, *tag, *location, *replayed, *going)


def of_index() -> dict[str, Any]:
    """The headers of an answer that is asked for without a key, and rests on no book."""
    return named(*_OF_ALL, "ETag")


def of_problems(problems: tuple[type[Problem], ...]) -> dict[str, Any]:
    """The headers of a problem of one of these types, which have one status."""
    waits = ("Retry-After",) if any(problem in _WAITS for problem in problems) else ()
    wanted = ("WWW-Authenticate",) if NotAuthenticated in problems else ()
    return named(*_OF_ALL, *_OF_KEYS, *waits, *wanted)


def named(*names: str) -> dict[str, Any]:
    """References to headers of answers."""
    return {name: {"$ref": f"#/components/headers/{name}"} for name in sorted(names)}


def parameters(endpoint: Endpoint) -> list[dict[str, Any]]:
    """The headers that a request may have."""
    writes = [_idempotency_key()] if endpoint.writes else []
    replaces = [_if_match()] if endpoint.replaces else []
    reads = [if_none_match()] if endpoint.method == "GET" else []
    return [*writes, *replaces, *reads, request_id()]


def request_id() -> dict[str, Any]:
    about = "the caller's own word for this request, to find it by in the log; one is made up for what is no such word"
    return _parameter(REQUEST_ID, about, {"type": "string", "examples": ["order-1043-try-2"]})


def if_none_match() -> dict[str, Any]:
    about = "the ETag of what the caller has: if that still holds, the answer is 304 without a body"
    return _parameter("If-None-Match", about, {"type": "string", "examples": ['"0a1b2c3d"']})


def _if_match() -> dict[str, Any]:
    about = "the ETag, quotes and all, that a read of what is replaced gave; several, or * for whatever is there"
    schema = {"type": "string", "pattern": rf"^(?:\*|{_ETAG}(?:[ \t]*,[ \t]*{_ETAG})*)$", "examples": ['"3-0a1b2c3d"']}
    return _parameter(IF_MATCH, about, schema, required=True)


def _idempotency_key() -> dict[str, Any]:
    about = (
        "a random word of the caller's own for this write, bare or in double quotes: sent again with it within 24"
        " hours, with the same address, query, body and If-Match, the write is done once and answered the same;"
        " with another request it is refused (422), and while the first is under way, too (409)"
    )
    return _parameter(IDEMPOTENCY_KEY, about, {"type": "string", "pattern": f"^[!-~]{{1,{KEY_MOST}}}$"})


def _parameter(name: str, about: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    return {"name": name, "in": "header", "required": required, "description": about, "schema": schema}
