"""Orders as JSON, many in a file: one a line (NDJSON), or the elements of one list; each read by itself, strictly."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from accord_service.cli.failure import Failure
from accord_service.http import strict_json
from accord_service.run.config import BODY_BYTES
from accord_service.tables.rows import Asked, Problem

_READ_BYTES = 64 * 1024
_MARK = b"\xef\xbb\xbf"
_SPACE = b" \t\r\n"
# What opens, closes and parts the elements of a list, and what ends a string.
_OUTSIDE, _IN_STRING = re.compile(rb'["\[\]{},]'), re.compile(rb'["\\]')
_TOO_LONG = Problem(f"it is over {BODY_BYTES} bytes, which no order is")


def is_list(path: Path) -> bool:
    """Whether a JSON file holds a list: its first character says. False where the file can't be read."""
    try:
        with path.open("rb") as file:
            start = file.read(_READ_BYTES)
    except OSError:
        return False
    return start.removeprefix(_MARK).lstrip(_SPACE).startswith(b"[")


class Listed:
    """Orders of a file, one after the other. ``row`` of each is its line, or its place in the list, from 1."""

    sheet: str | None = None
    empty = 0

    def __init__(self, path: Path, *, lines: bool) -> None:
        self.file = str(path)
        self._lines = lines
        self._done = 0
        try:
            self._file: io.BufferedReader = path.open("rb")
            self._size = path.stat().st_size
        except OSError as error:
            raise Failure(f"{path}: {error.strerror or error}.") from None

    def share_done(self) -> float | None:
        return min(1.0, self._done / self._size) if self._size else None

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def asked(self, from_row: int) -> Iterator[Asked]:
        """Every order from a row on."""
        with self._file:
            for row, content in self._of_lines() if self._lines else self._of_list():
                if row >= from_row:
                    yield _asked(row, content)

    def _of_lines(self) -> Iterator[tuple[int, bytes | None]]:
        number = 0
        while line := self._file.readline(BODY_BYTES + 2):
            number += 1
            content: bytes | None = line.removeprefix(_MARK if number == 1 else b"").strip(_SPACE)
            if not line.endswith(b"\n") and len(line) > BODY_BYTES:
                content = None
                while line and not line.endswith(b"\n"):
                    line = self._file.readline(_READ_BYTES)
            self._done = self._file.tell()
            if content != b"":
                yield number, content

    def _of_list(self) -> Iterator[tuple[int, bytes | None]]:
        """The elements, cut at the commas of the list itself. Raises Failure where the list has no end."""
        elements = _Elements()
        number = 0
        while data := self._file.read(_READ_BYTES):
            self._done += len(data)
            for element in elements.cut(data):
                number += 1
                yield number, element
        if not elements.is_over:
            raise Failure(f"{self.file}: the list of orders has no end: a bracket or a quote is not closed.")
        if elements.has_more:
            raise Failure(f"{self.file}: something stands behind the list of orders, which was read.")


class _Elements:
    """Cuts the text of a JSON list into its elements, however the text is divided."""

    def __init__(self) -> None:
        self._element = bytearray()
        self._depth = 0
        self._in_string = self._is_escaped = self._is_long = False
        self.is_over = False
        self.has_more = False  # something behind the list

    def cut(self, data: bytes) -> Iterator[bytes | None]:
        """The elements that end in ``data``; None for one that is too long to be an order."""
        start = at = 0
        while at < len(data) and not self.is_over:
            if self._is_escaped:
                self._is_escaped, at = False, at + 1
                continue
            match = (_IN_STRING if self._in_string else _OUTSIDE).search(data, at)
            if match is None:
                break
            mark, at = match.group(), match.end()
            if self._in_string:
                self._is_escaped, self._in_string = mark == b"\\", mark != b'"'
                continue
            self._in_string = mark == b'"'
            self._depth += (mark in b"[{") - (mark in b"]}")
            if mark == b"[" and self._depth == 1:
                start = at
            elif self._depth == 0 or (mark == b"," and self._depth == 1):
                self._keep(data[start : match.start()])
                self.is_over, start = self._depth == 0, at
                if self._element.strip(_SPACE) or mark == b",":
                    yield None if self._is_long else bytes(self._element.strip(_SPACE))
                self._element.clear()
                self._is_long = False
        if self.is_over:
            self.has_more = self.has_more or bool(data[at:].strip(_SPACE))
        elif self._depth:
            self._keep(data[start:])

    def _keep(self, part: bytes) -> None:
        self._is_long = self._is_long or len(self._element) + len(part) > BODY_BYTES
        if not self._is_long:
            self._element += part


def _asked(row: int, content: bytes | None) -> Asked:
    if content is None:
        return Asked(row, None, (_TOO_LONG,))
    try:
        order: dict[str, Any] = strict_json.read(content)
    except strict_json.JsonError as error:
        faults = tuple(Problem(fault.sentence, None, fault.pointer) for fault in error.faults)
        return Asked(row, None, faults)
    reference = order.get("reference")
    return Asked(row, order, (), reference if isinstance(reference, str) else None)
