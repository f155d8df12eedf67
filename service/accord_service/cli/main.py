"""``accord``: the group of commands."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from types import MappingProxyType

import click

from accord_service.cli.output import colour_wanted
from accord_service.run.version import VERSION

# Command -> the module of this room that holds it under the same name.
COMMANDS: Mapping[str, str] = MappingProxyType(
    {
        "advice": "advice",
        "audit": "audit",
        "facts": "facts",
        "heat": "heat",
        "key": "key",
        "migration": "migration",
        "outcome": "outcome",
        "recommend": "recommend",
        "rule": "rule",
        "rules": "rule",
        "seed": "seed",
        "serve": "serve",
        "shop": "shop",
        "sources": "sources",
        "step": "step",
        "steps": "step",
        "validate": "validate",
        "words": "words",
        "work": "work",
    }
)


class Commands(click.Group):
    """The commands, each imported when it is wanted: the rules and what they rest on take a second to import."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(f"accord_service.cli.{COMMANDS[cmd_name]}"), cmd_name)
        assert isinstance(command, click.Command)
        return command


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="accord")
@click.pass_context
def main(context: click.Context) -> None:
    """Settings for heat presses: can this order be done, and how.

    The commands exit with 0 if it can, 1 if it cannot (or not without more being said), and 2 if the question could
    not be put: wrong use, an unreadable file, a malformed order, no service.
    """
    context.color = colour_wanted()
