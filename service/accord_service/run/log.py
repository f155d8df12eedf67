"""Structured logs: one JSON object a line, on standard error. Keys and orders are never logged.

What the inference engine got wrong is logged with the facts it was asked about, without which nobody could mend it
(``accord_rules.infer.ledger.Doubt``): facts of a piece and its pressing, without order, reference or shop.
"""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Any

# The one extra of a log call that is written out: a mapping of plain values.
DETAILS = "details"
# Ours: the service, and the rules it answers by.
LOGGERS = ("accord_service", "accord_rules")


class JsonLines(logging.Formatter):
    """A record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """The record as one line of JSON."""
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "pid": record.process,
            "message": record.getMessage(),
            **getattr(record, DETAILS, {}),
        }
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str)


def configure(level: str) -> None:
    """Send this service's records to standard error, once however many apps a process makes."""
    for name in LOGGERS:
        logger = logging.getLogger(name)
        logger.setLevel(level)
        if not logger.handlers:
            handler = logging.StreamHandler()
            handler.setFormatter(JsonLines())
            logger.addHandler(handler)
