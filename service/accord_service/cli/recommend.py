"""``accord recommend``: how an order can be done."""

from __future__ import annotations

import json
from typing import Any

import click

from accord_rules.orders.order import PREFERENCES
from accord_rules.verdict import PLANS_MOST
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.card import show_recommendation
from accord_service.cli.codes import DONE, NOT_DONE, UNASKED
from accord_service.cli.orders import Refused, read_order
from accord_service.cli.output import Output
from accord_service.cli.show import say_assumed, say_heading, show_refusal
from accord_service.cli.told import Answerer, Document


@click.command(epilog="Example: accord recommend demo/orders/009-team-tees-dye.json --shipped")
@click.argument("file", metavar="ORDER.json")
@click.option("--json", "as_json", is_flag=True, help="Print the raw answer.")
@click.option(
    "--prefer",
    multiple=True,
    type=click.Choice(PREFERENCES),
    help="What matters, weightiest first; may be given several times. Takes the place of the order's own.",
)
@click.option(
    "--plans", type=click.IntRange(1, PLANS_MOST), default=1, show_default=True, help="How many plans to show whole."
)
@click.option("--why", is_flag=True, help="Tell of each plan shown whole all that was assumed, with its reason.")
@answered
@click.pass_context
def recommend(
    context: click.Context, /, file: str, as_json: bool, prefer: tuple[str, ...], plans: int, why: bool, **who: Any
) -> None:
    """Say how ORDER.json can be done, as a card to pin above the press ("-" reads standard input).

    Whatever the order leaves out is open; whatever it says is kept. Exits with 0 if there is a way, 1 if there is
    none, 2 if the order could not be read or nobody answered.
    """
    output = Output.of_terminal()
    with answerer(**who) as accord:
        try:
            order = read_order(file).document
            answer = accord.recommend({**order, "prefer": list(prefer)} if prefer else order)
        except Refused as refused:
            _print(output, refused.document()) if as_json else show_refusal(output, file, refused)
            context.exit(UNASKED)
        if as_json:
            _print(output, answer)
        else:
            show_recommendation(output, file, answer, plans, _nearest(accord, order, answer))
            for plan in answer["plans"][:plans] if why else ():
                say_heading(output, f"PLAN {plan['rank']}")
                say_assumed(output, accord.validate(plan["order"])["assumed"], why=True)
            output.blank()
            output.say(accord.introduction)
    context.exit(DONE if answer["plans"] else NOT_DONE)


def _nearest(accord: Answerer, order: Document, recommendation: Document) -> str | None:
    """The nearest change with which an order that can't be done could be, as a sentence; None where none is known."""
    if recommendation["plans"] or recommendation["needs"] or not recommendation["complete"]:
        return None
    try:
        remedies = accord.validate(order)["remedies"]
    except Refused:  # to be validated an order has to say more than a recommendation needs
        return None
    return f"{remedies[0]['text']} Then it is {remedies[0]['verdict']}." if remedies else None


def _print(output: Output, document: Any) -> None:
    click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
