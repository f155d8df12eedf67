"""Answers made beside the application, as bytes: to requests that gunicorn refuses, and to those given up."""

from __future__ import annotations

import json
import logging
import uuid
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from gunicorn import http

from accord_service.http import problems
from accord_service.http.problems import InternalError
from accord_service.run.log import DETAILS

logger = logging.getLogger(__name__)


def refusal(gunicorns: bytes, error: BaseException) -> bytes:
    """gunicorn's answer to what it can't parse, or to what failed outside the application, as a problem document.

    ``gunicorns``: its own answer, whose status is kept but for versions of HTTP that are not served (505); nothing
    where it made none, which is a failure of ours.
    """
    request_id = uuid.uuid4().hex
    status = _status(gunicorns, error)
    logger.info("refused", extra={DETAILS: {"status": status, "request_id": request_id}})
    if status == InternalError.status:  # what failed is in the log, and no client's business
        return written(problems.document(InternalError(), request_id))
    detail = problems.cut(str(error), problems.LONGEST_MESSAGE)
    return written(problems.document(problems.of_status(status)(detail), request_id))


def _status(gunicorns: bytes, error: BaseException) -> int:
    if isinstance(error, http.errors.InvalidHTTPVersion) and isinstance(error.version, tuple):
        return HTTPStatus.HTTP_VERSION_NOT_SUPPORTED  # a version there is, if not here (RFC 9110 section 15.6.6)
    _, _, rest = gunicorns.partition(b" ")
    return int(rest[:3]) if rest[:3].isdigit() else InternalError.status


def written(problem: Mapping[str, Any]) -> bytes:
    """The whole answer with a problem document; the connection ends with it."""
    body = json.dumps(problem, ensure_ascii=False).encode("utf-8", "replace")
    status = HTTPStatus(problem["status"])
    header = (
        f"HTTP/1.1 {status.value} {status.phrase}\r\nContent-Type: {problems.MEDIA_TYPE}\r\n"
        f"Content-Length: {len(body)}\r\nCache-Control: no-store\r\nX-Request-Id: {problem['request_id']}\r\n"
        "Connection: close\r\n\r\n"
    )
    return header.encode("ascii") + body
