"""``accord outcome``: how the pieces of a recorded order came out."""

from __future__ import annotations

from collections.abc import Sequence

import click

from accord_rules.orders.shop import FAILURES
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.helping import Grouped
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, print_json
from accord_service.cli.told import Document


@click.group(cls=Grouped)
def outcome() -> None:
    """How the pieces of a recorded order came out. Any key of the shop that recorded it will do."""


@outcome.command(epilog="Example: accord outcome report RECORD --failed peeled --washes 6")
@click.argument("record")
@click.option("--failed", type=click.Choice(FAILURES), help="What failed; left out, the piece came out good.")
@click.option("--washes", type=click.IntRange(0, 1000), help="After how many washes.")
@click.option("--decoration", type=click.IntRange(0, 11), help="Which decoration, from 0, where the order has several.")
@click.option("--note", help="Your own words; name no customer.")
@administered
def report(
    put: ServiceCall, record: str, failed: str | None, washes: int | None, decoration: int | None, note: str | None
) -> None:
    """Report one pressed piece of RECORD's order."""
    result = "good" if failed is None else "failed"
    said = {"result": result, "failure": failed, "washes": washes, "decoration": decoration, "note": note}
    body = {name: value for name, value in said.items() if value is not None}
    reported = put(lambda client: client.governance.report_outcome(record, body))
    _say([reported])
    if reported["drafted_proposal_id"] is not None:
        click.echo(f"It drafted a proposal for the stewards: {reported['drafted_proposal_id']}", err=True)


@outcome.command("list", epilog="Example: accord outcome list RECORD")
@click.argument("record")
@JSON
@administered
def list_(put: ServiceCall, record: str, as_json: bool) -> None:
    """List the reports on RECORD: of which decoration, what came of it, when and by whom it was told."""
    reports = put(lambda client: list(client.governance.outcomes(record)))
    if as_json:
        print_json(Output.of_terminal(), reports)
    else:
        _say(reports)


@outcome.command(epilog="Example: accord outcome withdraw RECORD o1")
@click.argument("record")
@click.argument("id")
@administered
def withdraw(put: ServiceCall, record: str, id: str) -> None:
    """Withdraw the report ID on RECORD that you made; it stays to be read, and counts no more."""
    _say([put(lambda client: client.governance.withdraw_outcome(record, id))])


_COLUMNS = ("report", "decoration", "result", "washes", "reported", "by", "withdrawn")


def _say(reports: Sequence[Document]) -> None:
    say_table(Output.of_terminal(), _COLUMNS, map(_row, reports), none="Nobody has reported a piece of it yet.")


def _row(report: Document) -> tuple[str, ...]:
    """A report's cells; the days of its times."""
    person, withdrawn = report["reported_by"], report["withdrawn_at"]
    cells = (
        report["outcome_id"],
        report["decoration"],
        report["failure"] or report["result"],
        report["washes"],
        report["reported_at"][:10],
        person and person["holder"],
        withdrawn and withdrawn[:10],
    )
    return tuple("-" if cell is None else str(cell) for cell in cells)
