"""How the command's help is set: what click would cut or break is there whole."""

from __future__ import annotations

import click

_WHOLE = 10_000


class Grouped(click.Group):
    """Commands under one word, listed with their whole first sentence, which click cuts to a line."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, command.get_short_help_str(_WHOLE)) for name, command in sorted(self.commands.items())]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def examples(*lines: str) -> str:
    """The end of a help page: what to type, a line each, broken nowhere, so that it can be copied."""
    return "\b\nExample: " + "\n         ".join(lines)
