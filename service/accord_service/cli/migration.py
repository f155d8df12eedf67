"""``accord migration``: how hot a light print may be pressed on dyed polyester."""

from __future__ import annotations

import json
from typing import Any

import click

from accord_service.cli.answerers import answered, answerer
from accord_service.cli.output import Output
from accord_service.cli.show import show_migration


@click.command(epilog="Example: accord migration")
@click.option("--json", "as_json", is_flag=True, help="Print the cells as the book writes them, as a JSON list.")
@answered
def migration(as_json: bool, **who: Any) -> None:
    """Show how hot a light print may be pressed on dyed polyester, by dye, share of polyester and shade."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        cells = accord.migration()
    if as_json:
        click.echo(json.dumps(cells, ensure_ascii=not output.is_utf, indent=2))
    else:
        show_migration(output, cells)
