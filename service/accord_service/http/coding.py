"""Answers packed with gzip for whoever takes that (RFC 9110, sections 8.4.1 and 12.5.3), and their entity tags.

A packed answer is another representation, so its strong tag is another: the plain one's with ``-gzip`` at its end. The
version that a write replaces has both tags: ``unpacked`` makes them one.
"""

from __future__ import annotations

import gzip
from functools import lru_cache

from flask import Request, Response

LEAST_BYTES = 1024  # below, the header that names the coding and the work outweigh what is saved
_LARGE_BYTES, _LARGE_MOST = 500_000, 4
_LEVEL = 5
_MARK = "-gzip"
_WRITERS = ("HTTP_IF_MATCH", "HTTP_IF_UNMODIFIED_SINCE")
_TYPES = ("application/json", "application/problem+json", "text/html", "text/plain", "text/css", "text/javascript")


def finish(request: Request, response: Response) -> None:
    """Choose the coding, then answer 304 if the caller has just that, else pack."""
    packable = _is_packable(response)
    if packable:
        response.vary.add("Accept-Encoding")
    packs = packable and _is_taken(request)
    tag, _ = response.get_etag()
    if packs and tag is not None:
        response.set_etag(tag + _MARK)
    if tag is not None and response.status_code == 200 and not response.direct_passthrough:
        # If-Match was seen to before (``api.endpoint``): here it would turn the status alone, with the body as it is.
        response.make_conditional({name: value for name, value in request.environ.items() if name not in _WRITERS})
    if packs and response.status_code != 304:
        # Without the time of packing, so that the same answer always has the same bytes.
        content = response.get_data()
        response.set_data(_packed_before(content) if len(content) >= _LARGE_BYTES else _packed(content))
        response.headers["Content-Encoding"] = "gzip"


def _packed(content: bytes) -> bytes:
    return gzip.compress(content, _LEVEL, mtime=0)


# The description and its page are asked for again and again, and take 40 ms to pack.
_packed_before = lru_cache(_LARGE_MOST)(_packed)


def unpacked(tags: str | None) -> str | None:
    """The entity tags of a header, each as it is where the answer is not packed."""
    return None if tags is None else tags.replace(f'{_MARK}"', '"')


def _is_packable(response: Response) -> bool:
    return (
        response.mimetype in _TYPES
        and not response.direct_passthrough
        and "Content-Encoding" not in response.headers
        and len(response.get_data()) >= LEAST_BYTES
    )


def _is_taken(request: Request) -> bool:
    """Whether the caller takes gzip, and not the plain answer rather than that."""
    accepted = request.accept_encodings
    return 0 < accepted.quality("gzip") >= accepted.quality("identity")
