"""A table (text/csv) whose rows are orders: read row by row as it comes, each put as the order that it says.

The first row that is not empty has the headers, in the words that ``accord validate`` takes for columns
(``accord_service.tables``). What is wrong with a row is that row's problem; headers that are not clear are everybody's.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from accord_rules.documents.reading import Fault, escape
from accord_service.api.lines import Asked, Source, Turn, TurnEnded, pieces
from accord_service.http.problems import BodyTooLarge, ColumnsNotClear, FaultyDocument, Problem
from accord_service.tables import columns, rows
from accord_service.tables.columns import Columns
from accord_service.tables.rows import Row
from accord_service.tables.separated import (
    NO_MORE,
    delimiter_of,
    delimiter_said,
    fitting,
    is_endless,
    swallows,
    wrong_quotes,
)
from accord_service.tables.words import words

MEDIA_TYPE = "text/csv"
_MARK = "\N{BYTE ORDER MARK}"
_NO_TEXT = "it is not UTF-8: save the table as CSV in UTF-8"


class _RowTooLong(Exception):
    pass


class _NotText(Exception):
    pass


class _Text:
    """The lines of a source as text, for a reader of separated values, which may take several for a row."""

    def __init__(self, source: Source, most: int, turn: Turn) -> None:
        self._pieces, self._most = pieces(source, most, turn), most
        self._size = self.lines = 0  # of the row that is being read

    def begin_row(self) -> None:
        self._size = self.lines = 0

    def __iter__(self) -> _Text:
        return self

    def __next__(self) -> str:
        piece = next(self._pieces)
        self.lines += 1
        self._size += 1 + (0 if piece is None else len(piece))
        if piece is None or self._size > self._most:
            raise _RowTooLong
        try:
            return piece.decode() + "\n"
        except UnicodeDecodeError:
            raise _NotText from None


class Rows:
    """The rows below the header, each as the order that it says. ``most``: bytes of a row; ``number``: of the first of
    them, None for the one after the header's own; those before ``from_line`` were answered in another request.

    Making it reads the header. Raises ColumnsNotClear.
    """

    number: int
    left_out: tuple[str, ...] | None
    broken: int | None

    def __init__(self, source: Source, most: int, number: int | None, from_line: int = 1) -> None:
        self.turn, self._from_line = Turn(), from_line
        self._text, self._most = _Text(source, most, self.turn), most
        self.broken = None
        titles, before = self._header()
        self._columns = _columns(titles)
        self._width = len(titles)
        self.number = before + 1 if number is None else number
        self.left_out = tuple(title for _, title in self._columns.unread if title)

    def __iter__(self) -> Iterator[Asked]:
        while (row := self._next(self.number)) is not None:
            self.number += 1
            if row.number < self._from_line:
                yield Asked(row.number)
            elif isinstance(row, Asked):
                yield row
            elif row.is_empty:
                yield Asked(row.number)
            else:
                yield _asked(self._fitting(row), self._columns)

    def _fitting(self, row: Row) -> Row:
        """The row, or what is wrong with its fields: where it took several lines, the ones behind may be in it."""
        fits = fitting(row, self._width)
        if swallows(row, fits):
            return self._broken_off(row.number, f"{fits.fault}, or a quote is never closed")
        return fits

    def _broken_off(self, number: int, fault: str) -> Row:
        """The row that the table breaks off in: what comes next may lie in one of its cells."""
        self.broken = number
        return Row(number, (), f"{fault}; {NO_MORE}")

    def _next(self, number: int) -> Row | Asked | None:
        """The next row, the problem with it, or None where there is none."""
        if self.broken is not None:
            return None
        self._text.begin_row()
        try:
            cells = next(self._reader)
            return Row(number, cells, lines=self._text.lines)
        except StopIteration:
            return None
        except csv.Error as error:
            if is_endless(error, self._text.lines):
                return self._broken_off(number, wrong_quotes(error, self._text.lines))
            return Row(number, (), wrong_quotes(error))
        except _NotText:
            if self._text.lines > 1:
                return self._broken_off(number, _NO_TEXT)
            return Row(number, (), _NO_TEXT)
        except _RowTooLong:
            said = f"The row is over {self._most} bytes"
            if self._text.lines > 1:  # one with a quoted cell that goes on
                said = f"{said}; {NO_MORE}"
                self.broken = number
            return Asked(number, problem=BodyTooLarge(f"{said}."))

    def _header(self) -> tuple[list[str], int]:
        """The headers, and how many rows there are up to them. Raises ColumnsNotClear."""
        delimiter: str | None = None
        number = 0
        try:
            for line in self._text:
                number += 1
                text = line.removeprefix(_MARK) if number == 1 else line
                if number == 1 and (delimiter := delimiter_said(text)) is not None:
                    continue
                if not text.strip(f" \t\r\n,;{delimiter or ''}"):
                    continue
                self._reader = csv.reader(self._text, delimiter=delimiter or delimiter_of(text), strict=True)
                # Headers with line ends in them are begun here, and gone on with by the reader.
                first = csv.reader(_then(text, self._text), delimiter=delimiter or delimiter_of(text), strict=True)
                return rows.titles_of(next(first)), number
        except csv.Error as error:
            raise ColumnsNotClear(f"In the header {wrong_quotes(error)}.") from None
        except _NotText:
            raise ColumnsNotClear(f"The header can't be read: {_NO_TEXT}.") from None
        except _RowTooLong:
            raise ColumnsNotClear(f"The header is over {self._most} bytes.") from None
        except TurnEnded:
            raise ColumnsNotClear("The header did not come in time.") from None
        raise ColumnsNotClear("The table is empty: its first row has to have the headers.")


def _then(first: str, rest: Iterator[str]) -> Iterator[str]:
    yield first
    yield from rest


def _columns(titles: list[str]) -> Columns:
    """Raises ColumnsNotClear."""
    known = tuple(words())
    try:
        read = columns.mapped(titles)
    except columns.ColumnsNotClear as unclear:
        faults = [
            Fault(f"/{escape(fault.title)}", fault.sentence, fault.allowed, code=fault.code) for fault in unclear.faults
        ]
        raise ColumnsNotClear(faults=faults or [Fault("", str(unclear), known, code="not-allowed")]) from None
    if lacking := columns.missing(read):
        titles_left = ", ".join(f"“{title}”" for _, title in read.unread if title)
        not_read = f" Not read: {titles_left}." if titles_left else ""
        raise ColumnsNotClear(faults=[Fault("", sentence + not_read, known, code="required") for sentence in lacking])
    return read


def _asked(row: Row, of: Columns) -> Asked:
    asked = rows.asked(row, of)
    told = partial(_told, columns=of)
    if asked.order is not None:
        return Asked(row.number, asked.order, reference=asked.reference, told=told)
    faults = [Fault(problem.pointer or "", problem.sentence, code="bad-format") for problem in asked.problems]
    return Asked(row.number, None, FaultyDocument(faults=faults), asked.reference)


def _told(problem: Problem, columns: Columns) -> Problem:
    """What is wrong with an order, with the columns that said it."""
    if not isinstance(problem, FaultyDocument):
        return problem
    return FaultyDocument(faults=[_of_column(fault, columns) for fault in problem.faults])


def _of_column(fault: Fault, columns: Columns) -> Fault:
    column = columns.at(fault.pointer)
    return fault if column is None else replace(fault, message=f"{column.shown}: {fault.message}")
