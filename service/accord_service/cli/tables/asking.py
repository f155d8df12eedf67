"""Rows put to whoever answers, some at a time, each answered in its place: one that can't be read holds up none."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from accord_service.cli.codes import UNREAD
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused
from accord_service.cli.tables.refusals import problems_of
from accord_service.cli.tables.sources import Source
from accord_service.cli.told import Answerer, Document
from accord_service.tables.rows import Asked, Problem

# So many are asked in one go: enough that the way there and back is nothing beside judging them.
TOGETHER = 256


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a row: an answer (a verdict's document), or problems."""

    file: str
    sheet: str | None
    row: int
    reference: str | None
    answer: Document | None
    problems: tuple[Problem, ...] = ()

    @property
    def word(self) -> str:
        """The verdict; UNREAD where there is none."""
        return UNREAD if self.answer is None else str(self.answer["verdict"])

    def document(self) -> dict[str, object]:
        """As it is written for programs: the answer whole, or the problem."""
        head = {"file": self.file, "sheet": self.sheet, "row": self.row, "reference": self.reference}
        if self.answer is not None:
            return {**head, "answer": self.answer}
        errors = [problem.document() for problem in self.problems]
        return {**head, "problem": {"title": "The row cannot be read", "errors": errors}}


@dataclass(slots=True)
class Sum:
    """How many rows there were of each verdict, and the revision that they were answered from.

    ``bundled``: of these, how many have their verdict from a bundle, without a service. ``is_whole``: whether all rows
    that there were are among them.
    """

    words: Counter[str] = field(default_factory=Counter)
    bundled: int = 0
    empty: int = 0
    is_whole: bool = False
    revision: int | None = None
    last: Result | None = None

    @property
    def rows(self) -> int:
        return sum(self.words.values())

    def add(self, result: Result) -> None:
        """Count one more."""
        self.words[result.word] += 1
        self.last = result
        if result.answer is not None:
            self.revision = result.answer["revision"]
            self.bundled += result.answer["basis"] == "bundle"


def results(accord: Answerer, source: Source, from_row: int, revision: int | None) -> Iterator[Result]:
    """What comes of each row, in order, all of one revision. Raises Failure where nobody answers any more."""
    for together in _slices(source.asked(from_row)):
        answers = iter(accord.validate_all((of.order for of in together if of.order is not None), revision))
        for of in together:
            answer = None if of.order is None else next(answers)
            if isinstance(answer, Refused):
                yield _result(source, of, None, problems_of(answer, of.columns))
            else:
                revision = revision if answer is None else answer["revision"]
                yield _result(source, of, answer, of.problems)


def _result(source: Source, of: Asked, answer: Document | None, problems: tuple[Problem, ...]) -> Result:
    return Result(source.file, source.sheet, of.row, of.reference, answer, problems)


def _slices(rows: Iterable[Asked]) -> Iterator[list[Asked]]:
    """So many at a time; those before a file breaks off too, then its Failure."""
    together: list[Asked] = []
    try:
        for row in rows:
            together.append(row)
            if len(together) == TOGETHER:
                yield together
                together = []
    except Failure:
        yield together
        raise
    yield together
