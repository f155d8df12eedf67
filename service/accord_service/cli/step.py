"""``accord step`` and ``accord steps``: what plans are made of."""

from __future__ import annotations

import json
from typing import Any

import click

from accord_rules.verdict import STAGES
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.helping import examples
from accord_service.cli.output import Output
from accord_service.cli.show import show_step, show_steps
from accord_service.cli.told import Unknown, no_such, speaking_of


@click.command(epilog="Example: accord step cover-what-marks")
@click.argument("id", metavar="ID")
@click.option("--edges", is_flag=True, help="Show the examples given as facts too.")
@answered
def step(id: str, edges: bool, **who: Any) -> None:
    """Tell one step whole: when a plan has it, what it says, its sources, and examples both ways."""
    with answerer(**who) as accord:
        try:
            page = accord.step(id)
        except Unknown as error:
            raise no_such(str(error), id, (line.id for line in accord.steps(None)), "accord steps") from None
        show_step(Output.of_terminal(), page, edges=edges)


@click.command(epilog=examples("accord steps gloves", "accord steps --stage press"))
@click.argument("word", metavar="[WORD]", required=False)
@click.option("--stage", type=click.Choice(STAGES), help="Only steps of this stage.")
@click.option("--json", "as_json", is_flag=True, help="Print id, stage and text of each as a JSON list.")
@answered
def steps(word: str | None, stage: str | None, as_json: bool, **who: Any) -> None:
    """List the steps that plans are made of, in a plan's order, or those about WORD."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        lines = accord.steps(stage)
    texts = {line.id: line.text for line in lines}
    names = speaking_of(word, "step", texts, texts, "accord steps")
    lines = [line for line in lines if line.id in names]
    if as_json:
        document = [{"id": line.id, "stage": line.stage, "text": line.text} for line in lines]
        click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
    else:
        show_steps(output, lines)
