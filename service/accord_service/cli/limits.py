"""``accord limits`` and ``accord limit``: the thresholds that rules compare with."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

import click

from accord_rules.documents import units
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.columns import say_table
from accord_service.cli.helping import examples
from accord_service.cli.output import Output
from accord_service.cli.show import say_heading, say_list, say_sources
from accord_service.cli.told import Document, LimitPage, Unknown, no_such, speaking_of
from accord_service.steps.readable import amount

_LABEL_COLUMN = 14


@click.command(
    epilog=examples("accord limits polyester", "accord limits --room heat", "accord limit heat.nylon_sticks_from")
)
@click.argument("word", metavar="[WORD]", required=False)
@click.option("--room", help="Those whose names begin so, such as heat for heat.nylon_sticks_from.")
@click.option("--json", "as_json", is_flag=True, help="Print id and entry of each as a JSON list.")
@answered
def limits(word: str | None, room: str | None, as_json: bool, **who: Any) -> None:
    """List the limits that rules compare with, those about WORD, or those of a room of them."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        found = accord.limits()
    found = _chosen(found, word, room)
    if as_json:
        told = [{"id": name, "entry": limit} for name, limit in found.items()]
        click.echo(json.dumps(told, ensure_ascii=not output.is_utf, indent=2))
        return
    rows = ((name, amount(limit), _stricter(limit), limit["title"]) for name, limit in found.items())
    say_table(output, ("limit", "value", "stricter", "what it says"), rows)
    output.blank()
    if any(limit["safety"] for limit in found.values()):
        output.say("* keeps people safe: loosening it takes two stewards.")
    output.say(f"{len(found)} {'limit' if len(found) == 1 else 'limits'}; accord limit NAME tells one whole.")


@click.command(epilog="Example: accord limit dye.polyester_share_least")
@click.argument("name", metavar="NAME")
@click.option("--json", "as_json", is_flag=True, help="Print it as a JSON object.")
@answered
def limit(name: str, as_json: bool, **who: Any) -> None:
    """Tell one limit whole: its value in both unit systems, which way is stricter, its sources, and who reads it."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        try:
            page = accord.limit(name)
        except Unknown as error:
            raise no_such(str(error), name, accord.limits(), "accord limits") from None
    if as_json:
        click.echo(json.dumps(asdict(page), ensure_ascii=not output.is_utf, indent=2))
    else:
        _show(output, page)


def _chosen(every: Mapping[str, Document], word: str | None, room: str | None) -> dict[str, Document]:
    """The limits of a room, and of these the ones in whose name or title the word stands. Raises Failure."""
    rooms = {name.partition(".")[0] for name in every}
    if room is not None and room not in rooms:
        raise no_such(f"No limit's name begins with {room!r}.", room, rooms, "accord limits")
    of_room = {name: limit for name, limit in every.items() if room in (None, name.partition(".")[0])}
    titles = {name: limit["title"] for name, limit in of_room.items()}
    names = speaking_of(word, "limit", titles, every, "accord limits")
    return {name: limit for name, limit in of_room.items() if name in names}


def _stricter(limit: Document) -> str:
    """Which way a shop may move it; a star for those that keep people safe."""
    return f"{limit['stricter']}{'*' if limit['safety'] else ''}"


def _both_ways(
    limit: Document, key: str, measured: Callable[[units.Dimension], units.Dimension] = lambda dimension: dimension
) -> str:
    """A value in both unit systems where they differ; ``measured``: what it is of, given the limit's own dimension."""
    value, dimension = limit[key], units.DIMENSIONS[limit["dimension"]]
    if not isinstance(value, str):
        return amount(limit, key)
    inside = units.parse(dimension, value)
    shown = [units.show(measured(dimension), inside, system) for system in (units.METRIC, units.US_CUSTOMARY)]
    return f"{shown[0]}, or {shown[1]}" if shown[0] != shown[1] else shown[0]


def _show(output: Output, page: LimitPage) -> None:
    limit = page.limit
    output.say(limit["title"], lead=f"{page.id}  ", lead_style={"bold": True}, indent=4)
    output.say(f"Book revision {page.revision}.")
    output.blank()
    rows = [
        ("Value", _both_ways(limit, "value")),
        ("Step", f"{_both_ways(limit, 'step', units.of_steps)}: the smallest change that matters"),
        ("Stricter is", f"{limit['stricter']}; a shop may move it no other way"),
        ("Safety", "It keeps people safe: loosening it takes two stewards." if limit["safety"] else "No."),
        ("Trusted as", f"{page.kind.replace('-', ' ')}; of several sources the weakest counts"),
    ]
    for label, text in [*rows, *([("Note", limit["note"])] if limit.get("note") else [])]:
        output.say(text, lead=f"  {label}", indent=2 + _LABEL_COLUMN)
    say_list(output, "Rules that read it", page.rules)
    say_list(output, "Steps that read it", page.steps)
    if not page.rules and not page.steps:
        say_heading(output, "Read by")
        output.say("no rule and no step: facts or the choice of settings are worked out with it.", indent=4)
    say_sources(output, page.sources)
