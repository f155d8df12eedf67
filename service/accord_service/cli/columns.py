"""Tables with headings, as wide as the terminal: cells that are too long for it are wrapped in their column."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from itertools import zip_longest

from accord_service.cli.output import Output

_GAP = 2
_NARROWEST = 8
_INDENT = 2


def say_table(output: Output, headings: Sequence[str], rows: Iterable[Sequence[str]], *, none: str = "") -> None:
    """The rows under their headings; where there are none, ``none`` as a sentence in their place."""
    cells = [[output.fit(cell) for cell in row] for row in rows]
    if not cells:
        output.say(none, lead=" " * _INDENT)
        return
    heads = [heading.upper() for heading in headings]
    widths = _widths([heads, *cells], output.width - _INDENT)
    output.draw(_line(heads, widths), {"bold": True})
    for row in cells:
        parts = [_wrapped(cell, width) for cell, width in zip(row, widths, strict=True)]
        for line in zip_longest(*parts, fillvalue=""):
            output.draw(_line(line, widths))


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    padded = (f"{cell:<{width}}" for cell, width in zip(cells, widths, strict=True))
    return (" " * _INDENT + (" " * _GAP).join(padded)).rstrip()


def _wrapped(cell: str, width: int) -> list[str]:
    """The lines of a cell. A name that is too long by itself is broken: cut off it would name something else."""
    return [
        line
        for paragraph in cell.splitlines() or [""]
        for line in textwrap.wrap(paragraph, width, break_on_hyphens=False) or [""]
    ]


def _widths(rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """As wide as the longest cell where all fits; else the widest column gives way first, and names, which a reader may
    want to copy, are broken only where not even the longest word of each column fits."""
    columns = [*zip(*rows, strict=True)]
    widths = [max(len(line) for cell in column for line in (cell.splitlines() or [""])) for column in columns]
    words = [max((len(word) for cell in column for word in cell.split()), default=1) for column in columns]
    over = sum(widths) + _GAP * (len(widths) - 1) - room
    for least in (words, [min(word, _NARROWEST) for word in words]):
        while over > 0 and (loose := [place for place, width in enumerate(widths) if width > least[place]]):
            widths[max(loose, key=widths.__getitem__)] -= 1
            over -= 1
    return [max(width, 1) for width in widths]
