"""Order files: read as strictly as the service reads a request, so that both see the same order."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from accord_rules.documents.reading import Fault
from accord_service.http import strict_json
from accord_service.run.config import BODY_BYTES

STDIN = "-"


class Refused(Exception):
    """An order that can't be judged: what is wrong with it, place by place."""

    def __init__(self, title: str, faults: tuple[Fault, ...], detail: str = "") -> None:
        self.title = title
        self.faults = faults
        self.detail = detail
        super().__init__(detail or title)

    def document(self) -> dict[str, Any]:
        """In the shape of a problem document, for scripts."""
        errors = [{"in": "body", "name": None, **fault.document()} for fault in self.faults]
        return {"title": self.title, "detail": self.detail, "errors": errors}


@dataclass(frozen=True, slots=True)
class OrderFile:
    """One order and where it came from."""

    name: str
    document: dict[str, Any]


def read_order(name: str) -> OrderFile:
    """Read one file, or standard input for "-". Raises Refused."""
    shown = "standard input" if name == STDIN else name
    try:
        content = sys.stdin.buffer.read(BODY_BYTES + 1) if name == STDIN else _start_of(Path(name))
    except OSError as error:
        raise Refused("The file cannot be read", (), f"{error.strerror or error}") from None
    if len(content) > BODY_BYTES:
        raise Refused("The file cannot be read", (), f"it is over {BODY_BYTES} bytes, which no order is")
    try:
        return OrderFile(shown, strict_json.read(content))
    except strict_json.JsonError as error:
        raise Refused("The file is not acceptable JSON", error.faults) from None


def _start_of(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(BODY_BYTES + 1)
