"""``accord shop``: what is told of one's own shop, readings of its presses, and for an admin all shops."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import click
import tomlkit

from accord_rules.documents.counted import counted
from accord_rules.orders.order import INSTRUMENTS
from accord_rules.revision.readings import DOUBTS
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped, examples
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, VALIDATE_ONLY, print_json, show_altered
from accord_service.cli.show import reading_line, reading_notes, show_shop
from accord_service.cli.told import Document

_ETAG_LINE = "# The version that this was written from: "


@click.group(cls=Grouped)
def shop() -> None:
    """Your own shop, and the shops of the collective, which need an admin's key."""


@shop.command("status", epilog="Example: accord shop status")
@click.option("--json", "as_json", is_flag=True, help="Print the raw answer.")
@administered
def status(put: ServiceCall, as_json: bool) -> None:
    """Tell what holds of your shop's presses whatever is pressed on them, and what readings and samples come to."""
    output = Output.of_terminal()
    document = put(lambda client: client.shop_status()).document
    if as_json:
        click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
    else:
        show_shop(output, document)


@shop.command("show", epilog="Example: accord shop show, or accord shop show --toml > my-shop.toml")
@click.option("--toml", "as_toml", is_flag=True, help="Print the whole document, to be edited and sent by shop edit.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole document as JSON.")
@administered
def show(put: ServiceCall, as_toml: bool, as_json: bool) -> None:
    """Show your shop: its presses, what stands ready, how much it keeps, its own names and samples."""
    output = Output.of_terminal()
    read = put(lambda client: client.shop())
    document = read.document
    if as_toml:
        click.echo(f"{_ETAG_LINE}{read.etag}\n{tomlkit.dumps(dict(document))}", nl=False)
        return
    if as_json:
        print_json(output, document)
        return
    output.say(document["name"], lead=f"{document['id']}  ", lead_style={"bold": True})
    output.say(f"Market {document['market']}, units {document['unit_system']}.", lead="  ")
    output.say(f"Always so at its presses: {', '.join(document['standing']) or 'nothing said'}.", lead="  ")
    output.blank()
    rows = (
        (press["id"], press["type"], _size(press.get("platen")), str(len(press.get("calibration", ()))))
        for press in document["presses"]
    )
    say_table(output, ("press", "type", "platen", "probe readings"), rows)
    output.blank()
    stock = document["stock"]
    kept = f"{counted(len(stock['products']), 'product')}, {counted(len(stock['consumables']), 'consumable')}"
    output.say(f"It keeps {kept}, {len(stock.get('withdrawn', ()))} out of use (accord stock list).", lead="  ")
    own = sum(map(len, document.get("names", {}).values()))
    output.say(f"It has {own} names of its own (accord names list).", lead="  ")
    output.say(
        f"It has {counted(len(document.get('samples', ())), 'sample')} on record (accord shop status).", lead="  "
    )


@shop.command(
    "edit",
    epilog=examples("accord shop show --toml > my-shop.toml", "edit my-shop.toml", "accord shop edit my-shop.toml"),
)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE.toml")
@VALIDATE_ONLY
@JSON
@administered
def edit(put: ServiceCall, file: Path, validate_only: bool, as_json: bool) -> None:
    """Replace your shop by what FILE.toml says, and show what that changes (owner).

    A file that `accord shop show --toml` wrote says which version it is of: where somebody else changed the shop since,
    nothing is written.
    """
    document, etag = _shop_file(file)
    now = put(lambda client: client.shop())
    if etag and etag != now.etag:
        raise Failure(
            f"Somebody changed the shop since {file} was written, and that would be lost. Write a new one:"
            " accord shop show --toml."
        )
    after = put(
        lambda client: client.administration.replace_own_shop(document, etag or now.etag, validate_only=validate_only)
    )
    show_altered(now.document, after.document, validate_only=validate_only, as_json=as_json)


