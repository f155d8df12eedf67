"""Many orders in a row: sent in slices, answered line by line, and gone on with where a connection or a turn ends, or
without the service where that is away for good."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from itertools import chain
from typing import Any, Protocol

from accord_client.documents import Verdict
from accord_client.exceptions import (
    AccordError,
    BadAnswer,
    ConnectionFailed,
    InvalidOrder,
    ProblemError,
    ServiceFault,
    TimedOut,
    problem_error,
)
from accord_client.offline import Offline, StandIn, document_of, is_away
from accord_client.retry import Retry

logger = logging.getLogger(__name__)
# A service takes at least this much of a body before its answers are read (1 MiB).
SLICE_BYTES = 256 * 1024


@dataclass(frozen=True, slots=True)
class AnsweredOrder:
    """What came of one order of many: a verdict, or why there is none. ``line`` counts the orders from 1.

    ``problem`` is the exception that asking for this order alone would have raised; it was not raised, since the others
    are none the worse for it.
    """

    line: int
    order: Mapping[str, Any]
    revision: int | None
    verdict: Verdict | None
    problem: ProblemError | None


class Sender(Protocol):
    """Sends lines and gives the lines that answer them; closed, it gives the connection back. Raises as
    ``Session.lines`` does."""

    def __call__(
        self, body: bytes, first_line: int, revision: int | None
    ) -> Generator[Mapping[str, Any], None, None]: ...


def answered(
    orders: Iterable[Mapping[str, Any]],
    send: Sender,
    encode: Callable[[Mapping[str, Any]], bytes],
    retry: Retry,
    first_line: int,
    revision: int | None,
    stand_in: StandIn | None = None,
) -> Iterator[AnsweredOrder]:
    """The answers in the orders' order, all of one revision; no more orders are held than a slice has.

    A slice whose connection fails is gone on with from its first line without an answer; where the service is away,
    ``stand_in`` answers that line and all that follow. Raises OtherToken, ConnectionFailed, TimedOut, ProblemError
    and BadAnswer, and what taking or encoding an order raises, once the orders before it are answered. A note with
    whatever is raised says where to go on.
    """
    line = first_line
    try:
        with closing(_answers(orders, send, encode, retry, first_line, revision, stand_in)) as answers:
            for given in answers:
                line, revision = given.line + 1, revision if given.revision is None else given.revision
                yield given
    except Exception as error:
        error.add_note(_place(line, first_line, revision))
        raise


def _place(line: int, first_line: int, revision: int | None) -> str:
    """Where to go on, in the words of a call."""
    of_revision = "" if revision is None else f", revision={revision}"
    if line == first_line:
        return f"No order was answered before: begin again with validate_all(..., first_line={line}{of_revision})."
    answered = f"Line {first_line} was" if line == first_line + 1 else f"Lines {first_line} to {line - 1} were"
    return f"{answered} answered before: go on with validate_all(..., first_line={line}{of_revision})."


def _answers(
    orders: Iterable[Mapping[str, Any]],
    send: Sender,
    encode: Callable[[Mapping[str, Any]], bytes],
    retry: Retry,
    first_line: int,
    revision: int | None,
    stand_in: StandIn | None,
) -> Generator[AnsweredOrder, None, None]:
    slices = _slices(orders, encode)
    for slice_ in slices:
        tries = 0
        while slice_:
            done = 0
            away: AccordError | None = None
            try:
                with closing(_of_slice(slice_, send, first_line, revision)) as lines:
                    for answer in lines:
                        if answer.revision is not None:
                            revision = answer.revision
                        if answer.is_end:
                            break
                        given = _read(answer.document, slice_[done][0])
                        revision = revision if given.revision is None else given.revision
                        done += 1
                        yield given
            except (ConnectionFailed, TimedOut, ServiceFault) as error:
                tries = 1 if done else tries + 1
                if not (isinstance(error, ConnectionFailed) and retry.wait(tries)):
                    away = error
            if away is not None:
                rest = chain(slice_[done:], chain.from_iterable(slices))
                yield from _without_service(rest, stand_in, first_line + done, revision, away)
                return
            slice_, first_line = slice_[done:], first_line + done


def _without_service(
    orders: Iterable[tuple[Mapping[str, Any], bytes]],
    stand_in: StandIn | None,
    line: int,
    revision: int | None,
    error: AccordError,
) -> Iterator[AnsweredOrder]:
    """The answers of whoever answers while the service is away. Raises ``error`` where nobody does, OtherToken, and
    ConnectionFailed where they have another revision than the answers so far."""
    if stand_in is None or not is_away(error):
        raise error
    try:
        offline = stand_in.begin()
        held = offline.revision
    except LookupError:
        raise error from None
    if revision not in (None, held):
        raise ConnectionFailed(
            f"{error}; the bundle here is of revision {held}, and the answers so far of revision {revision}"
        ) from error
    logger.warning("answered from a bundle from line %d on: %s", line, error)
    for number, (order, _) in enumerate(orders, line):
        try:
            verdict = Verdict.read(document_of(partial(_validated, order), offline))
        except InvalidOrder as refused:
            yield AnsweredOrder(number, order, None, None, refused)
        else:
            yield AnsweredOrder(number, order, verdict.revision, verdict, None)


def _validated(order: Mapping[str, Any], offline: Offline) -> Mapping[str, Any]:
    return offline.validate(order)


@dataclass(frozen=True, slots=True)
class _Line:
    document: Mapping[str, Any]
    revision: int | None
    is_end: bool


def _of_slice(
    slice_: list[tuple[Mapping[str, Any], bytes]], send: Sender, first_line: int, revision: int | None
) -> Generator[_Line, None, None]:
    """The lines that answer a slice, to its end or to the line that its turn ended with. Raises ConnectionFailed for
    an answer that was cut."""
    body = b"".join(line for _, line in slice_)
    expected = first_line
    with closing(send(body, first_line, revision)) as documents:
        for document in documents:
            if document.get("end") is True:
                if expected == first_line and document.get("next_line") == first_line:
                    raise ConnectionFailed("the service ended its answer before the first line")
                yield _Line(document, _whole(document, "revision"), True)
                return
            if document.get("line") != expected or expected == first_line + len(slice_):
                raise BadAnswer(
                    f"line {expected} was to be answered, and the answer is to line {document.get('line')!r:.40}"
                )
            yield _Line(document, None, False)
            expected += 1
    raise ConnectionFailed("the answer was cut: it has no last line")


def _slices(
    orders: Iterable[Mapping[str, Any]], encode: Callable[[Mapping[str, Any]], bytes]
) -> Iterator[list[tuple[Mapping[str, Any], bytes]]]:
    """Slices of the orders, each with its line. What taking or encoding an order raises comes behind the slice of those
    before it."""
    slice_: list[tuple[Mapping[str, Any], bytes]] = []
    size = 0
    failure: Exception | None = None
    encoded = ((order, encode(order) + b"\n") for order in orders)
    while True:
        try:
            order, line = next(encoded)
        except StopIteration:
            break
        except Exception as error:
            failure = error
            break
        if slice_ and size + len(line) > SLICE_BYTES:
            yield slice_
            slice_, size = [], 0
        slice_.append((order, line))
        size += len(line)
    if slice_:
        yield slice_
    if failure is not None:
        raise failure


def _read(document: Mapping[str, Any], order: Mapping[str, Any]) -> AnsweredOrder:
    line, status = _whole(document, "line"), _whole(document, "status")
    problem = document.get("problem")
    if isinstance(problem, dict):
        refused = problem_error(status, problem, to_an_order=True)
        return AnsweredOrder(line, order, None, None, refused)
    verdict = Verdict.read(document.get("answer"))
    return AnsweredOrder(line, order, verdict.revision, verdict, None)


def _whole(document: Mapping[str, Any], name: str) -> int:
    value = document.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        raise BadAnswer(f"a line of the answer has no {name} as promised: {json.dumps(document)[:80]}")
    return value
