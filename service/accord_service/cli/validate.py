"""``accord validate``: the verdict on order files."""

from __future__ import annotations

import json
from typing import Any

import click

from accord_service.cli.answerers import Answerer, Document, answered, answerer
from accord_service.cli.orders import Refused, read_order
from accord_service.cli.output import Output
from accord_service.cli.show import show_brief, show_refusal, show_refusal_brief, show_verdict

DONE, NOT_DONE, UNASKED = 0, 1, 2


@click.command(epilog="Example: accord validate demo/orders/009-team-tees-dye.json --shipped")
@click.argument("files", nargs=-1, required=True, metavar="ORDER.json...")
@click.option("--json", "as_json", is_flag=True, help="Print the raw answers as a JSON list, one a file.")
@click.option("--brief", is_flag=True, help="One line a file.")
@click.option("--why", is_flag=True, help="Tell all that was assumed with its reason, and all presses that won't do.")
@answered
@click.pass_context
def validate(
    context: click.Context, /, files: tuple[str, ...], as_json: bool, brief: bool, why: bool, **who: Any
) -> None:
    """Say of each ORDER.json whether it can be done ("-" reads one from standard input).

    Exits with 0 if every order is accepted or conditional, 1 if one is rejected or undetermined, 2 if one could not
    be read or nobody answered.
    """
    if as_json and brief:
        raise click.UsageError("--json and --brief are two ways to print: choose one.")
    output = Output.of_terminal()
    answers: list[Document] = []
    worst = DONE
    with answerer(**who) as accord:
        if not (as_json or brief):
            output.say(accord.introduction)
        try:
            for file in files:
                answer, decorations = _answer(accord, file)
                worst = max(worst, _code(answer))
                answers.append(answer.document() if isinstance(answer, Refused) else answer)
                if not as_json:
                    _show(output, file, answer, decorations, brief, why)
        finally:  # what was answered before the service went away is not lost
            if as_json:
                click.echo(json.dumps(answers, ensure_ascii=not output.is_utf, indent=2))
    context.exit(worst)


def _answer(accord: Answerer, file: str) -> tuple[Document | Refused, int]:
    """The answer, and how many decorations the order has; 0 where it could not be judged."""
    try:
        order = read_order(file).document
        return accord.validate(order), len(order["decorations"])
    except Refused as refused:
        return refused, 0


def _code(answer: Document | Refused) -> int:
    if isinstance(answer, Refused):
        return UNASKED
    return DONE if answer["verdict"] in ("accepted", "conditional") else NOT_DONE


def _show(output: Output, file: str, answer: Document | Refused, decorations: int, brief: bool, why: bool) -> None:
    if isinstance(answer, Refused):
        (show_refusal_brief if brief else show_refusal)(output, file, answer)
    elif brief:
        show_brief(output, file, answer)
    else:
        show_verdict(output, file, answer, decorations, why=why)
