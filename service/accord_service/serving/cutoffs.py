"""What is told of connections that the reactor gave up: a counter, a log line, and where possible an answer."""

from __future__ import annotations

import logging
import uuid

from prometheus_client import CollectorRegistry, Counter

from accord_service.http import problems
from accord_service.http.problems import Problem
from accord_service.run.log import DETAILS
from accord_service.serving.refusals import written

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
        return written(problems.document(problem, request_id))
