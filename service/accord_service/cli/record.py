"""``accord record``: orders kept with their answers."""

from __future__ import annotations

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.codes import UNASKED, code_of
from accord_service.cli.columns import say_table
from accord_service.cli.helping import Grouped
from accord_service.cli.orders import Refused, read_order
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, VALIDATE_ONLY, print_json
from accord_service.cli.show import show_refusal, show_verdict
from accord_service.cli.told import Document

# No more: a record's id is copied, and is broken where it does not fit.
_COLUMNS = ("record", "reference", "verdict", "kept")
_WHY = click.option("--why", is_flag=True, help="All that was assumed, and all presses that won't do.")


@click.group(cls=Grouped)
def record() -> None:
    """Orders kept with the answer that they got, for your shop alone."""


@record.command("add", epilog="Example: accord record add demo/orders/009-team-tees-dye.json --job KC-1009")
@click.argument("file", metavar="ORDER.json")
@click.option(
    "--job", metavar="WORD", help="One for each job: with the same one, the record of the last 24 hours is given again."
)
@_WHY
@VALIDATE_ONLY
@JSON
@administered
@click.pass_context
def add(
    context: click.Context,
    /,
    put: ServiceCall,
    file: str,
    job: str | None,
    why: bool,
    validate_only: bool,
    as_json: bool,
) -> None:
    """Have ORDER.json judged, and keep it with its answer ("-" reads standard input).

    Each makes a record of its own, for equal orders too, and for rejected ones. Exits as `accord validate` does.
    """
    output = Output.of_terminal()
    try:
        order = read_order(file).document
    except Refused as refused:
        show_refusal(output, file, refused)
        context.exit(UNASKED)
    kept = put(lambda client: client.governance.record(order, idempotency_key=job, validate_only=validate_only))
    if as_json:
        print_json(output, kept)
    else:
        show_verdict(output, file, kept["answer"], len(order["decorations"]), why=why)
        output.blank()
        output.say(_told(kept))
    context.exit(code_of(kept["verdict"]))


def _told(kept: Document) -> str:
    if kept["record_id"] is None:
        return "Nothing was written."
    return (
        f"Kept until {kept['expires_at'][:10]} as {kept['record_id']}. How a piece of it came out:"
        f" accord outcome report {kept['record_id']}"
    )


@record.command("list", epilog="Example: accord record list KC-1009")
@click.argument("reference", required=False)
@JSON
@administered
def list_(put: ServiceCall, reference: str | None, as_json: bool) -> None:
    """List what was kept, the newest first: all of the shop's, or what has one REFERENCE."""
    output = Output.of_terminal()
    lines = put(lambda client: list(client.governance.records(reference)))
    if as_json:
        print_json(output, lines)
        return
    none = "No order is kept." if reference is None else f"No order of the reference {reference} is kept."
    say_table(output, _COLUMNS, map(_row, lines), none=none)


def _row(line: Document) -> tuple[str, ...]:
    return line["record_id"], line["reference"] or "-", line["verdict"], line["recorded_at"][:10]


@record.command("show", epilog="Example: accord record show RECORD")
@click.argument("id", metavar="RECORD")
@_WHY
@JSON
@administered
@click.pass_context
def show(context: click.Context, /, put: ServiceCall, id: str, why: bool, as_json: bool) -> None:
    """Show the answer of RECORD as it was given. Exits as `accord validate` does."""
    output = Output.of_terminal()
    kept = put(lambda client: client.governance.read_record(id))
    if as_json:
        print_json(output, kept)
    else:
        show_verdict(output, kept["record_id"], kept["answer"], len(kept["order"]["decorations"]), why=why)
        output.blank()
        output.say(_told(kept))
    context.exit(code_of(kept["verdict"]))
