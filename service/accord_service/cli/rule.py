"""``accord rule`` and ``accord rules``: what the book says, and why."""

from __future__ import annotations

import json
from typing import Any

import click

from accord_rules.verdict import LEVELS
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.helping import examples
from accord_service.cli.output import Output
from accord_service.cli.show import show_rule, show_rules
from accord_service.cli.told import Unknown, no_such, speaking_of


@click.command(epilog="Example: accord rule dye-on-natural-fibre")
@click.argument("id", metavar="ID")
@click.option("--edges", is_flag=True, help="Show the examples at the edges of the limits too.")
@answered
def rule(id: str, edges: bool, **who: Any) -> None:
    """Tell one rule whole: when it finds something, why, its limits, its sources, and examples both ways."""
    with answerer(**who) as accord:
        try:
            page = accord.rule(id)
        except Unknown as error:
            raise no_such(str(error), id, (line.id for line in accord.rules(None, None)), "accord rules") from None
        show_rule(Output.of_terminal(), page, edges=edges)


@click.command(epilog=examples("accord rules nylon", "accord rules --level blocks"))
@click.argument("word", metavar="[WORD]", required=False)
@click.option("--topic", help="Only rules of this topic.")
@click.option("--level", type=click.Choice(LEVELS), help="Only rules of this level.")
@click.option("--json", "as_json", is_flag=True, help="Print id, topic, level and title of each as a JSON list.")
@answered
def rules(word: str | None, topic: str | None, level: str | None, as_json: bool, **who: Any) -> None:
    """List the rules of the book by topic, or those about WORD."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        lines = accord.rules(topic, level)
    texts = {line.id: f"{line.topic} {line.title}" for line in lines}
    names = speaking_of(word, "rule", texts, texts, "accord rules")
    lines = [line for line in lines if line.id in names]
    if as_json:
        document = [{"id": r.id, "topic": r.topic, "level": r.level, "title": r.title} for r in lines]
        click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
    else:
        show_rules(output, lines)
