"""``accord shop``: what is told of one's own shop; the shops of the collective, for an admin."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.failure import Failure
from accord_service.cli.output import Output
from accord_service.cli.show import show_shop


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
