"""Tables as files hold them: rows of comma-, semicolon- or tab-separated text, one after the other."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from accord_service.cli.failure import Failure
from accord_service.tables.rows import Row
from accord_service.tables.separated import NO_MORE, delimiter_of, delimiter_said, is_endless, wrong_quotes

_READ_BYTES = 64 * 1024
_HEADER_CHARACTERS_MOST = 64 * 1024
_TWO_BYTE_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


class Sheet(Protocol):
    """A table whose rows are read as they are taken. ``sheet`` is its name in a workbook, None elsewhere."""

    file: str
    sheet: str | None

    def rows(self) -> Iterator[Row]:
        """Every row with its number, empty ones too. Raises Failure where the file can't be read any further."""

    def share_done(self) -> float | None:
        """How much of the file was read, from 0 to 1; None where that is not known."""

    def close(self) -> None:
        """Close the file."""


class Separated:
    """A text file of separated values (RFC 4180, with other delimiters as spreadsheets write them)."""

    sheet: str | None = None

    def __init__(self, path: Path, encoding: str | None) -> None:
        self.file = str(path)
        self._path = path
        self._encoding = encoding or "utf-8-sig"
        self._size = _check_text(path, encoding)
        self._read: io.BufferedReader | None = None

    def share_done(self) -> float | None:
        if self._read is None or not self._size:
            return None
        return 1.0 if self._read.closed else min(1.0, self._read.tell() / self._size)

    def close(self) -> None:
        if self._read is not None:
            self._read.close()

    def rows(self) -> Iterator[Row]:
        with self._path.open("rb") as file:
            self._read = file
            text = io.TextIOWrapper(file, self._encoding, newline="")
            delimiter, skipped = self._delimiter()
            for _ in range(skipped):
                text.readline()
            reader = csv.reader(text, delimiter=delimiter, strict=True)
            number, before = skipped, 0
            while True:
                number += 1
                try:
                    cells = next(reader)
                except StopIteration:
                    break
                except csv.Error as error:
                    lines = reader.line_num - before
                    fault = wrong_quotes(error, lines)
                    if is_endless(error, lines):
                        raise broken_off(self.file, number, fault) from None
                    yield Row(number, (), fault)
                else:
                    yield Row(number, cells, lines=reader.line_num - before)
                before = reader.line_num

    def _delimiter(self) -> tuple[str, int]:
        """What parts the fields, and how many lines say so before the header ("sep=;" as some programs write it)."""
        with self._path.open(encoding=self._encoding, newline="") as text:
            line = text.readline(_HEADER_CHARACTERS_MOST)
            if (said := delimiter_said(line)) is not None:
                return said, 1
            while line and not line.strip():
                line = text.readline(_HEADER_CHARACTERS_MOST)
        return delimiter_of(line), 0


def broken_off(file: str, number: int, fault: str) -> Failure:
    """Of a table whose rows from ``number`` on may lie in one quoted cell."""
    return Failure(f"{file}: not complete: row {number} can't be read, and {NO_MORE}: {fault}.")


def _check_text(path: Path, encoding: str | None) -> int:
    """The size of a file that can be read in its encoding, bytes. Raises Failure with the line that can't."""
    try:
        decoder = codecs.getincrementaldecoder(encoding or "utf-8-sig")()
    except LookupError:
        raise Failure(
            f"--encoding {encoding}: there is no such encoding; cp1252, latin-1 and utf-16 are some."
        ) from None
    size = lines = 0
    try:
        with path.open("rb") as file:
            while data := file.read(_READ_BYTES):
                if size == 0 and encoding is None and data.startswith(_TWO_BYTE_MARKS):
                    raise Failure(f"{path}: it is UTF-16. Say --encoding utf-16, or save it as “CSV UTF-8”.")
                decoder.decode(data)
                size += len(data)
                lines += data.count(b"\n")
            decoder.decode(b"", True)
    except UnicodeDecodeError as error:
        line = lines + error.object[: error.start].count(b"\n") + 1
        byte = error.object[error.start : error.start + 1].hex().upper()
        raise Failure(
            f"{path}: line {line} is not {encoding or 'UTF-8'} (byte {byte}). Save the file as “CSV UTF-8”, or say what"
            " it is: --encoding cp1252 is usual on Windows."
        ) from None
    except OSError as error:
        raise Failure(f"{path}: {error.strerror or error}.") from None
    return size
