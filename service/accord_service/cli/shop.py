"""``accord shop``: what is told of one's own shop, readings of its presses, and for an admin all shops."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import click

from accord_rules.orders.order import INSTRUMENTS
from accord_rules.revision.readings import DOUBTS
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.failure import Failure
from accord_service.cli.output import Output
from accord_service.cli.show import reading_line, reading_notes, show_shop


@click.group()
def shop() -> None:
    """One's own shop, and the shops of the collective, which need an admin's key."""


@shop.command("status")
@click.option("--json", "as_json", is_flag=True, help="Print the raw answer.")
@administered
def status(put: ServiceCall, as_json: bool) -> None:
    """Tell what holds of the own shop's presses whatever is pressed on them, and what readings and samples come to."""
    output = Output.of_terminal()
    document = put(lambda client: client.shop_status()).document
    if as_json:
        click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
    else:
        show_shop(output, document)


@shop.command("add")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE.toml")
@click.option("--validate-only", is_flag=True, help="Check everything, write nothing.")
@administered
def add(put: ServiceCall, file: Path, validate_only: bool) -> None:
    """Add the shop that FILE.toml describes."""
    try:
        document = tomllib.loads(file.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Failure(f"{file}: {error}") from None
    added = put(lambda client: client.administration.add_shop(document, validate_only=validate_only))
    click.echo(f"{'Could be added' if validate_only else 'Added'}: {added['id']} ({added['name']}).")


@shop.command("list")
@administered
def list_(put: ServiceCall) -> None:
    """List every shop: id, name, version, when it last changed."""
    for line in put(lambda client: list(client.administration.shops())):
        click.echo(f"{line['id']}\t{line['name']}\t{line['version']}\t{line['changed_at']}")


@shop.group("reading", short_help="Enter, list, confirm and take back probe readings of a press.")
def reading() -> None:
    """Probe readings of the own shop's presses. An operator's waits until the owner confirms it."""


_PRESS = click.argument("press_id", metavar="PRESS")
_READING = click.argument("reading_id", metavar="READING")
_VALIDATE_ONLY = click.option("--validate-only", is_flag=True, help="Check everything, write nothing.")


@reading.command("add")
@_PRESS
@click.argument("display", metavar="DISPLAY")
@click.argument("surface", metavar="SURFACE...", nargs=-1, required=True)
@click.option("--taken-on", required=True, metavar="YYYY-MM-DD", help="The day it was read.")
@click.option("--instrument", type=click.Choice(INSTRUMENTS), help="What it was read with; else a contact probe.")
@click.option(
    "--despite", type=click.Choice(tuple(DOUBTS)), multiple=True, help="A doubt to set aside; may be repeated."
)
@_VALIDATE_ONLY
@administered
def add_reading(
    put: ServiceCall,
    press_id: str,
    display: str,
    surface: tuple[str, ...],
    taken_on: str,
    instrument: str | None,
    despite: tuple[str, ...],
    validate_only: bool,
) -> None:
    """Enter what was read on PRESS at SURFACE, spot by spot, while its display said DISPLAY: "180 °C" "177 °C" ..."""
    said = {"display": display, "surface": list(surface), "taken_on": taken_on, "despite": list(despite)}
    document = said | ({"instrument": instrument} if instrument else {})
    made = put(lambda client: client.administration.enter_reading(press_id, document, validate_only=validate_only))
    becomes = "It counts." if made["counts"] else "It waits, and counts for nothing until the owner confirms it."
    click.echo(f"{'Could be entered' if validate_only else 'Entered'}: {reading_line(made)}. {becomes}")


@reading.command("list")
@_PRESS
@administered
def list_readings(put: ServiceCall, press_id: str) -> None:
    """List the readings of PRESS: those that count, and those that wait."""
    for line in put(lambda client: list(client.administration.readings(press_id))):
        click.echo(f"{'counts' if line['counts'] else 'waits'}\t{reading_line(line)}")
        for note in reading_notes(line):
            click.echo(f"\t{note}")


@reading.command("confirm")
@_PRESS
@_READING
@_VALIDATE_ONLY
@administered
def confirm_reading(put: ServiceCall, press_id: str, reading_id: str, validate_only: bool) -> None:
    """Let READING of PRESS count, which an operator entered (owner)."""
    made = put(lambda client: client.administration.confirm_reading(press_id, reading_id, validate_only=validate_only))
    click.echo(f"{'Could be confirmed' if validate_only else 'Confirmed'}: {reading_line(made)}. It counts.")


@reading.command("withdraw")
@_PRESS
@_READING
@_VALIDATE_ONLY
@administered
def withdraw_reading(put: ServiceCall, press_id: str, reading_id: str, validate_only: bool) -> None:
    """Take READING of PRESS back: the owner any, an operator one's own that waits."""
    gone = put(lambda client: client.administration.withdraw_reading(press_id, reading_id, validate_only=validate_only))
    click.echo(f"{'Could be taken back' if validate_only else 'Taken back'}: {reading_line(gone)}.")
