"""The request's body as a JSON document, or the problem with it."""

from __future__ import annotations

from typing import Any

from flask import Request
from werkzeug.exceptions import RequestEntityTooLarge

from accord_service import strict_json
from accord_service.problems import BodyTooLarge, MalformedJson, WrongMediaType


def json_of(request: Request) -> dict[str, Any]:
    """Read the body strictly. Raises WrongMediaType, BodyTooLarge or MalformedJson."""
    _refuse_other_media(request)
    try:
        body = request.get_data(cache=False)
    except RequestEntityTooLarge:
        raise BodyTooLarge(f"The body is over {request.max_content_length} bytes.") from None
    try:
        return strict_json.read(body)
    except strict_json.JsonError as error:
        raise MalformedJson(faults=error.faults) from None


def _refuse_other_media(request: Request) -> None:
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if request.mimetype != "application/json" or charset not in ("utf-8", "utf8"):
        shown = request.content_type or "no Content-Type"
        raise WrongMediaType(f"The body came with {shown:.100}; application/json in UTF-8 is needed.")
    encoding = request.headers.get("Content-Encoding", "identity").lower()
    if encoding != "identity":
        raise WrongMediaType(f"The body came with Content-Encoding {encoding:.40}; send it as it is.")
