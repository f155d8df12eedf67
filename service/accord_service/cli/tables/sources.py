"""Files of orders, by their ending: tables with columns, lists, and single orders, each as what it asks row by row."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from accord_service.cli.failure import Failure
from accord_service.cli.orders import STDIN, Refused, read_order
from accord_service.cli.tables.listed import Listed, is_list
from accord_service.cli.tables.own_columns import columns_of
from accord_service.cli.tables.refusals import problems_of
from accord_service.cli.tables.sheets import Separated, Sheet, broken_off
from accord_service.tables.columns import Columns, OwnWords, letter_of, missing
from accord_service.tables.rows import Asked, Row, asked, titles_of
from accord_service.tables.separated import fitting, swallows

_UNREAD_TOLD = 20
_TEXTS, _WORKBOOKS, _LINES = (".csv", ".tsv"), (".xlsx", ".xlsm"), (".ndjson", ".jsonl")
_NOT_READ = (".xls", ".xlsb", ".ods", ".numbers", ".pdf")


class Source(Protocol):
    """A file of orders. ``empty``: how many empty rows were left out so far."""

    file: str
    sheet: str | None
    empty: int

    def asked(self, from_row: int) -> Iterator[Asked]:
        """What each row asks, from this one on. Raises Failure where the file can't be read any further."""

    def share_done(self) -> float | None:
        """How much of the file was read, from 0 to 1; None where that is not known."""

    def close(self) -> None:
        """Close the file."""


@dataclass(frozen=True, slots=True)
class How:
    """How tables are read: what the command line says of them."""

    own: OwnWords
    encoding: str | None = None
    sheet: str | None = None
    header_row: int | None = None


def is_table(file: str) -> bool:
    """Whether the file's ending says that it has columns."""
    return Path(file).suffix.lower() in (*_TEXTS, *_WORKBOOKS)


def is_many(file: str) -> bool:
    """Whether a file holds any number of orders, and not one."""
    ending = Path(file).suffix.lower()
    if ending in _NOT_READ:
        raise Failure(f"{file}: files of this kind are not read. Save it as .xlsx, or as “CSV UTF-8”.")
    return is_table(file) or ending in _LINES or (file != STDIN and is_list(Path(file)))


def source_of(file: str, how: How) -> Source:
    """The file, ready to be read. Raises Failure."""
    path = Path(file)
    if is_table(file):
        return Table(sheet_of(path, how), how)
    if is_many(file):
        return Listed(path, lines=path.suffix.lower() in _LINES)
    return Single(file)


def sheet_of(path: Path, how: How) -> Sheet:
    """The rows of a table's file. Raises Failure."""
    if path.suffix.lower() in _TEXTS:
        if how.sheet is not None:
            raise Failure(f"{path}: --sheet names a sheet of a workbook, and this is none.")
        return Separated(path, how.encoding)
    # Two tenths of a second that only who has a workbook waits for.
    from accord_service.cli.tables.workbook import Workbook

    return Workbook(path, how.sheet)


class Table:
    """A sheet whose columns are known: its first row that is not empty has the headers."""

    def __init__(self, sheet: Sheet, how: How) -> None:
        self.file, self.sheet = sheet.file, sheet.sheet
        self.where = self.file if sheet.sheet is None else f"{self.file}, sheet “{sheet.sheet}”"
        self.empty = 0
        self.of = sheet
        self._rows = sheet.rows()
        self._is_text = isinstance(sheet, Separated)
        try:
            header = self._header(how.header_row)
            self.columns: Columns = columns_of(titles_of(header.cells), how.own, self.where)
        except Failure:
            self.close()
            raise
        self._width = len(header.cells)

    def _header(self, number: int | None) -> Row:
        for row in self._rows:
            if row.number == number or (number is None and not row.is_empty):
                if row.fault is not None:
                    raise Failure(f"{self.where}: row {row.number}, which has the headers: {row.fault}.")
                return row
        raise Failure(f"{self.where}: " + ("it is empty." if number is None else f"it has no row {number}."))

    def check(self) -> None:
        """Raises Failure where a column is missing that no order can do without."""
        if sentences := missing(self.columns):
            raise Failure(f"{self.where}: " + " ".join([*sentences, *unread_lines(self.columns)]))

    def share_done(self) -> float | None:
        return self.of.share_done()

    def close(self) -> None:
        self.of.close()

    def filled(self) -> Iterator[Row]:
        """The rows below the headers in which something is written."""
        for row in self._rows:
            if row.is_empty:
                self.empty += 1
            else:
                yield self._fitting(row) if self._is_text else row

    def _fitting(self, row: Row) -> Row:
        """The row, or what is wrong with how many fields it has. Raises Failure where the ones behind may be in it."""
        fits = fitting(row, self._width)
        if swallows(row, fits):
            raise broken_off(self.file, row.number, f"{fits.fault}, or a quote is never closed")
        return fits

    def asked(self, from_row: int) -> Iterator[Asked]:
        return (asked(row, self.columns) for row in self.filled() if row.number >= from_row)


def unread_lines(columns: Columns) -> list[str]:
    """The columns that are not read, in a sentence; nothing where all are."""
    if not columns.unread:
        return []
    named = [
        f"{letter_of(index)} “{title}”" if title else f"{letter_of(index)} (no header)"
        for index, title in columns.unread
    ]
    more = f" and {len(named) - _UNREAD_TOLD} more" if len(named) > _UNREAD_TOLD else ""
    return [f"Not read: {', '.join(named[:_UNREAD_TOLD])}{more}."]


class Single:
    """One order in a file of its own, as a row."""

    sheet: str | None = None
    empty = 0

    def __init__(self, file: str) -> None:
        self.file = file

    def share_done(self) -> float | None:
        return None

    def close(self) -> None:
        """Nothing: it is read whole."""

    def asked(self, from_row: int) -> Iterator[Asked]:
        """The order, as row 1."""
        try:
            order = read_order(self.file).document
        except Refused as refused:
            yield Asked(1, None, problems_of(refused, None))
            return
        reference = order.get("reference")
        yield Asked(1, order, (), reference if isinstance(reference, str) else None)
