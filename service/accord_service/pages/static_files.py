"""Static files at addresses that name what is in them: a browser keeps each, and a changed one is another address."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

from flask import Response, request

_FOLDER = Path(__file__).parent / "static"
_ENDPOINT, _DIGEST = "static", "v"


# There are fewer files; but whoever asks may spell the name of one in any number of ways.
@lru_cache(maxsize=128)
def _digest_of(filename: str) -> str | None:
    file = _FOLDER / filename
    return hashlib.sha256(file.read_bytes()).hexdigest()[:16] if file.is_file() else None


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
    return response
