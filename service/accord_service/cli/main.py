"""``accord``: the group of commands."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

import click

from accord_service.cli.output import colour_wanted
from accord_service.run.version import VERSION

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


class Line(NamedTuple):
    """A command in the list of them: the module of this room that holds it under its name, and what it does."""

    module: str
    does: str


GROUPS: Mapping[str, Mapping[str, Line]] = MappingProxyType(
    {
        "Orders": {
            "validate": Line("validate", "Say whether orders can be done."),
            "recommend": Line("recommend", "Say how an order can be done."),
            "envelope": Line("envelope", "Say what is still allowed for what an order leaves open."),
            "heat": Line("heat", "Draw how hot the print gets, and when."),
            "record": Line("record", "Keep an order with its answer, and list what was kept."),
            "outcome": Line("outcome", "Report how pieces came out, list and withdraw reports."),
            "bundle": Line("bundle", "Keep what orders are judged by, for when there is no line."),
        },
        "What the book says": {
            "rules": Line("rule", "List the rules of the book by topic."),
            "rule": Line("rule", "Tell one rule whole."),
            "limits": Line("limits", "List the limits that rules compare with."),
            "limit": Line("limits", "Tell one limit whole."),
            "catalogue": Line("catalogue", "List what the book knows, or tell one entry whole."),
            "words": Line("words", "Tell what the book calls what people say."),
            "advice": Line("advice", "Answer what is asked beside settings, and say what is not covered."),
            "steps": Line("step", "List the steps that plans are made of, in a plan's order."),
            "step": Line("step", "Tell one step of plans whole."),
            "facts": Line("facts", "List the facts that rules may speak of, or tell one whole."),
            "migration": Line("migration", "Show the table of dye migration."),
            "sources": Line("sources", "Count the book's numbers by what they rest on."),
        },
        "Changes of the book": {
            "book": Line("book", "Copy the book's files, to be edited and proposed."),
            "propose": Line("propose", "Show what an edited copy changes, and draft it as a proposal."),
            "proposal": Line("proposal", "List, show, open, approve, decline, withdraw, publish (steward)."),
            "revisions": Line("revisions", "List the revisions of the book."),
            "revision": Line("revisions", "Tell one revision of the book, and what it changed."),
            "watch": Line("watch", "Print what happens: revisions, proposals, readings, reports."),
            "revert": Line("revisions", "Draft a proposal that takes the book back to a revision."),
        },
        "Your shop": {
            "shop": Line("shop", "Tell of your shop, edit it (owner); add and list shops (admin)."),
            "stock": Line("stock", "List, add and remove what your shop keeps (owner)."),
            "names": Line("names", "List, add and remove your shop's own names for things (owner)."),
            "press": Line("press", "Show a press, and enter what a probe reads on it."),
            "house": Line("house", "List, test, add and remove house rules, tighten limits (owner)."),
        },
        "Keys and records": {
            "key": Line("key", "Issue, confirm, list and revoke keys (admin, owner)."),
            "audit": Line("audit", "Check the record of who changed what (steward, admin)."),
        },
        "This machine": {
            "serve": Line("serve", "Run the service."),
            "work": Line("work", "Work out the effects of proposals, beside a service."),
            "seed": Line("seed", "Put shops from files into a store that no service uses yet."),
            "completion": Line("completion", "Print what lets a shell complete commands and options."),
        },
    }
)
# What people type as well; the list does not name it.
ALSO: Mapping[str, str] = MappingProxyType({"check": "validate"})
COMMANDS: Mapping[str, Line] = MappingProxyType({name: line for of in GROUPS.values() for name, line in of.items()})
# What each of three people does first.
_FIRST = (
    ("At the counter", "accord validate ORDER.json, then accord recommend ORDER.json for the card at the press"),
    ("As an owner", "accord shop show, accord stock add NAME, accord press calibrate PRESS"),
    ("As a steward", "accord proposal list; accord book copy FOLDER, edit it, accord propose FOLDER"),
)
_WHO_ANSWERS = (
    "A service answers with ACCORD_URL and ACCORD_TOKEN (your key) set, or --url and --token. Without one, --local"
    " answers from the bundle that accord bundle pull kept, and --shipped from the book that comes along."
    " accord COMMAND --help tells more, with an example."
)


class Commands(click.Group):
    """The commands, each imported when it is wanted: the rules and what they rest on take a second to import."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        name = ALSO.get(cmd_name, cmd_name)
        if name not in COMMANDS:
            return None
        command = getattr(import_module(f"accord_service.cli.{COMMANDS[name].module}"), name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of them, for which none has to be imported."""
        widest = max(map(len, COMMANDS))
        for group, commands in GROUPS.items():
            with formatter.section(group):
                formatter.write_dl([(f"{name:<{widest}}", line.does) for name, line in commands.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """The names and options that begin so, for which none has to be imported either."""
        from click.shell_completion import CompletionItem

        named = [CompletionItem(name, help=of.does) for name, of in COMMANDS.items() if name.startswith(incomplete)]
        return named + click.Command.shell_complete(self, ctx, incomplete)


@click.group(
    cls=Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(VERSION, prog_name="accord")
@click.pass_context
def main(context: click.Context) -> None:
    """Settings for heat presses: can this order be done, and how.

    The commands exit with 0 if it can, 1 if it cannot, 2 if the question could not be put (wrong use, an unreadable
    file, an order that could not be read, no service), and 3 if that is not known until more is said.
    """
    context.color = colour_wanted()
    if context.invoked_subcommand is None:
        click.echo(_start(context))


def _start(context: click.Context) -> str:
    """What to do first, and what there is."""
    formatter = context.make_formatter()
    formatter.write_text("Settings for heat presses: can this order be done, and how.")
    with formatter.section("First"):
        formatter.write_dl(_FIRST)
    formatter.write_paragraph()
    formatter.write_text(_WHO_ANSWERS)
    main.format_commands(context, formatter)
    return formatter.getvalue().rstrip("\n")