def _shop_file(file: Path) -> tuple[dict[str, Any], str]:
    """A shop's document, and the ETag of the version that it was written from; empty where it does not say it."""
    try:
        text = file.read_text(encoding="utf-8")
        document = tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Failure(f"{file}: {error}") from None
    first = text.partition("\n")[0]
    return document, first.removeprefix(_ETAG_LINE).strip() if first.startswith(_ETAG_LINE) else ""


def _size(platen: Document | None) -> str:
    if not platen:
        return "its type's"
    return " x ".join(platen[side] for side in ("width", "height") if side in platen) or ", ".join(
        map(str, platen.values())
    )


@shop.command("add", epilog="Example: accord shop add demo/shops/mill-steps.toml")
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


@shop.command("list", epilog="Example: accord shop list")
@JSON
@administered
def list_(put: ServiceCall, as_json: bool) -> None:
    """List every shop: its version, and the day when it last changed."""
    output = Output.of_terminal()
    lines = put(lambda client: list(client.administration.shops()))
    if as_json:
        print_json(output, lines)
        return
    rows = ((line["id"], line["name"], str(line["version"]), line["changed_at"][:10]) for line in lines)
    say_table(output, ("shop", "name", "version", "changed"), rows, none="There is no shop yet.")


@shop.group("reading", cls=Grouped, short_help="Enter, list, confirm and take back probe readings of a press.")
def reading() -> None:
    """Probe readings of your shop's presses. An operator's waits until the owner confirms it."""


_PRESS = click.argument("press_id", metavar="PRESS")
_READING = click.argument("reading_id", metavar="READING")
_VALIDATE_ONLY = click.option("--validate-only", is_flag=True, help="Check everything, write nothing.")


@reading.command(
    "add", epilog=examples("accord shop reading add bench '180 °C' '177 °C' '176 °C' --taken-on 2026-03-02")
)
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


@reading.command("list", epilog="Example: accord shop reading list bench")
@_PRESS
@JSON
@administered
def list_readings(put: ServiceCall, press_id: str, as_json: bool) -> None:
    """List the readings of PRESS: those that count and those that wait for the owner, with what is unlikely of each."""
    output = Output.of_terminal()
    readings = put(lambda client: list(client.administration.readings(press_id)))
    if as_json:
        print_json(output, readings)
        return
    say_table(output, _READINGS, map(_reading_row, readings), none=f"No reading of {press_id} is kept.")


_READINGS = ("reading", "state", "display", "surface", "taken", "by", "note")


def _reading_row(reading: Document) -> tuple[str, ...]:
    by, owner = ((reading[name] or {}).get("holder") for name in ("entered_by", "confirmed_by"))
    return (
        reading["reading_id"],
        "counts" if reading["counts"] else "waits",
        reading["display"],
        ", ".join(reading["surface"]),
        reading["taken_on"] or "-",
        f"{by or '-'}{f', confirmed by {owner}' if owner else ''}",
        "\n".join(reading_notes(reading)),
    )


@reading.command("confirm", epilog="Example: accord shop reading confirm bench READING")
@_PRESS
@_READING
@_VALIDATE_ONLY
@administered
def confirm_reading(put: ServiceCall, press_id: str, reading_id: str, validate_only: bool) -> None:
    """Let READING of PRESS count, which an operator entered (owner)."""
    made = put(lambda client: client.administration.confirm_reading(press_id, reading_id, validate_only=validate_only))
    click.echo(f"{'Could be confirmed' if validate_only else 'Confirmed'}: {reading_line(made)}. It counts.")


@reading.command("withdraw", epilog="Example: accord shop reading withdraw bench READING")
@_PRESS
@_READING
@_VALIDATE_ONLY
@administered
def withdraw_reading(put: ServiceCall, press_id: str, reading_id: str, validate_only: bool) -> None:
    """Take READING of PRESS back: the owner any, an operator their own that waits."""
    gone = put(lambda client: client.administration.withdraw_reading(press_id, reading_id, validate_only=validate_only))
    click.echo(f"{'Could be taken back' if validate_only else 'Taken back'}: {reading_line(gone)}.")
