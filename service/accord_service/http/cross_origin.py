"""Pages of other origins that may ask the API from a browser (Fetch standard, CORS protocol): those listed, no others.

Whoever runs the service lists origins for all of the API, and a storefront's key those of its own pages. There is no
wildcard, and no credentials of the browser's own are ever admitted: a key is sent in the open, by a page that was given
it.
"""

from __future__ import annotations

from collections.abc import Collection

from flask import Request, Response

_SENT = "Accept, Authorization, Content-Type, Idempotency-Key, If-Match, If-None-Match, X-Request-Id"
_EXPOSED = (
    "Accord-Basis, Deprecation, ETag, Idempotency-Replayed, Link, Location, RateLimit, RateLimit-Policy, Retry-After,"
    " Sunset, X-Request-Id"
)
_PREFLIGHT_S = 600


def admit(request: Request, response: Response, origins: Collection[str]) -> None:
    """Let the browser hand the answer to the page that asked, if its origin is one of these."""
    if not origins or not (request.path == "/v1" or request.path.startswith("/v1/")):
        return
    response.vary.add("Origin")
    origin = request.headers.get("Origin")
    if origin not in origins:
        return
    headers = response.headers
    headers["Access-Control-Allow-Origin"] = origin
    headers["Access-Control-Expose-Headers"] = _EXPOSED
    if request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers:
        headers["Access-Control-Allow-Methods"] = headers.get("Allow", "")
        headers["Access-Control-Allow-Headers"] = _SENT
        headers["Access-Control-Max-Age"] = str(_PREFLIGHT_S)
