"""A row as an order: what its cells say, put in place, or what is wrong with which of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.printable import plain_text
from accord_rules.documents.reading import ALLOWED_MOST, Fault
from accord_service.tables.cells import CellError, FormulaWithoutValue, Merged, Value, text_of, values_of
from accord_service.tables.columns import Column, Columns
from accord_service.tables.fields import PRINTS

# So many words that would be allowed are told in a line; programs get more.
_TOLD_MOST = 4
Document = Mapping[str, Any]
# How messages begin that go on from the name of the column.
_SAID_OF_IT = ("is ", "has ", "lies ", "shows ", "must ")


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table; ``number`` as the spreadsheet shows it. ``fault``: why it is no row of this table; ``lines``:
    of text that it took, more than one where a quoted cell goes on below."""

    number: int
    cells: Sequence[Value]
    fault: str | None = None
    lines: int = 1

    @property
    def is_empty(self) -> bool:
        """Whether nothing is written in it; what lies under a merged cell is not."""
        return self.fault is None and all(isinstance(cell, Merged) or not text_of(cell) for cell in self.cells)


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a row: in which column, if it is one, and where in the order."""

    message: str
    column: str | None = None
    pointer: str | None = None
    allowed: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """With the column, and one full stop."""
        where = self.column or self.pointer
        between = " " if self.message.startswith(_SAID_OF_IT) else ": "
        text = f"{where}{between}{self.message}" if where else self.message
        return text if text.endswith(("?", ".")) else f"{text}."

    def document(self) -> dict[str, Any]:
        """In the shape of a fault of a problem document, with the column."""
        return {
            "in": "body",
            "pointer": self.pointer,
            "column": self.column,
            "message": self.sentence,
            "allowed": list(self.allowed),
        }


@dataclass(frozen=True, slots=True)
class Asked:
    """What a row, a line or an element of a list asks: an order, or problems in its place."""

    row: int
    order: Document | None
    problems: tuple[Problem, ...] = ()
    reference: str | None = None
    columns: Columns | None = None


def asked(row: Row, columns: Columns) -> Asked:
    """The order of a row."""
    values, problems = _read(row, columns)
    reference = values.get("reference")
    if problems:
        return Asked(row.number, None, tuple(problems), reference, columns)
    order = order_of(values)
    if (gap := _gap_in(order[PRINTS])) is not None:
        problem = Problem(f"print {gap + 2} is filled in and print {gap + 1} is empty: prints are numbered from 1")
        return Asked(row.number, None, (problem,), reference, columns)
    return Asked(row.number, order, (), reference, columns)


def _read(row: Row, columns: Columns) -> tuple[dict[str, Any], list[Problem]]:
    if row.fault is not None:
        return {}, [Problem(row.fault)]
    values: dict[str, Any] = {}
    problems: list[Problem] = []
    for column in columns.read:
        try:
            values |= values_of(column, row.cells[column.index] if column.index < len(row.cells) else None)
        except CellError as error:
            problems.append(Problem(str(error), column.shown, _pointer(column)))
    return values, problems


def _pointer(column: Column) -> str:
    return "/" + column.header.paths[0].replace(".", "/")


def order_of(values: Mapping[str, Any]) -> dict[str, Any]:
    """The document of values by dotted path. Piece and prints are there, if empty: nothing is left out silently."""
    order: dict[str, Any] = {"item": {}, PRINTS: [{}]}
    for path, value in values.items():
        first, *steps = path.split(".")
        holder: Any = order
        if first == PRINTS:
            prints = order[PRINTS]
            prints += [{} for _ in range(int(steps[0]) + 1 - len(prints))]
            holder = prints[int(steps[0])]
            steps = steps[1:]
        else:
            steps = [first, *steps]
        for step in steps[:-1]:
            holder = holder.setdefault(step, {})
        holder[steps[-1]] = value
    return order


def _gap_in(prints: Sequence[Document]) -> int | None:
    """The first print that is empty though a later one is not."""
    return next((at for at, of in enumerate(prints[:-1]) if not of), None)


def problem_of(fault: Fault, columns: Columns | None) -> Problem:
    """What is found wrong with an order, put to the column that said it."""
    column = columns.at(fault.pointer) if columns is not None else None
    allowed = fault.nearest[:ALLOWED_MOST]
    message = fault.message.rstrip(". ")
    if allowed and not all(word in fault.message for word in allowed):
        is_all = len(allowed) <= _TOLD_MOST
        message += f" ({'allowed' if is_all else 'the nearest'}: {', '.join(allowed[:_TOLD_MOST])})"
    return Problem(message, column.shown if column else None, fault.pointer, allowed)


def titles_of(cells: Iterable[Value]) -> list[str]:
    """The headers of a row, without empty ones at its end."""
    titles = [
        "" if isinstance(cell, (Merged, FormulaWithoutValue)) else plain_text(text_of(cell)).strip() for cell in cells
    ]
    while titles and not titles[-1]:
        titles.pop()
    return titles
