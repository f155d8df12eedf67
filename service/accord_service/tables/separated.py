"""Text of separated values (RFC 4180, with other delimiters as spreadsheets write them): what is alike for files and
for requests."""

from __future__ import annotations

import csv

from accord_rules.documents.counted import counted
from accord_service.tables.cells import text_of
from accord_service.tables.columns import letter_of
from accord_service.tables.rows import Row

_DELIMITERS = ";\t,"
NO_MORE = "no row after it is read"


def delimiter_said(line: str) -> str | None:
    """The delimiter that a line before the header says ("sep=;" as some programs write it); None for another line."""
    if line.lower().startswith("sep=") and len(line.strip("\r\n")) == len("sep=;"):
        return line[4]
    return None


def delimiter_of(header: str) -> str:
    """What parts the fields of a header: the most frequent of those there are, outside of quotes."""
    outside = "".join(header.split('"')[::2])
    most = max(_DELIMITERS, key=outside.count)
    return most if most in outside else ","


def fitting(row: Row, width: int) -> Row:
    """The row, or what is wrong with how many fields it has beside the header's ``width``: its cells may have moved."""
    if row.fault is not None:
        return row
    count = len(row.cells)
    has = f"the row has {counted(count, 'field')}, the header {width}"
    if count < width:
        return Row(row.number, (), f"{has}: one may be missing")
    more = [index for index in range(width, count) if text_of(row.cells[index])]
    if more:
        fault = f"{has}: something stands in {letter_of(more[0])}, which has no header"
        return Row(row.number, (), f"{fault}; a cell with the delimiter in it needs quotes")
    return row


def swallows(row: Row, fits: Row) -> bool:
    """Whether a row of several lines does not fit (``fits``): then a quote may have swallowed the rows behind it."""
    return row.fault is None and fits.fault is not None and row.lines > 1


def is_endless(error: csv.Error, lines: int) -> bool:
    """Whether a cell was given up within its quotes, so that what follows may still be in it; ``lines``: those that
    the row took. In a row of several lines nobody knows which of its quotes is the wrong one."""
    return lines > 1 or "field limit" in str(error) or "end of data" in str(error)


def wrong_quotes(error: csv.Error, lines: int = 1) -> str:
    """What is wrong with a row of so many ``lines`` that the reader can't part."""
    said = str(error)
    if "end of data" in said:
        return 'a cell begins with a quote that is never closed: the rows below it are in that cell; write " as ""'
    if "field limit" in said:
        return f"a cell is longer than {csv.field_size_limit()} characters: a quote may never be closed"
    if "NUL" in said:
        return "it holds bytes that are no text"
    over = " that goes on over several lines, or is never closed" if lines > 1 else ""
    return f'a quote stands inside a quoted cell{over}: write " as ""'
