"""``accord sources``: how well the book's numbers are sourced."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import click

from accord_service.cli.answerers import answered, answerer
from accord_service.cli.output import Output
from accord_service.cli.show import show_sourcing


@click.command(epilog="Example: accord sources --shipped")
@click.option("--json", "as_json", is_flag=True, help="Print the counts and the safety limits as JSON.")
@answered
def sources(as_json: bool, **who: Any) -> None:
    """Count the numbers of each room of the book by kind of source, and list the safety limits, worst-sourced first.

    Kinds, best first: a text that was seen (published), one that only another page repeats (secondary), worked out
    (computed), from memory, common practice, this book's own choice. A number is as good as its weakest source.
    """
    output = Output.of_terminal()
    with answerer(**who) as accord:
        sourcing = accord.sourcing()
    if as_json:
        told = {
            "kinds": [*sourcing.kinds],
            "rooms": {name: dict(counts) for name, counts in sourcing.rooms.items()},
            "safety_limits": [asdict(limit) for limit in sourcing.safety_limits],
        }
        click.echo(json.dumps(told, ensure_ascii=not output.is_utf, indent=2))
    else:
        show_sourcing(output, sourcing)
