"""``accord``: the group of commands."""

from __future__ import annotations

import click

from accord_service.cli.audit import audit
from accord_service.cli.facts import facts
from accord_service.cli.heat import heat
from accord_service.cli.key import key
from accord_service.cli.output import colour_wanted
from accord_service.cli.recommend import recommend
from accord_service.cli.rule import rule, rules
from accord_service.cli.seed import seed
from accord_service.cli.serve import serve
from accord_service.cli.shop import shop
from accord_service.cli.validate import validate
from accord_service.run.version import VERSION


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="accord")
@click.pass_context
def main(context: click.Context) -> None:
    """Settings for heat presses: can this order be done, and how.

    The commands exit with 0 if it can, 1 if it cannot (or not without more being said), and 2 if the question could
    not be put: wrong use, an unreadable file, a malformed order, no service.
    """
    context.color = colour_wanted()


for command in (validate, recommend, heat, rule, rules, facts, shop, key, audit, seed, serve):
    main.add_command(command)
