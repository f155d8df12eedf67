"""What came of rows, written as they come: lines for people, CSV for spreadsheets, JSON for programs, JUnit for CI."""

from __future__ import annotations

import csv
import json
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from types import MappingProxyType
from typing import IO, Protocol
from xml.sax.saxutils import escape, quoteattr

from accord_service.cli.codes import UNREAD, WORKABLE
from accord_service.cli.output import Output
from accord_service.cli.show import settings_line, style_of
from accord_service.cli.tables.asking import Result, Sum
from accord_service.cli.told import Document

# A spreadsheet takes a cell that begins so for a formula, and works it out (OWASP, CSV injection).
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
# What XML 1.0 has no character for.
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_REFERENCE_WIDTH, _ROW_WIDTH, _WORD_WIDTH = 12, 5, 13


# -- one sentence of each --------------------------------------------------------------------------------------------


def reason_of(result: Result) -> str:
    """Why it is not accepted, the gravest first: a finding, a question, a condition, or what can't be read."""
    answer = result.answer
    if answer is None:
        return " ".join(problem.sentence for problem in result.problems)
    if answer["verdict"] == "undetermined" and answer["needs"]:
        return str(answer["needs"][0]["question"])
    if answer["verdict"] == "conditional" and answer["conditions"]:
        return str(answer["conditions"][0])
    found = [finding for finding in answer["findings"] if finding["level"] not in ("cautions", "notes")]
    return str(found[0]["because"]) if found else ""


def remedy_of(result: Result) -> str:
    """The first change that would make it work; empty where none is known."""
    remedies = result.answer["remedies"] if result.answer is not None else ()
    return str(remedies[0]["text"]) if remedies else ""


def settings_of(result: Result) -> str:
    """The settings on the press that it was judged on; empty where it can't be done, or that is not known."""
    if result.answer is None or result.word not in WORKABLE:
        return ""
    on = _judged_on(result.answer)
    if on["settings"] is None:
        return ""
    lines = [settings_line(on["settings"][index], on["titles"], on["pressings"][index]) for index in on["sequence"]]
    return "; then ".join(lines)


def _judged_on(answer: Document) -> Document:
    found: Document = next(press for press in answer["presses"] if press["press"] == answer["judged_on"])
    return found


# -- writers ---------------------------------------------------------------------------------------------------------


class Writer(Protocol):
    """Writes results one by one. ``end`` closes what has a beginning, and is called whatever became of the rest."""

    def write(self, result: Result) -> None: ...

    def end(self, sums: Sum) -> None: ...


class Lines:
    """For people: what is not accepted (or every row), with why and what would work; the sum at the end."""

    def __init__(self, output: Output, *, every: bool) -> None:
        self._output = output
        self._every = every
        self._shown: tuple[str, str | None] | None = None

    def write(self, result: Result) -> None:
        if result.word == "accepted" and not self._every:
            return
        if self._shown != (result.file, result.sheet):
            self._shown = (result.file, result.sheet)
            self._output.blank()
            self._output.draw(f"{'row':>{_ROW_WIDTH}}  {'reference':<{_REFERENCE_WIDTH}}  {'verdict':<{_WORD_WIDTH}}")
        lead = f"{result.row:>{_ROW_WIDTH}}  {_short(result.reference or ''):<{_REFERENCE_WIDTH}}  "
        word = f"{result.word.upper():<{_WORD_WIDTH}}"
        self._output.say(_told(result), lead=lead + word, lead_style=style_of(result.word))
        if result.word == "rejected" and (remedy := remedy_of(result)):
            self._output.say(remedy, lead=" " * len(lead) + "instead: ")

    def end(self, sums: Sum) -> None:
        self._output.blank()
        for line in sum_lines(sums):
            self._output.say(line)
        if sums.words["accepted"] and not self._every:
            self._output.say("Accepted orders are not listed; --all lists them with their settings.")


def _short(reference: str) -> str:
    return reference if len(reference) <= _REFERENCE_WIDTH else f"{reference[: _REFERENCE_WIDTH - 1]}…"


def _told(result: Result) -> str:
    """What a line says of a row: the first reason, and how many more there are."""
    answer = result.answer
    if answer is None:
        return reason_of(result)
    if result.word == "accepted":
        return settings_of(result)
    if result.word == "rejected":
        count = sum(finding["level"] == "blocks" for finding in answer["findings"])
    else:
        count = len(answer["needs"] if result.word == "undetermined" else answer["conditions"])
    return reason_of(result) + (f" (and {count - 1} more)" if count > 1 else "")


def sum_lines(sums: Sum) -> list[str]:
    """The sum in a sentence or two."""
    order = ("accepted", "conditional", "undetermined", "rejected", UNREAD)
    words = [*order, *sorted(set(sums.words) - set(order))]
    told = ", ".join(f"{sums.words[word]:,} {word}" for word in words if sums.words[word])
    none = "There is no order in it." if sums.is_whole else "No order was answered."
    lines = [f"{_count(sums.rows, 'order')}: {told}." if told else none]
    if sums.empty:
        lines[0] += f" {_count(sums.empty, 'empty row')} left out."
    if sums.revision is not None:
        lines[0] += f" Book revision {sums.revision}."
    if sums.bundled:
        lines.append(f"Without a service, from the bundle on this machine: {sums.bundled:,} of the verdicts.")
    if sums.words["undetermined"]:
        lines.append("Undetermined orders have a question open: press none of them before it is answered.")
    return lines


def _count(number: int, thing: str) -> str:
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


Cell = str | int


def _answered(name: str) -> Callable[[Result], Cell]:
    """A field of the answer as a cell, empty where there is no answer."""
    return lambda result: "" if result.answer is None else result.answer[name]


