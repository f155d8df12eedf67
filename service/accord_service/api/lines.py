"""One document a line in, one answer a line out, in the same order, as long as the caller sends lines (NDJSON).

All lines are answered from one revision, the one that held when the first came. What is wrong with a line is said in
its place, and the next ones are answered all the same. The last line says how many there were and whether all were
answered; without it the answer was cut. A request ends early where it had its turn (``worker.admission.has_to_end``):
the last line then says from which line on to go on, in another request.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from accord_rules.documents.answers import INTEGER, STRING_OR_NULL, Nullable
from accord_rules.documents.reading import Flag, Object, Whole, optional, required
from accord_rules.documents.writing import Documented
from accord_rules.verdict import Verdict
from accord_service.http import problems, strict_json
from accord_service.http.problems import BodyTooLarge, InternalError, MalformedJson, Problem, ProblemDetails
from accord_service.http.writing import Answer
from accord_service.worker.admission import has_to_end

logger = logging.getLogger(__name__)
MEDIA_TYPE = "application/x-ndjson"
_READ_BYTES = 64 * 1024
LINES_MOST = 1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class AnsweredLine(Documented):
    """The answer to one line: a verdict or a problem. The last line of all is another: LinesEnd."""

    line: int = required(INTEGER, "the number of the line that it answers")
    status: int = required(INTEGER, "the HTTP status that the line would have been answered with by itself")
    reference: str | None = required(STRING_OR_NULL, "the order's own reference, where it has one that can be read")
    answer: Verdict | None = optional(Object(Verdict), about="the verdict, as POST /v1/validate gives it")
    problem: ProblemDetails | None = optional(
        Object(ProblemDetails), about="why there is no verdict (RFC 9457): the line is at fault, the others are not"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesEnd(Documented):
    """The last line of an answer line by line: without it the answer was cut."""

    end: bool = required(Flag(), "true: nothing follows")
    revision: int = required(INTEGER, "the revision of the book that all lines were answered from")
    lines: int = required(INTEGER, "how many lines were read, empty ones left out")
    answered: int = required(INTEGER, "of these, how many got a verdict")
    failed: int = required(INTEGER, "of these, how many got a problem")
    complete: bool = required(Flag(), "whether all lines that were sent are answered")
    next_line: int | None = required(
        Nullable(INTEGER),
        "where it ended early: the number of the line to go on with, in a request that names it as first_line, and the"
        " revision",
    )


class Source(Protocol):
    """What lines are read from: nothing at the end. Where it has a ``read1``, that gives what there is already."""

    def read(self, size: int, /) -> bytes: ...


@dataclass(slots=True)
class Lines:
    """The lines of a source, one at a time, numbered from ``number``; one over ``most`` bytes is None.

    Lines end with LF or CR LF, the last one may end with the source. Empty ones have a number and are left out.
    """

    source: Source
    most: int
    number: int
    _held: bytearray = field(default_factory=bytearray)
    _is_over: bool = False

    def __iter__(self) -> Iterator[tuple[int, bytes | None]]:
        read = getattr(self.source, "read1", self.source.read)
        while data := read(_READ_BYTES):
            self._held += data
            while (end := self._held.find(b"\n")) >= 0:
                line = self._line(end)
                del self._held[: end + 1]
                yield from self._numbered(line)
            self._forget_what_is_over()
        yield from self._numbered(self._line(len(self._held)))

    def _line(self, end: int) -> bytes | None:
        over = self._is_over or end > self.most
        self._is_over = False
        return None if over else bytes(self._held[:end]).strip(b" \t\r")

    def _forget_what_is_over(self) -> None:
        if self._is_over or len(self._held) > self.most:
            self._is_over = True
            self._held.clear()

    def _numbered(self, line: bytes | None) -> Iterator[tuple[int, bytes | None]]:
        number = self.number
        self.number += 1
        if line != b"":
            yield number, line


def first_line() -> Any:
    """The query parameter that says which number the first line has."""
    about = "the number of the first line, where a request goes on with what another left (next_line)"
    return optional(Whole(1, LINES_MOST), 1, about=about)


def answers(
    lines: Lines, answer: Callable[[Mapping[str, Any]], Answer], revision: int, request_id: str
) -> Iterator[bytes]:
    """The lines of the answer. ``answer`` answers one document, or raises Problem."""
    begun_s = time.monotonic()
    answered = failed = 0
    next_line: int | None = None
    for number, line in lines:
        if has_to_end(time.monotonic() - begun_s):
            next_line = number
            break
        answer_line, is_answered = _answered(number, line, answer, request_id, lines.most)
        answered, failed = answered + is_answered, failed + (not is_answered)
        yield answer_line
    end = LinesEnd(
        end=True,
        revision=revision,
        lines=answered + failed,
        answered=answered,
        failed=failed,
        complete=next_line is None,
        next_line=next_line,
    )
    details = {"request_id": request_id, **end.document(), "ms": round((time.monotonic() - begun_s) * 1000)}
    logger.info("lines answered", extra={"details": details})
    yield _written(end.document())


def _answered(
    number: int, line: bytes | None, answer: Callable[[Mapping[str, Any]], Answer], request_id: str, most: int
) -> tuple[bytes, bool]:
    """The line of the answer, and whether it has a verdict."""
    document: Mapping[str, Any] = {}
    try:
        if line is None:
            raise BodyTooLarge(f"The line is over {most} bytes.")
        document = _document(line)
        given = answer(document)
    except Problem as problem:
        return _refused(number, document, problem, request_id), False
    except Exception:
        logger.exception("line %d failed", number, extra={"details": {"request_id": request_id}})
        return _refused(number, document, InternalError(), request_id), False
    head = _head(number, given.status, document)
    assert given.content is not None
    return head[:-2] + b',"answer":' + given.content + b"}\n", True


def _document(line: bytes) -> Mapping[str, Any]:
    try:
        return strict_json.read(line)
    except strict_json.JsonError as error:
        raise MalformedJson(faults=error.faults) from None


def _refused(number: int, document: Mapping[str, Any], problem: Problem, request_id: str) -> bytes:
    details = problems.document(problem, request_id)
    return _head(number, problem.status, document)[:-2] + b',"problem":' + _written(details)[:-1] + b"}\n"


def _head(number: int, status: int, document: Mapping[str, Any]) -> bytes:
    reference = document.get("reference")
    return _written({"line": number, "status": status, "reference": reference if isinstance(reference, str) else None})


def _written(document: Mapping[str, Any]) -> bytes:
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"
