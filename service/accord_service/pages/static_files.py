"""Static files at addresses that name what is in them: a browser keeps each, and a changed one is another address.

A page that has a style sheet of its own loads it joined to that of all pages: on a slow line each file that stands in
the way of the first picture costs a round trip, or two on a new connection. Texts go packed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from flask import Response, request

_FOLDER = Path(__file__).parent / "static"
_ENDPOINT, _DIGEST = "static", "v"
_TEXTS = ("text/css", "text/javascript")
# What is no file of its own: the files that it is, one after the other.
_JOINED: Mapping[str, tuple[str, ...]] = MappingProxyType({"counter-page.css": ("pages.css", "counter.css")})


# There are fewer files; but whoever asks may spell the name of one in any number of ways.
@lru_cache(maxsize=128)
def _content_of(filename: str) -> bytes | None:
    files = [_FOLDER / part for part in _JOINED.get(filename, (filename,))]
    return b"".join(file.read_bytes() for file in files) if all(file.is_file() for file in files) else None


@lru_cache(maxsize=128)
def _digest_of(filename: str) -> str | None:
    content = _content_of(filename)
    return None if content is None else hashlib.sha256(content).hexdigest()[:16]


def with_joined(send: Callable[[str], Response]) -> Callable[[str], Response]:
    """The view of static files that answers for joined ones too. ``send``: Flask's own, by the file's name."""

    def static(filename: str) -> Response:
        if filename not in _JOINED:
            return send(filename)
        response = Response(_content_of(filename), mimetype="text/css", headers={"Cache-Control": "no-cache"})
        response.add_etag()
        return response

    return static


def name_static(endpoint: str, values: dict[str, Any]) -> None:
    """Put the digest of a static file behind its address (a function of Flask's ``url_defaults``)."""
    if endpoint == _ENDPOINT and (digest := _digest_of(values["filename"])) is not None:
        values.setdefault(_DIGEST, digest)


def keep_static(response: Response) -> Response:
    """Let a browser keep a file that it asked for by its digest; one without it is asked for each time."""
    if request.endpoint == _ENDPOINT and response.status_code in (200, 304):
        filename = (request.view_args or {})["filename"]
        if request.args.get(_DIGEST) == _digest_of(filename):
            response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        if response.status_code == 200 and response.mimetype in _TEXTS:
            response.direct_passthrough = False  # so that it is packed like any other answer
    return response