_CSV_CELLS: Mapping[str, Callable[[Result], Cell]] = MappingProxyType(
    {
        "file": lambda result: result.file,
        "sheet": lambda result: result.sheet or "",
        "row": lambda result: result.row,
        "reference": lambda result: result.reference or "",
        "verdict": lambda result: result.word,
        "press": _answered("judged_on"),
        "settings": settings_of,
        "reason": reason_of,
        "remedy": remedy_of,
        "revision": _answered("revision"),
        "basis": _answered("basis"),
    }
)
CSV_COLUMNS = tuple(_CSV_CELLS)


class Csv:
    """For spreadsheets: a line a row under CSV_COLUMNS; what could be taken for a formula is quoted."""

    def __init__(self, stream: IO[str], *, headed: bool = True) -> None:
        self._writer = csv.writer(stream)
        if headed:
            self._writer.writerow(CSV_COLUMNS)

    def write(self, result: Result) -> None:
        self._writer.writerow([unformulated(cell_of(result)) for cell_of in _CSV_CELLS.values()])

    def end(self, sums: Sum) -> None:
        """Nothing: a CSV file has no end."""


def unformulated(cell: Cell) -> Cell:
    """The cell as a spreadsheet shows it, whatever it begins with."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


class Ndjson:
    """For programs: a JSON object a line."""

    def __init__(self, stream: IO[str], *, ascii_only: bool) -> None:
        self._stream = stream
        self._ascii = ascii_only

    def write(self, result: Result) -> None:
        self._stream.write(json.dumps(result.document(), ensure_ascii=self._ascii) + "\n")

    def end(self, sums: Sum) -> None:
        """Nothing: each line stands for itself."""


class Json:
    """For programs: one JSON list."""

    def __init__(self, stream: IO[str], *, ascii_only: bool) -> None:
        self._stream = stream
        self._ascii = ascii_only
        self._before = "[\n"

    def write(self, result: Result) -> None:
        self._stream.write(self._before + json.dumps(result.document(), ensure_ascii=self._ascii))
        self._before = ",\n"

    def end(self, sums: Sum) -> None:
        self._stream.write("[]\n" if self._before == "[\n" else "\n]\n")


class Junit:
    """For CI: a testcase a row. Rejected is a failure, undetermined is skipped, what can't be read is an error.

    Skipped, since nothing was found against it: it is not judged yet. The command's exit code tells of it all the same.
    The suite's head has the counts, so that cases are kept in a file beside until the end.
    """

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream
        self._cases = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115 - closed at the end
        self._began = self._before = time.monotonic()
        self._at = datetime.now(UTC)

    def write(self, result: Result) -> None:
        now = time.monotonic()
        took, self._before = now - self._before, now
        where = f"{result.file}#{result.sheet}" if result.sheet else result.file
        name = f"row {result.row}" + (f" {result.reference}" if result.reference else "")
        head = f"  <testcase classname={_attribute(where)} name={_attribute(name)} time={_attribute(f'{took:.3f}')}"
        tag = _TAGS.get(result.word, "" if result.word in WORKABLE else "failure")
        if not tag:
            self._cases.write(f"{head}/>\n")
            return
        reason, remedy = reason_of(result), remedy_of(result)
        attributes = f"message={_attribute(reason)}"
        text = "" if tag == "skipped" else _text(f"{reason}\n{remedy}" if remedy else reason)
        attributes += "" if tag == "skipped" else f" type={_attribute(result.word)}"
        self._cases.write(f"{head}>\n    <{tag} {attributes}>{text}</{tag}>\n  </testcase>\n")

    def end(self, sums: Sum) -> None:
        tags = [_TAGS.get(word, "" if word in WORKABLE else "failure") for word in sums.words.elements()]
        counts = {"tests": sums.rows, "failures": tags.count("failure"), "errors": tags.count("error")}
        attributes = {
            "name": "accord validate",
            **counts,
            "skipped": tags.count("skipped"),
            "time": f"{time.monotonic() - self._began:.3f}",
            "timestamp": self._at.strftime("%Y-%m-%dT%H:%M:%S"),
            "hostname": "localhost",
        }
        written = " ".join(f"{name}={_attribute(str(value))}" for name, value in attributes.items())
        self._stream.write(f'<?xml version="1.0" encoding="UTF-8"?>\n<testsuite {written}>\n  <properties/>\n')
        self._cases.seek(0)
        shutil.copyfileobj(self._cases, self._stream)
        self._cases.close()
        self._stream.write("  <system-out/>\n  <system-err/>\n</testsuite>\n")


_TAGS: Mapping[str, str] = MappingProxyType({"rejected": "failure", "undetermined": "skipped", UNREAD: "error"})


def _attribute(text: str) -> str:
    return quoteattr(_NO_XML.sub(" ", text))


def _text(text: str) -> str:
    return escape(_NO_XML.sub(" ", text))


# -- by name ---------------------------------------------------------------------------------------------------------

TABLE = "table"
APPENDED = (TABLE, "csv", "ndjson")
FORMATS = (TABLE, "csv", "json", "ndjson", "junit")


def writer_of(format_: str, stream: IO[str], output: Output, *, every: bool, headed: bool) -> Writer:
    """The writer of a format's name. ``headed``: whether a CSV begins with its columns."""
    match format_:
        case "csv":
            return Csv(stream, headed=headed)
        case "json":
            return Json(stream, ascii_only=not output.is_utf)
        case "ndjson":
            return Ndjson(stream, ascii_only=not output.is_utf)
        case "junit":
            return Junit(stream)
        case _:
            return Lines(output, every=every)
