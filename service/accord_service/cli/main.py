"""``accord``: the group of commands."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from types import MappingProxyType
from typing import NamedTuple

import click

from accord_service.cli.output import colour_wanted
from accord_service.run.version import VERSION


class Line(NamedTuple):
    """A command in the list of them: the module of this room that holds it under its name, and what it does."""

    module: str
    does: str


COMMANDS: Mapping[str, Line] = MappingProxyType(
    {
        "advice": Line("advice", "Answer what is asked beside settings, and say what is not covered."),
        "audit": Line("audit", "Check the record of who changed what, and all that is kept (steward, admin)."),
        "book": Line("book", "Copy the book's files, to be edited and proposed."),
        "bundle": Line("bundle", "Keep what orders are judged by, for when there is no line."),
        "catalogue": Line("catalogue", "List what the book knows, or tell one entry whole."),
        "envelope": Line("envelope", "Say what is still allowed for what an order leaves open."),
        "facts": Line("facts", "List the facts that rules may speak of, or tell one whole."),
        "heat": Line("heat", "Draw how hot the print gets, and when."),
        "house": Line("house", "List, test, add and remove house rules, and tighten limits (owner)."),
        "key": Line("key", "Issue, confirm, list and revoke keys (admin, owner)."),
        "limit": Line("limits", "Tell one limit whole."),
        "limits": Line("limits", "List the limits that rules compare with."),
        "migration": Line("migration", "Show the table of dye migration."),
        "names": Line("names", "List, add and remove your shop's own names for things (owner)."),
        "outcome": Line("outcome", "Report how pieces came out, list and withdraw reports."),
        "press": Line("press", "Show a press, and enter what a probe reads on it."),
        "proposal": Line("proposal", "List, show, open, approve, decline, withdraw and publish proposals (steward)."),
        "propose": Line("propose", "Show what an edited copy of the book changes, and draft it as a proposal."),
        "recommend": Line("recommend", "Say how an order can be done."),
        "revert": Line("revisions", "Draft a proposal that takes the book back to a revision."),
        "revision": Line("revisions", "Tell one revision of the book, and what it changed."),
        "revisions": Line("revisions", "List the revisions of the book."),
        "rule": Line("rule", "Tell one rule whole."),
        "rules": Line("rule", "List the rules of the book by topic."),
        "seed": Line("seed", "Put shops from files into a store that no service uses yet."),
        "serve": Line("serve", "Run the service."),
        "shop": Line("shop", "Tell of one's own shop; add and list shops (admin)."),
        "sources": Line("sources", "Count the book's numbers by what they rest on."),
        "stock": Line("stock", "List, add and remove what your shop keeps (owner)."),
        "step": Line("step", "Tell one step of plans whole."),
        "steps": Line("step", "List the steps that plans are made of, in a plan's order."),
        "validate": Line("validate", "Say whether orders can be done."),
        "words": Line("words", "Tell what the book calls what people say."),
        "work": Line("work", "Work out the effects of proposals, beside a service."),
    }
)


class Commands(click.Group):
    """The commands, each imported when it is wanted: the rules and what they rest on take a second to import."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(f"accord_service.cli.{COMMANDS[cmd_name].module}"), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of them, for which none has to be imported."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line.does) for name, line in COMMANDS.items()])


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="accord")
@click.pass_context
def main(context: click.Context) -> None:
    """Settings for heat presses: can this order be done, and how.

    The commands exit with 0 if it can, 1 if it cannot (or not without more being said), and 2 if the question could
    not be put: wrong use, an unreadable file, a malformed order, no service.
    """
    context.color = colour_wanted()
