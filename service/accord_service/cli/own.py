"""The own shop's document read, altered and sent back, so that nobody's change is lost."""

from __future__ import annotations

import json
from collections.abc import Callable
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

import click

from accord_service.cli.answerers import ServiceCall
from accord_service.cli.columns import say_table
from accord_service.cli.output import Output
from accord_service.cli.told import Document
from accord_service.steps.readable import differences

if TYPE_CHECKING:
    import accord_client

Alter = Callable[[Document], Document]
VALIDATE_ONLY = click.option("--validate-only", is_flag=True, help="Check everything, write nothing.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")


def is_conflict(error: accord_client.ProblemError) -> bool:
    """Whether somebody else changed meanwhile what was to be replaced."""
    return error.status == HTTPStatus.PRECONDITION_FAILED


def alter_shop(put: ServiceCall, alter: Alter, *, validate_only: bool) -> tuple[Document, Document]:
    """The shop before and after ``alter``, which is applied anew, once, where somebody else changed it meanwhile."""
    return put(lambda client: _altered(client, alter, validate_only))


def _altered(client: accord_client.Client, alter: Alter, validate_only: bool) -> tuple[Document, Document]:
    import accord_client

    for is_last in (False, True):
        shop = client.shop()
        changed = alter(shop.document)
        if changed == shop.document:
            break
        try:
            after = client.administration.replace_own_shop(changed, shop.etag, validate_only=validate_only)
        except accord_client.ProblemError as error:
            if is_last or not is_conflict(error):
                raise
            click.echo("Somebody else changed the shop meanwhile: tried again on what it is now.", err=True)
        else:
            return shop.document, after.document
    return shop.document, shop.document


def show_altered(before: Document, after: Document, *, validate_only: bool, as_json: bool) -> None:
    """What was changed of the shop, or would be."""
    output = Output.of_terminal()
    if as_json:
        print_json(output, after)
        return
    rows = list(differences(before, after))
    if not rows:
        output.say("It is so already; nothing was written.")
        return
    output.say("Would change:" if validate_only else "Changed:")
    say_table(output, ("field", "from", "to"), rows)


def print_json(output: Output, document: Any) -> None:
    """For scripts."""
    click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
