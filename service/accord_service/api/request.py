"""What every request gets, whatever it asks: an id, timings, a log line, counters, and safe headers."""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Collection, Iterator
from contextlib import contextmanager

from flask import Flask, Response, g, request

from accord_service.api.room import room
from accord_service.http import coding, cross_origin
from accord_service.http.roles import STOREFRONT, STOREFRONT_PATH

logger = logging.getLogger(__name__)
_SANE_ID = re.compile(r"[A-Za-z0-9._:-]{1,64}")
# What pages may load: their own files and nothing from anywhere else.
_PAGE_POLICY = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"


def install(app: Flask) -> None:
    app.before_request(_begin)
    app.after_request(_end)


def request_id() -> str:
    """The id of this request: the caller's own if it is a plain word, else one made here."""
    return str(g.request_id)


def note(**details: object) -> None:
    """Add details to this request's log line."""
    g.details |= details


@contextmanager
def timed(span: str) -> Iterator[None]:
    """Time a part of the answer, for the Server-Timing header."""
    started = time.perf_counter()
    try:
        yield
    finally:
        g.spans[span] = time.perf_counter() - started


def _begin() -> None:
    g.started = time.perf_counter()
    g.spans = {}
    g.details = {}
    g.rate = {}
    sent = request.headers.get("X-Request-Id", "")
    g.request_id = sent if _SANE_ID.fullmatch(sent) else uuid.uuid4().hex


def _end(response: Response) -> Response:
    coding.finish(request, response)
    cross_origin.admit(request, response, _admitted_origins())
    seconds = time.perf_counter() - g.started
    endpoint = request.endpoint or "none"
    spans = [*g.spans.items(), ("total", seconds)]
    response.headers["Server-Timing"] = ", ".join(f"{name};dur={span * 1000:.2f}" for name, span in spans)
    response.headers["X-Request-Id"] = request_id()
    response.headers.extend(g.rate)
    response.headers["X-Content-Type-Options"] = "nosniff"
    if response.mimetype == "text/html":
        response.headers["Content-Security-Policy"] = _PAGE_POLICY
        # A stricter one would make browsers say "null" for the origin of a form that is sent back.
        response.headers["Referrer-Policy"] = "same-origin"
    room().metrics.count_answer(endpoint, _method(), response.status_code, seconds)
    details = {
        "request_id": request_id(),
        "method": _method(),
        "endpoint": endpoint,
        "status": response.status_code,
        "ms": round(seconds * 1000, 2),
        **g.details,
    }
    logger.info("answered", extra={"details": details})
    return response


def _admitted_origins() -> Collection[str]:
    """Whose pages may read this answer. Where storefronts ask, theirs may too, unless it answers somebody else's key.

    So a preflight, which comes without a key, is answered, and a page reads why it was refused.
    """
    everywhere = room().config.cors_origins
    if request.path != STOREFRONT_PATH or g.details.get("role", STOREFRONT) != STOREFRONT:
        return everywhere
    origin = request.headers.get("Origin")
    return everywhere if origin is None or origin in everywhere else {*everywhere, *room().storefront_origins()}


def _method() -> str:
    """The method; whatever a stranger makes up counts as one."""
    known = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
    return request.method if request.method in known else "OTHER"
