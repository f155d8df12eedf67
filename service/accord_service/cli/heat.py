"""``accord heat``: how hot the print gets, and when, as a drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from accord_rules.documents import units
from accord_service.api.plan_words import pressing_words
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.card import show_recommendation
from accord_service.cli.codes import DONE, NOT_DONE, UNASKED
from accord_service.cli.curve import Curve, curve_of, draw, legend
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused, read_order
from accord_service.cli.output import Output
from accord_service.cli.show import show_refusal
from accord_service.cli.told import Answerer, Document


@click.command(epilog="Example: accord heat demo/orders/009-team-tees-dye.json --shipped")
@click.argument("file", metavar="ORDER.json")
@click.option(
    "--svg",
    "svg_file",
    type=click.Path(dir_okay=False, writable=True, path_type=Path),
    help="Write the drawing to this file as well.",
)
@answered
@click.pass_context
def heat(context: click.Context, /, file: str, svg_file: Path | None, **who: Any) -> None:
    """Draw how hot the print of ORDER.json gets in its best plan, and when ("-" reads standard input).

    Whatever the order says is kept. If it cannot be done as it says, the drawing shows how it could with its settings
    left open, and where the dwell it asks for lies. Every curve is an estimate, with how far it may be off. Exits with
    0 if the order can be done, 1 if it cannot, 2 if it could not be read or nobody answered.
    """
    output = Output.of_terminal()
    with answerer(**who) as accord:
        try:
            order = read_order(file).document
            recommendation = accord.recommend(order, curve=True)
            done = bool(recommendation["plans"])
            shown = recommendation if done else _opened(accord, order)
        except Refused as refused:
            show_refusal(output, file, refused)
            context.exit(UNASKED)
        output.say(accord.introduction)
        if not done:
            show_recommendation(output, file, recommendation, 1)
        curves = _show(output, shown, _order_dwells(order) if not done else {})
    if svg_file is not None and curves:
        from accord_service.cli.svg import svg

        _write(svg_file, svg(curves))
        output.say(f"Drawn in {svg_file} as well.")
    context.exit(DONE if done else NOT_DONE)


def _opened(accord: Answerer, order: Mapping[str, Any]) -> Document | None:
    """The recommendation with the order's settings left open; None if it has none."""
    decorations = order["decorations"]
    if not any("settings" in decoration for decoration in decorations):
        return None
    opened = [{name: value for name, value in decoration.items() if name != "settings"} for decoration in decorations]
    return accord.recommend({**order, "decorations": opened}, curve=True)


def _order_dwells(order: Mapping[str, Any]) -> dict[int, float]:
    """The dwells the order asks for, by decoration, s."""
    times = {i: decoration.get("settings", {}).get("time") for i, decoration in enumerate(order["decorations"])}
    return {i: units.parse(units.TIME, time) for i, time in times.items() if time is not None}


def _show(output: Output, recommendation: Document | None, asked_s: Mapping[int, float]) -> Sequence[Curve]:
    """Draw the best plan's decorations in the order they are pressed; the curves there are."""
    if recommendation is None or not recommendation["plans"]:
        return ()
    plan, curves = recommendation["plans"][0], []
    for index in plan["sequence"]:
        planned = plan["decorations"][index]
        curve = curve_of(planned, plan["press_title"], asked_s.get(index))
        output.blank()
        if curve is None:
            output.say(
                f"{planned['title']} on {plan['press_title']}: no estimate of the heat; the model does not hold there."
            )
            _show_beside(output, planned)
            continue
        curves.append(curve)
        output.say(curve.title, lead="HEAT  ", lead_style={"bold": True})
        output.blank()
        for line in draw(output, curve):
            click.echo(output.fit(line))
        output.blank()
        for line in legend(output, curve):
            output.say(line, indent=4, lead="  ")
        output.say(f"{curve.note[:1].upper()}{curve.note[1:]}.", lead="  ")
        _show_beside(output, planned)
    return curves


def _show_beside(output: Output, planned: Document) -> None:
    """The heat of the pressings beside the main one, which is drawn."""
    for pressing in planned["explained"]["pressings"]:
        output.say(f"{pressing_words(pressing['name'])}: {pressing['heat']['text']}.", lead="  ")


def _write(file: Path, text: str) -> None:
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Failure(f"{file}: {error.strerror or error}") from None
