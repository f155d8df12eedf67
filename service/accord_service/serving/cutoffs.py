"""What is told of connections that the reactor gave up: a counter, a log line, and where possible an answer."""

from __future__ import annotations

import json
import logging
import uuid
from http import HTTPStatus

from prometheus_client import CollectorRegistry, Counter

from accord_service.http import problems
from accord_service.http.problems import MEDIA_TYPE, Problem
from accord_service.run.log import DETAILS

logger = logging.getLogger(__name__)


class Cutoffs:
    """Made once a worker, after the fork: its counts go to the file of the process that made it."""

    def __init__(self) -> None:
        self._count = Counter(
            "accord_cutoffs",
            "Connections given up because the client was late, or because there were too many",
            ("why",),
            registry=CollectorRegistry(),
        )

    def tell(self, why: str, **details: object) -> None:
        """``why`` is a label: one of a few words, never a caller's."""
        self._count.labels(why).inc()
        logger.info("cut off", extra={DETAILS: {"why": why, **details}})

    def answer(self, why: str, problem: Problem) -> bytes:
        """The whole answer to a request that never reached the application; the connection ends with it."""
        request_id = uuid.uuid4().hex
        self.tell(why, status=problem.status, request_id=request_id)
        body = json.dumps(problems.document(problem, request_id), ensure_ascii=False).encode()
        reason = HTTPStatus(problem.status).phrase
        header = (
            f"HTTP/1.1 {problem.status} {reason}\r\nContent-Type: {MEDIA_TYPE}\r\nContent-Length: {len(body)}\r\n"
            f"Cache-Control: no-store\r\nX-Request-Id: {request_id}\r\nConnection: close\r\n\r\n"
        )
        return header.encode("ascii") + body
