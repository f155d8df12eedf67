"""The request's body as a JSON document, or the problem with it."""

from __future__ import annotations

from typing import Any

from flask import Request
from werkzeug.exceptions import RequestEntityTooLarge

from accord_service.http import strict_json
from accord_service.http.problems import BodyTooLarge, MalformedJson, WrongMediaType


def json_of(request: Request, limit: int) -> dict[str, Any]:
    """Read a body of up to ``limit`` bytes strictly. Raises WrongMediaType, BodyTooLarge or MalformedJson."""
    refuse_other_media(request, "application/json")
    body = _bytes_of(request, limit)
    try:
        return strict_json.read(body)
    except strict_json.JsonError as error:
        raise MalformedJson(faults=error.faults) from None


def _bytes_of(request: Request, limit: int) -> bytes:
    """The body. Werkzeug cuts a body without Content-Length off at its maximum and says nothing, so that maximum is
    set one byte higher than ours and the length is looked at here."""
    request.max_content_length = limit + 1
    try:
        body = request.get_data(cache=False)
    except RequestEntityTooLarge:
        body = None
    if body is None or len(body) > limit:
        raise BodyTooLarge(f"The body is over {limit} bytes.")
    return body


def refuse_other_media(request: Request, *media_types: str) -> None:
    """Raises WrongMediaType where the body is declared as none of these, or is packed."""
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if request.mimetype not in media_types or charset not in ("utf-8", "utf8"):
        shown = request.content_type or "no Content-Type"
        raise WrongMediaType(f"The body came with {shown:.100}; {' or '.join(media_types)} in UTF-8 is needed.")
    encoding = request.headers.get("Content-Encoding", "identity").lower()
    if encoding != "identity":
        raise WrongMediaType(f"The body came with Content-Encoding {encoding:.40}; send it as it is.")
