"""``accord revisions``, ``accord revision`` and ``accord revert``: the book's states, and the way back to one."""

from __future__ import annotations

import json

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.difference import say_changes
from accord_service.cli.output import Output
from accord_service.cli.proposal import named

_LABEL_COLUMN = 12
_JSON = click.option("--json", "as_json", is_flag=True, help="Print the raw answer.")
_NUMBER = click.argument("number", metavar="REVISION", type=click.IntRange(1))


@click.command(epilog="Example: accord revisions")
@_JSON
@administered
def revisions(put: ServiceCall, as_json: bool) -> None:
    """List the revisions of the book, newest first: the first of them holds."""
    output = Output.of_terminal()
    lines = put(lambda client: list(client.governance.revisions()))
    if as_json:
        click.echo(json.dumps(lines, ensure_ascii=not output.is_utf, indent=2))
        return
    rows = (
        (str(line["revision"]), line["published_at"][:10], named(line["author"], line["author_id"]), line["reason"])
        for line in lines
    )
    say_table(output, ("revision", "published", "proposed by", "reason"), rows)
    output.blank()
    output.say("accord revision N --changes tells what one changed.")


@click.command(epilog="Example: accord revision 2 --changes")
@_NUMBER
@click.option("--changes", is_flag=True, help="With what it changed of the one before.")
@_JSON
@administered
def revision(put: ServiceCall, number: int, changes: bool, as_json: bool) -> None:
    """Tell who made a revision of the book, why, and what it changed."""
    output = Output.of_terminal()
    line = put(lambda client: client.governance.revision(number))
    changed = put(lambda client: client.governance.changes(number))["changes"] if changes else []
    if as_json:
        told = {**line, "changes": changed} if changes else line
        click.echo(json.dumps(told, ensure_ascii=not output.is_utf, indent=2))
        return
    output.say("", lead=f"Revision {line['revision']}", lead_style={"bold": True})
    approvers = [named(who, "") for who in line["approvers"]] or line["approver_ids"]
    rows = [
        ("Published", line["published_at"]),
        ("Proposed by", named(line["author"], line["author_id"])),
        ("Approved by", "; ".join(approvers) or "nobody: it came with the program"),
        ("Reason", line["reason"]),
        ("Proposal", line["proposal_id"] or "none"),
        ("Digest", line["digest"]),
    ]
    for label, text in rows:
        output.say(text, lead=f"  {label}", indent=2 + _LABEL_COLUMN)
    if changes and not changed:
        output.say("It is the first: nothing was there to change.", lead="  ")
    elif changed:
        before = put(lambda client: client.governance.revision(number - 1, documents=True))
        say_changes(output, changed, before["documents"])


@click.command(epilog='Example: accord revert 1 --reason "The film peels again."')
@_NUMBER
@click.option("--reason", required=True, help="Why; everybody may read it.")
@click.option("--validate-only", is_flag=True, help="Show what it would change, draft nothing.")
@_JSON
@administered
def revert(put: ServiceCall, number: int, reason: str, validate_only: bool, as_json: bool) -> None:
    """Draft a proposal that takes the book back to what REVISION says; stewards approve it as any other."""
    output = Output.of_terminal()
    drafted = put(lambda client: client.governance.revert(number, reason, validate_only=validate_only))
    if as_json:
        click.echo(json.dumps(drafted, ensure_ascii=not output.is_utf, indent=2))
        return
    before = put(lambda client: client.governance.revision(drafted["base"]["revision"], documents=True))
    say_changes(output, drafted["changes"], before["documents"])
    output.blank()
    if validate_only:
        output.say("It could be drafted.")
    else:
        output.say(f"Drafted: {drafted['proposal_id']}. Have its effect worked out, for the stewards to see:")
        output.say(f"accord proposal open {drafted['proposal_id']}", lead="    ")
