"""Rows of a workbook (.xlsx, ECMA-376), read as they are taken: values by openpyxl, what it does not tell from the XML.

In its read-only mode openpyxl tells neither which cells are merged nor, of a formula, that nobody worked it out. Both
stand in the sheet's XML: merged cells behind the rows, so that the sheet is gone through once before. Of each row
openpyxl keeps an emptied element, some 100 bytes, until the end.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError, iterparse

import openpyxl
from openpyxl.utils.cell import column_index_from_string, coordinate_from_string, range_boundaries
from openpyxl.utils.exceptions import InvalidFileException

from accord_rules.documents.printable import plain_text
from accord_service.cli.failure import Failure
from accord_service.tables.cells import FormulaWithoutValue, Merged, Value
from accord_service.tables.columns import COLUMNS_MOST
from accord_service.tables.rows import Row

# What is unpacked at most, bytes: a sheet is read row by row, the rest (texts, styles) is held whole.
UNPACKED_MOST = 512 * 1024 * 1024
HELD_MOST = 64 * 1024 * 1024
MERGED_MOST = 100_000
_SHEETS = re.compile(r"xl/(?:worksheets|media|charts|drawings)/")
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


@dataclass(frozen=True, slots=True)
class _Found:
    """What a sheet's XML holds beside values. ``merged``: by first row; first and last row, first and last column."""

    rows: int
    merged: tuple[tuple[int, int, int, int], ...]
    has_bare_formulas: bool


class Workbook:
    """One sheet of a workbook: the first that is not hidden, or the one of this name. Raises Failure."""

    def __init__(self, path: Path, sheet: str | None) -> None:
        self.file = str(path)
        self._path = path
        _check_size(path)
        try:
            with warnings.catch_warnings():  # of what it leaves out, such as pictures and validations
                warnings.simplefilter("ignore")
                book = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
        except (
            InvalidFileException,
            KeyError,
            ValueError,
            TypeError,
            ParseError,
            zipfile.BadZipFile,
            OSError,
        ) as error:
            raise Failure(f"{path}: it can't be read as a workbook ({error}). Save it as .xlsx anew.") from None
        self._book = book
        try:
            self._sheet = _chosen(book, sheet, self.file)
            self.sheet: str | None = self._sheet.title
            self.others = [name for name in book.sheetnames if name != self.sheet]
            self._xml = str(self._sheet._worksheet_path).lstrip("/")
            self._found = self._look_through()
        except (ParseError, KeyError, ValueError, zipfile.BadZipFile) as error:
            self.close()
            raise Failure(f"{path}: a sheet can't be read ({error}). Save the file as .xlsx anew.") from None
        except Failure:
            self.close()
            raise
        self._row = 0

    def close(self) -> None:
        """Close the file."""
        self._book.close()

    def share_done(self) -> float | None:
        return min(1.0, self._row / self._found.rows) if self._found.rows else None

    def rows(self) -> Iterator[Row]:
        self._sheet.reset_dimensions()  # a sheet may claim more columns than it has
        bare = self._bare_formulas() if self._found.has_bare_formulas else iter(())
        awaited = next(bare, None)
        merged = _MergedRows(self._found.merged)
        values = self._sheet.iter_rows(values_only=True)
        number = 0
        while (cells := self._next(values)) is not None:
            number += 1
            self._row = number
            row: list[Value] = list(cells[: COLUMNS_MOST + 1])
            while awaited is not None and awaited[0] <= number:
                if awaited[0] == number and awaited[1] <= len(row):
                    row[awaited[1] - 1] = FormulaWithoutValue()
                awaited = next(bare, None)
            merged.put_into(row, number)
            yield Row(number, row)

    def _next(self, values: Iterator[Any]) -> Any:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                return next(values, None)
        except (ParseError, ValueError, KeyError, IndexError, zipfile.BadZipFile) as error:
            raise Failure(
                f"{self.file}: the sheet “{self.sheet}” can't be read after row {self._row} ({error})."
            ) from None

    def _look_through(self) -> _Found:
        rows, bare = 0, False
        merged: list[tuple[int, int, int, int]] = []
        for kind, of in self._elements():
            if kind == "row":
                rows = int(of.get("r", rows + 1))
                bare = bare or next(_bare_in(of), None) is not None
            elif len(merged) < MERGED_MOST:
                left, top, right, bottom = range_boundaries(of.get("ref", "A1"))
                merged.append((top, bottom, left, right))
            else:
                raise Failure(f"{self.file}: over {MERGED_MOST} merged cells. Unmerge them: a row is one order.")
        return _Found(rows, tuple(sorted(merged)), bare)

    def _bare_formulas(self) -> Iterator[tuple[int, int]]:
        """Row and column, from 1, of each formula without a value, in the order of rows."""
        number = 0
        for kind, row in self._elements():
            if kind == "row":
                number = int(row.get("r", number + 1))
                yield from ((number, column) for column in _bare_in(row))

    def _elements(self) -> Iterator[tuple[str, Any]]:
        """The rows and merged cells of the sheet, each forgotten once the next is taken."""
        with zipfile.ZipFile(self._path) as archive, archive.open(self._xml) as file:
            path: list[Any] = []
            for event, element in iterparse(file, ("start", "end")):
                if event == "start":
                    path.append(element)
                    continue
                path.pop()
                kind = element.tag.removeprefix(_MAIN)
                if kind in ("row", "mergeCell"):
                    yield kind, element
                    path[-1].remove(element)


