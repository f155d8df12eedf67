"""One document a line in, one answer a line out, in the same order, as long as the caller sends lines (NDJSON), or the
rows of a table (``api.table``).

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

from accord_rules.documents.answers import INTEGER, STRING_OR_NULL, STRINGS, Nullable
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

    line: int = required(INTEGER, "the number of the line, or of a table's row, that it answers")
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
    columns_left_out: tuple[str, ...] | None = optional(
        STRINGS, about="of a table: the headers of columns that were not read, since no order has what they say"
    )
    broken_row: int | None = optional(
        INTEGER,
        about="of a table that breaks off within a quoted cell: the row, behind which none is read; send it mended,"
        " with this row as from_line",
    )


class Source(Protocol):
    """What lines are read from: nothing at the end. Where it has a ``read1``, that gives what there is already."""

    def read(self, size: int, /) -> bytes: ...


@dataclass(frozen=True, slots=True)
class Asked:
    """What a line asks: a document, or the problem in its place, or nothing where it is empty. ``reference``: the
    order's own, where it can be read; ``told``: a problem with the document, in the words of what was sent.
    """

    number: int
    document: Mapping[str, Any] | None = None
    problem: Problem | None = None
    reference: str | None = None
    told: Callable[[Problem], Problem] = lambda problem: problem


class TurnEnded(Exception):
    """The request had its turn before a line came to its end."""


class Turn:
    """How long a request has been answered line by line, and whether it has to end."""

    def __init__(self) -> None:
        self._begun_s = time.monotonic()

    @property
    def taken_s(self) -> float:
        return time.monotonic() - self._begun_s

    def is_over(self) -> bool:
        return has_to_end(self.taken_s)


class Questions(Protocol):
    """What is asked, one after the other; iterating raises TurnEnded. ``number``: of the next one; ``left_out``: of a
    table, its columns that no order has; else None. ``broken``: the row of a table behind which none can be read."""

    number: int
    turn: Turn
    left_out: tuple[str, ...] | None
    broken: int | None

    def __iter__(self) -> Iterator[Asked]: ...


def pieces(source: Source, most: int, turn: Turn) -> Iterator[bytes | None]:
    """What stands between line feeds, and behind the last one; None in place of what is over ``most`` bytes.

    Raises TurnEnded: who sends a line without an end would be read for ever.
    """
    read = getattr(source, "read1", source.read)
    held = bytearray()
    is_over = False
    while data := read(_READ_BYTES):
        held += data
        while (end := held.find(b"\n")) >= 0:
            yield None if is_over or end > most else bytes(held[:end])
            is_over = False
            del held[: end + 1]
        if is_over or len(held) > most:
            is_over = True
            held.clear()
            if turn.is_over():
                raise TurnEnded
    yield None if is_over else bytes(held)


@dataclass(slots=True)
class Lines:
    """JSON documents, one a line (NDJSON), numbered from ``number``; one over ``most`` bytes is a problem. Those before
    ``from_line`` were answered in another request, and are nothing here.

    Lines end with LF or CR LF, the last one may end with the source. Empty ones have a number and are left out.
    """

    source: Source
    most: int
    number: int
    from_line: int = 1
    turn: Turn = field(default_factory=Turn)
    left_out: tuple[str, ...] | None = None
    broken: int | None = None

    def __iter__(self) -> Iterator[Asked]:
        for line in pieces(self.source, self.most, self.turn):
            number = self.number
            self.number += 1
            yield self._asked(number, line)

    def _asked(self, number: int, line: bytes | None) -> Asked:
        if number < self.from_line:
            return Asked(number)
        if line is None:
            return Asked(number, problem=BodyTooLarge(f"The line is over {self.most} bytes."))
        content = line.strip(b" \t\r")
        return _read(number, content) if content else Asked(number)


def _read(number: int, line: bytes) -> Asked:
    try:
        document: Mapping[str, Any] = strict_json.read(line)
    except strict_json.JsonError as error:
        return Asked(number, problem=MalformedJson(faults=error.faults))
    reference = document.get("reference")
    return Asked(number, document, reference=reference if isinstance(reference, str) else None)


def first_line() -> Any:
    """The query parameter that says which number the first line has."""
    about = (
        "the number of the first line, where a request goes on with what another left (next_line); of a table that of"
        " the first row below the header, which is the header's next when left out"
    )
    return optional(Whole(1, LINES_MOST), about=about)


def from_line() -> Any:
    """The query parameter that says which lines were answered before."""
    about = (
        "the number of the line to begin with: those before it are left out, so that what another request left"
        " (next_line) can be gone on with by sending the same again"
    )
    return optional(Whole(1, LINES_MOST), 1, about=about)


def answers(
    questions: Questions, answer: Callable[[Mapping[str, Any]], Answer], revision: int, request_id: str
) -> Iterator[bytes]:
    """The lines of the answer. ``answer`` answers one document, or raises Problem."""
    answered = failed = 0
    next_line: int | None = None
    try:
        for asked in questions:
            if questions.turn.is_over():
                next_line = asked.number
                break
            if asked.document is None and asked.problem is None:
                continue
            answer_line, is_answered = _answered(asked, answer, request_id)
            answered, failed = answered + is_answered, failed + (not is_answered)
            yield answer_line
    except TurnEnded:
        next_line = questions.number
    end = LinesEnd(
        end=True,
        revision=revision,
        lines=answered + failed,
        answered=answered,
        failed=failed,
        complete=next_line is None and questions.broken is None,
        next_line=next_line,
        columns_left_out=questions.left_out,
        broken_row=questions.broken,
    )
    details = {"request_id": request_id, **end.document(), "ms": round(questions.turn.taken_s * 1000)}
    logger.info("lines answered", extra={"details": details})
    yield _written(end.document())


def _answered(asked: Asked, answer: Callable[[Mapping[str, Any]], Answer], request_id: str) -> tuple[bytes, bool]:
    """The line of the answer, and whether it has a verdict."""
    if asked.problem is not None or asked.document is None:
        return _refused(asked, asked.problem or InternalError(), request_id), False
    try:
        given = answer(asked.document)
    except Problem as problem:
        return _refused(asked, asked.told(problem), request_id), False
    except Exception:
        logger.exception("line %d failed", asked.number, extra={"details": {"request_id": request_id}})
        return _refused(asked, InternalError(), request_id), False
    assert given.content is not None
    return _head(asked, given.status)[:-2] + b',"answer":' + given.content + b"}\n", True


def _refused(asked: Asked, problem: Problem, request_id: str) -> bytes:
    details = problems.document(problem, request_id)
    return _head(asked, problem.status)[:-2] + b',"problem":' + _written(details)[:-1] + b"}\n"


def _head(asked: Asked, status: int) -> bytes:
    return _written({"line": asked.number, "status": status, "reference": asked.reference})


def _written(document: Mapping[str, Any]) -> bytes:
    # A problem tells of what was sent, in which there may be half a character.
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8", "replace") + b"\n"
