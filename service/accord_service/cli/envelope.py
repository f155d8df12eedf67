"""``accord envelope``: what is still allowed for what an order leaves open."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

import click

from accord_service.cli.answerers import answered, answerer
from accord_service.cli.card import show_ruled_out
from accord_service.cli.codes import DONE, NOT_DONE, UNASKED
from accord_service.cli.columns import say_table
from accord_service.cli.orders import Refused, read_order
from accord_service.cli.output import Output
from accord_service.cli.show import say_heading, say_questions, show_refusal
from accord_service.cli.told import Document
from accord_service.steps.readable import plain_number

# How people say the fields of settings that have words.
_WORDS = ("pressure", "peel", "cover", "pad", "tape")
_RANGES = {"temperature": "display", "time": "dwell", "gauge": "gauge"}


@click.command(epilog="Example: accord envelope demo/orders/009-team-tees-dye.json")
@click.argument("file", metavar="ORDER.json")
@click.option("--json", "as_json", is_flag=True, help="Print the raw answer.")
@answered
@click.pass_context
def envelope(context: click.Context, /, file: str, as_json: bool, **who: Any) -> None:
    """Say what is still allowed for each thing that ORDER.json leaves open, press by press ("-": standard input).

    Each range holds with the other open fields left to the book. Exits with 0 if a press can do it, 1 if none can,
    2 if the order could not be read or nobody answered.
    """
    output = Output.of_terminal()
    with answerer(**who) as accord:
        try:
            order = read_order(file).document
            answer = accord.envelope(order)
        except Refused as refused:
            if as_json:
                click.echo(json.dumps(refused.document(), ensure_ascii=not output.is_utf, indent=2))
            else:
                show_refusal(output, file, refused)
            context.exit(UNASKED)
        if as_json:
            click.echo(json.dumps(answer, ensure_ascii=not output.is_utf, indent=2))
        else:
            output.say(accord.introduction)
            _show(output, file, answer)
    context.exit(DONE if answer["presses"] else NOT_DONE)


def _show(output: Output, file: str, answer: Document) -> None:
    output.blank()
    presses = ", ".join(answer["presses"]) or "none of the presses"
    output.say("", lead=f"{file}{f'  ({reference})' if (reference := answer['reference']) else ''}")
    output.say(f"It can be done on {presses}. Book revision {answer['revision']}.", lead="  ")
    for on in answer["on"]:
        several = len(on["decorations"]) > 1
        for number, decoration in enumerate(on["decorations"], start=1):
            which = f", decoration {number}" if several else ""
            say_heading(output, f"{on['press']}{which}, with {decoration['transfer']}")
            rows = list(_allowed(decoration))
            say_table(output, ("open", "allowed", "stops below", "stops above"), rows, none="Nothing is left open.")
    _transfers(output, answer["transfers"])
    _grounds(output, answer["ground"])
    say_questions(output, answer["needs"])
    show_ruled_out(output, answer, [{"press": press} for press in answer["presses"]])
    if not answer["complete"]:
        output.blank()
        output.say("There was more than could be worked out: name the press or the transfers to have the rest.")


def _allowed(decoration: Document) -> Iterator[tuple[str, str, str, str]]:
    """A row for each range of an open field, and for each open field that has words."""
    for field, name in _RANGES.items():
        for span in decoration[field] or ():
            yield name, _ends(span), ", ".join(span["below"]), ", ".join(span["above"])
        if decoration[field] == []:
            yield name, "nothing will do", "", ""
    for field in _WORDS:
        if decoration[field] is not None:
            yield field, ", ".join(decoration[field]) or "nothing will do", "", ""
    for size in decoration["size"] or ():
        yield "size", f"up to {size['width']} x {size['height']}", "", ""
    for pressing in decoration["pressings"]:
        window = pressing["temperature_window"]
        ends = [_ends(span) for span in (window, pressing["time_window"]) if span is not None]
        yield f"{pressing['name']} (usual)", ", ".join(ends), "", ""


def _ends(span: Document) -> str:
    return span["least"] if span["least"] == span["most"] else f"{span['least']} to {span['most']}"


def _transfers(output: Output, transfers: Sequence[Sequence[str]]) -> None:
    if not any(len(of_one) > 1 for of_one in transfers):
        return
    say_heading(output, "Transfers that will do, best first")
    rows = ((f"decoration {number}", ", ".join(of_one)) for number, of_one in enumerate(transfers, start=1))
    say_table(output, ("of", "transfers"), rows)


def _grounds(output: Output, grounds: Sequence[Document] | None) -> None:
    if grounds is None:
        return
    say_heading(output, "Grounds that will do, as greys")
    rows = (
        (f"L* {plain_number(g['least'])} to {plain_number(g['most'])}", g["least_colour"], g["most_colour"])
        for g in grounds
    )
    say_table(output, ("lightness", "darkest", "lightest"), rows, none="None will do.")