def _bare_in(row: Any) -> Iterator[int]:
    """The columns, from 1, of a row's formulas that have no value."""
    for place, cell in enumerate(row, 1):
        if cell.find(f"{_MAIN}f") is not None:
            value = cell.find(f"{_MAIN}v")
            if (value is None or not value.text) and cell.find(f"{_MAIN}is") is None and cell.get("t") != "str":
                at = cell.get("r")
                yield column_index_from_string(coordinate_from_string(at)[0]) if at else place


class _MergedRows:
    """Merged ranges, sorted by their first row, put into rows that come in order."""

    def __init__(self, ranges: tuple[tuple[int, int, int, int], ...]) -> None:
        self._ranges = ranges
        self._from = 0
        self._open: list[tuple[int, int, int, int]] = []

    def put_into(self, row: list[Value], number: int) -> None:
        """Every cell of the row that lies under another, as Merged. A range's first cell has the value."""
        until = bisect_right(self._ranges, (number, 2**31, 0, 0))
        self._open = [of for of in (*self._open, *self._ranges[self._from : until]) if of[1] >= number]
        self._from = until
        for top, bottom, left, right in self._open:
            cells = Merged(
                f"{openpyxl.utils.get_column_letter(left)}{top}:{openpyxl.utils.get_column_letter(right)}{bottom}"
            )
            last = min(right, COLUMNS_MOST + 1)
            row += [None] * (last - len(row))
            for column in range(left, last + 1):
                if (number, column) != (top, left):
                    row[column - 1] = cells


def _chosen(book: Any, name: str | None, file: str) -> Any:
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    if name is None:
        shown = [sheet for sheet in sheets.values() if getattr(sheet, "sheet_state", "visible") == "visible"]
        if not shown:
            raise Failure(f"{file}: it has no sheet that is shown.")
        return shown[0]
    if name not in sheets:
        raise Failure(
            f"{file}: there is no sheet “{name}”; there are {plain_text(', '.join(f'“{title}”' for title in sheets))}."
        )
    return sheets[name]


def _check_size(path: Path) -> None:
    """Raises Failure for what is no workbook, and for one that unpacks to more than is good (a zip bomb).

    What an archive says of its parts' sizes holds: ``zipfile`` unpacks no more of a part than that.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
    except zipfile.BadZipFile:
        raise Failure(
            f"{path}: it is no .xlsx workbook (an older .xls, one with a password, or one that was cut on its way?)."
            " Save it as .xlsx, or as “CSV UTF-8”."
        ) from None
    except OSError as error:
        raise Failure(f"{path}: {error.strerror or error}.") from None
    held = sum(part.file_size for part in parts if not _SHEETS.match(part.filename))
    unpacked = sum(part.file_size for part in parts)
    for size, most in ((held, HELD_MOST), (unpacked, UNPACKED_MOST)):
        if size > most:
            raise Failure(
                f"{path}: it unpacks to {size // 2**20} MiB, and {most // 2**20} MiB are read at most. Save its sheet"
                " as “CSV UTF-8”."
            )
