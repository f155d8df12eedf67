"""A look at how a table is read, before anybody is asked: its columns, what is left out, and the first order."""

from __future__ import annotations

import json

from accord_rules.documents.counted import counted
from accord_service.cli.output import Output
from accord_service.cli.tables.sources import Table, unread_lines
from accord_service.tables.cells import text_of
from accord_service.tables.columns import Columns, missing
from accord_service.tables.rows import Row, asked

_HEADS = ("", "header", "field", "unit", "first value")
_MOST = (3, 18, 29, 4)


def show_columns(output: Output, table: Table) -> bool:
    """Prints the look. Whether the first order could be read, and no column is missing."""
    row = next(table.filled(), None)
    output.say(f"{table.where}: read {counted(len(table.columns.read), 'column')}.")
    output.blank()
    _draw(output, table.columns, row)
    for line in unread_lines(table.columns):
        output.blank()
        output.say(line)
    lacking = missing(table.columns)
    for sentence in lacking:
        output.blank()
        output.say(sentence)
    output.blank()
    is_read = _first_order(output, table.columns, row)
    return is_read and not lacking


def _draw(output: Output, columns: Columns, row: Row | None) -> None:
    lines = [_HEADS]
    for column in columns.read:
        paths = column.header.paths
        value = text_of(row.cells[column.index]) if row is not None and column.index < len(row.cells) else ""
        for place, path in enumerate(paths):
            first = (column.letter, column.title) if place == 0 else ("", "")
            unit = column.unit.symbol if column.unit else ""
            lines.append((*first, path, unit, value if place == 0 else ""))
    widths = [max(len(line[place]) for line in lines) for place in range(len(_HEADS))]
    widths = [min(width, most) if most else width for width, most in zip(widths, (*_MOST, 0), strict=True)]
    widths[2] = max(len(line[2]) for line in lines)
    widths[4] = max(10, output.width - sum(widths[:4]) - 2 * 4 - 1)
    for line in lines:
        cells = (_cut(text, width).ljust(width) for text, width in zip(line, widths, strict=True))
        output.draw("  ".join(cells).rstrip())


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def _first_order(output: Output, columns: Columns, row: Row | None) -> bool:
    if row is None:
        output.say("There is no row below the headers.")
        return False
    of = asked(row, columns)
    if of.order is None:
        output.say(f"The first order, row {row.number}, can't be read:")
        for problem in of.problems:
            output.say(problem.sentence, lead="  ")
        return False
    output.say(f"The first order, row {row.number}, as it would be asked (nobody was):")
    for line in json.dumps(of.order, ensure_ascii=not output.is_utf, indent=2).splitlines():
        output.draw(line)
    return True
