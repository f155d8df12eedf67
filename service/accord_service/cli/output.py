"""Text as it is put on a terminal: wrapped to its width, in the characters it has, coloured only where that helps."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import click

from accord_rules.documents import units
from accord_rules.documents.printable import plain_text

LEAST_WIDTH, MOST_WIDTH = 40, 100
# Spellings that an order document takes as well, where there is one.
ASCII: Mapping[str, str] = MappingProxyType(
    {
        "°": "deg",
        "²": "2",
        "³": "3",
        "µ": "u",
        "μ": "u",
        "±": "+-",
        "×": "x",
        "·": "*",
        "≤": "<=",
        "≥": ">=",
        "Δ": "delta ",
        "…": "...",
        "–": "-",
        "—": "-",
        "→": "->",
        "‘": "'",
        "’": "'",
        "“": '"',
        "”": '"',
        **dict.fromkeys("┌┐└┘├┤", "+"),
        "│": "|",
        "─": "-",
        "█": "#",
        "▲": "^",
        "▼": "v",
    }
)
_PRINTED = {u.symbol for d in units.DIMENSIONS.values() for u in d.units if u.symbol} | {"kWh"}
_SYMBOLS = sorted(_PRINTED | {symbol.replace("°", ASCII["°"]) for symbol in _PRINTED}, key=len, reverse=True)
# "375 °F" must not be torn apart at the end of a line: the two halves are read as one number by tired eyes.
_QUANTITY = re.compile(rf"(\d) ((?:{'|'.join(map(re.escape, _SYMBOLS))})(?![\w/]))")
# Nor "[rule some-id]".
_RULE = re.compile(r"\[rule (?=\S+\])")
_PLAIN: Mapping[str, Any] = MappingProxyType({})
_HARD_SPACE = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class Output:
    """Where text goes: columns, and the encoding that must be able to hold it."""

    width: int
    encoding: str

    @classmethod
    def of_terminal(cls) -> Output:
        """The output of this process's standard output. Long lines tire, so it is never wider than MOST_WIDTH."""
        width = shutil.get_terminal_size().columns
        return cls(max(LEAST_WIDTH, min(width, MOST_WIDTH)), sys.stdout.encoding or "ascii")

    @property
    def is_utf(self) -> bool:
        return self.encoding.lower().replace("-", "").startswith("utf")

    def fit(self, text: str) -> str:
        """The text without control characters, in characters that the encoding has."""
        text = plain_text(text)
        try:
            text.encode(self.encoding)
        except UnicodeEncodeError:
            plain = "".join(ASCII.get(character, character) for character in text)
            return plain.encode(self.encoding, "replace").decode(self.encoding)
        return text

    def say(
        self, text: str, *, lead: str = "", indent: int | None = None, lead_style: Mapping[str, Any] = _PLAIN
    ) -> None:
        """One paragraph: ``lead`` before its first line, and the further lines indented below the text.

        ``indent`` is where the text begins; right after the lead if left out.
        """
        lead = self.fit(lead)
        start = len(lead) if indent is None else max(indent, len(lead))
        tied = _RULE.sub(f"[rule{_HARD_SPACE}", _QUANTITY.sub(rf"\1{_HARD_SPACE}\2", self.fit(text)))
        lines = textwrap.wrap(tied, max(20, self.width - start), break_on_hyphens=False, break_long_words=False) or [""]
        for number, line in enumerate(lines):
            styled = click.style(lead, **lead_style) if lead_style else lead
            first = styled + " " * (start - len(lead)) if number == 0 else " " * start
            click.echo((first + line.replace(_HARD_SPACE, " ")).rstrip())

    def draw(self, line: str, style: Mapping[str, Any] = _PLAIN) -> None:
        """One line as it stands, for what wrapping would tear apart; whoever draws minds the width."""
        click.echo(click.style(self.fit(line), **style))

    def blank(self) -> None:
        click.echo()


def colour_wanted() -> bool | None:
    """False where the reader does not want colour (NO_COLOR, a dumb terminal); None leaves it to whether it is one."""
    return False if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" else None


def few(names: list[str], most: int, between: str = ", ") -> str:
    """The first names, and how many there are besides."""
    shown = between.join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
