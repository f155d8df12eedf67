"""``accord propose``: an edited copy of the book as a proposal."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.book import head_of, read_copy
from accord_service.cli.codes import NOT_DONE
from accord_service.cli.difference import say_changes
from accord_service.cli.failure import Failure
from accord_service.cli.helping import examples
from accord_service.cli.output import Output
from accord_service.cli.told import Document

# A check writes nothing, and whoever only looks has no reason yet.
_UNSAID = "Not said yet."


@click.command(
    epilog=examples(
        "accord propose my-book", 'accord propose my-book --draft --reason "Pale" --evidence "Reports since May"'
    )
)
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--draft", is_flag=True, help="Draft the proposal; else it is only shown and checked.")
@click.option("--reason", help="Why the book should be changed; --draft needs it.")
@click.option("--evidence", help="On what evidence; --draft needs it.")
@click.option("--json", "as_json", is_flag=True, help="Print base, changes and the service's answer as JSON.")
@administered
@click.pass_context
def propose(
    context: click.Context,
    /,
    put: ServiceCall,
    folder: Path,
    draft: bool,
    reason: str | None,
    evidence: str | None,
    as_json: bool,
) -> None:
    """Show what was changed in FOLDER, a copy of the book that was edited, and have the service check it.

    With --draft it becomes a proposal, which `accord proposal open` puts to the stewards. Exits with 1 where nothing
    was changed, with 2 where the service would not take it.
    """
    if draft and not (reason and evidence):
        raise click.UsageError("--draft needs --reason and --evidence: whoever approves has nothing else to go by.")
    # What a change is rests on the rules, which take most of a second to import.
    from accord_rules.governance.changes import ChangeError, changes_document, difference

    output = Output.of_terminal()
    new, base = read_copy(folder)
    old = put(lambda client: client.governance.revision(base.revision, documents=True))
    if old["digest"] != base.digest:
        raise Failure(
            f"{folder} is a copy of another book than this service's: it has another revision {base.revision}."
        )
    try:
        changes = changes_document(difference(old["documents"], new))
    except ChangeError as error:
        raise Failure("\n".join(fault.message for fault in error.faults)) from None
    if not changes:
        output.say(f"Nothing in {folder} differs from revision {base.revision}.", lead="")
        context.exit(NOT_DONE)
    head = put(lambda client: head_of(client.governance.revisions()))
    if not as_json:
        _show(output, folder, changes, old["documents"], base.revision)
    if head != base.revision:
        raise Failure(
            f"{folder} is a copy of revision {base.revision}, and the book is at {head}. Copy that one to another"
            f" folder, and make these changes there; accord revision {head} --changes tells what changed."
        )
    answer = _put(put, base._asdict(), changes, reason or _UNSAID, evidence or _UNSAID, validate_only=not draft)
    if as_json:
        document = {"base": base._asdict(), "changes": changes, "proposal": answer}
        click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
        return
    output.blank()
    if draft:
        output.say(f"Drafted: {answer['proposal_id']}. Have its effect worked out, for the stewards to see:")
        output.say(f"accord proposal open {answer['proposal_id']}", lead="    ")
    else:
        output.say("The service would take it. To draft it:")
        output.say(f'accord propose {folder} --draft --reason "..." --evidence "..."', lead="    ")


def _show(output: Output, folder: Path, changes: Sequence[Document], before: Document, revision: int) -> None:
    many = len(changes)
    output.say(f"{folder} changes {many} {'entry' if many == 1 else 'entries'} of revision {revision}.")
    say_changes(output, changes, before)


def _put(
    put: ServiceCall, base: Document, changes: Sequence[Document], reason: str, evidence: str, *, validate_only: bool
) -> Document:
    """The service's answer. Raises Failure, with entries named in place of their numbers in the request."""
    try:
        return put(
            lambda client: client.governance.propose(base, changes, reason, evidence, validate_only=validate_only)
        )
    except Failure as failure:
        raise Failure(
            re.sub(r"/changes/(\d+)(?:/value)?", lambda place: _named(changes, place), failure.message)
        ) from None


def _named(changes: Sequence[Any], place: re.Match[str]) -> str:
    change = changes[int(place[1])]
    return f"{change['kind']} {change['id']} "
