"""``accord outcome``: how the pieces of a recorded order came out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from accord_rules.orders.shop import FAILURES
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.helping import Grouped


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
    click.echo(_line(reported))
    if reported["drafted_proposal_id"] is not None:
        click.echo(f"It drafted a proposal for the stewards: {reported['drafted_proposal_id']}", err=True)


@outcome.command("list", epilog="Example: accord outcome list RECORD")
@click.argument("record")
@administered
def list_(put: ServiceCall, record: str) -> None:
    """List the reports on RECORD: id, decoration, result, washes, when and by whom reported, when withdrawn."""
    for reported in put(lambda client: list(client.governance.outcomes(record))):
        click.echo(_line(reported))


@outcome.command(epilog="Example: accord outcome withdraw RECORD o1")
@click.argument("record")
@click.argument("id")
@administered
def withdraw(put: ServiceCall, record: str, id: str) -> None:
    """Withdraw the report ID on RECORD that you made; it stays to be read, and counts no more."""
    click.echo(_line(put(lambda client: client.governance.withdraw_outcome(record, id))))


def _line(reported: Mapping[str, Any]) -> str:
    """One report, its fields with tabs between them."""
    person = reported["reported_by"]
    fields = (
        reported["outcome_id"],
        reported["decoration"],
        reported["failure"] or reported["result"],
        reported["washes"],
        reported["reported_at"],
        person and person["holder"],
        reported["withdrawn_at"],
    )
    return "\t".join("-" if field is None else str(field) for field in fields)
