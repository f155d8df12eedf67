"""``accord press``: one press of the own shop, and what a probe says of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from accord_rules.documents import units
from accord_rules.orders.order import INSTRUMENTS, CalibrationReading
from accord_rules.revision.readings import DOUBTS
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.codes import NOT_DONE
from accord_service.cli.columns import say_table
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, print_json
from accord_service.cli.told import Document, no_such
from accord_service.steps.readable import leaves

if TYPE_CHECKING:
    import accord_client


_PRESS = click.argument("press_id", metavar="PRESS")
_PROBE_ERROR = "press.probe_error"
_SPOTS_MOST = 25


@click.group(cls=Grouped)
def press() -> None:
    """The presses of your shop; `accord shop show` lists them."""


@press.command("show", epilog="Example: accord press show bench")
@_PRESS
@JSON
@administered
def show(put: ServiceCall, press_id: str, as_json: bool) -> None:
    """Show one press as the shop's document has it, and what its probe readings come to."""
    output = Output.of_terminal()
    there = _press(put, press_id)
    if as_json:
        print_json(output, there)
        return
    output.say("", lead=press_id, lead_style={"bold": True})
    rest = {key: value for key, value in there.items() if key not in ("id", "calibration")}
    say_table(output, ("field", "value"), leaves(rest))
    output.blank()
    _show_correction(output, put, press_id)


@press.command("calibrate", epilog="Example: accord press calibrate bench")
@_PRESS
@click.option("--taken-on", metavar="YYYY-MM-DD", help="The day it is read; today when left out.")
@click.option("--instrument", type=click.Choice(INSTRUMENTS), help="What it is read with; else a contact probe.")
@click.option(
    "--despite", type=click.Choice(tuple(DOUBTS)), multiple=True, help="A doubt to set aside; may be repeated."
)
@click.option("--yes", is_flag=True, help="Enter the readings without asking once more.")
@administered
@click.pass_context
def calibrate(
    context: click.Context,
    /,
    put: ServiceCall,
    press_id: str,
    taken_on: str | None,
    instrument: str | None,
    despite: tuple[str, ...],
    yes: bool,
) -> None:
    """Type in what a probe reads on PRESS, at the press: for each display setting the spots one by one.

    Every reading is checked when it is typed; an unlikely one is asked again, unless its doubt is named in --despite.
    Nothing is written before you have seen what the readings come to. An operator's wait until the owner confirms them.
    """
    output = Output.of_terminal()
    there = _press(put, press_id)
    unit = put(lambda client: client.shop_status()).units["temperature"]
    rest = {"taken_on": taken_on or date.today().isoformat(), "despite": [*despite]}
    rest |= {"instrument": instrument} if instrument else {}
    output.say("Let the press settle at each setting first. An empty line ends the spots, and then the readings.")
    typed: list[dict[str, Any]] = []
    try:
        while (reading := _typed(output, put, press_id, unit, rest, len(typed) + 1)) is not None:
            typed = [*(other for other in typed if other["display"] != reading["display"]), reading]
        if not typed:
            output.say("Nothing was read, so nothing was written.")
            context.exit(NOT_DONE)
        _preview(output, put, there, typed, unit)
        if not yes and not click.confirm("Enter these readings?", default=True):
            output.say("Nothing was written.")
            context.exit(NOT_DONE)
    except click.Abort:
        raise Failure("Broken off: nothing was written.") from None
    waits = False
    for reading in typed:
        document = dict(reading)
        made = put(lambda client, document=document: client.administration.enter_reading(press_id, document))  # type: ignore[misc]
        waits = waits or not made["counts"]
    output.say(f"Entered: {len(typed)} {'reading' if len(typed) == 1 else 'readings'} of {press_id}.")
    if waits:
        output.say("They wait, and count for nothing until the owner confirms them: accord shop reading confirm.")
    else:
        _show_correction(output, put, press_id)


def _press(put: ServiceCall, press_id: str) -> Document:
    """Raises Failure with the shop's presses where it has none of the name."""
    presses: dict[str, Document] = {of["id"]: of for of in put(lambda client: client.shop()).document["presses"]}
    if press_id not in presses:
        raise no_such(f"The shop has no press {press_id!r}.", press_id, presses, "accord shop show")
    return presses[press_id]


def _typed(
    output: Output, put: ServiceCall, press_id: str, unit: str, rest: Mapping[str, Any], number: int
) -> dict[str, Any] | None:
    """One reading, as often asked as it takes to be one that the service takes; None for an empty line."""
    while True:
        display = _asked(f"Reading {number}: the display shows, in {unit} (empty: no more)", unit)
        if display is None:
            return None
        spots: list[str] = []
        of_spots = _unit_in(display) or unit  # who types a setting in another unit reads the probe in it
        while len(spots) < _SPOTS_MOST:
            spot = _asked(f"  spot {len(spots) + 1}, in {of_spots} (empty: no more)", of_spots)
            if spot is None:
                break
            spots.append(spot)
        reading = {"display": display, "surface": spots, **rest}
        refused = put(lambda client, reading=reading: _refused(client, press_id, reading))  # type: ignore[misc]
        if not refused:
            return reading
        for fault in refused:
            output.say(f"{fault.place.strip('/') or 'the reading'}: {fault.message}", lead="  ! ")
        doubts = [word for fault in refused if fault.code == "unlikely" for word in fault.allowed]
        despite = " ".join(f"--despite {word}" for word in doubts)
        output.say(f"Type it again{f'; where it was read so, start anew with {despite}' if doubts else ''}.", lead="  ")


def _asked(question: str, unit: str) -> str | None:
    """A temperature; a bare number is in the unit that was asked for."""
    text = str(click.prompt(question, default="", show_default=False)).strip()
    if not text:
        return None
    bare = text.replace(",", ".").replace(".", "", 1).isdigit()
    return f"{text} {unit}" if bare else text


def _unit_in(text: str) -> str | None:
    """The symbol of the unit that a temperature was typed with; None for one that is none."""
    unit = units.TEMPERATURE.unit(text.lstrip("+-0123456789., "))
    return None if unit is None else unit.symbol


def _refused(client: accord_client.Client, press_id: str, reading: Document) -> tuple[accord_client.Fault, ...]:
    import accord_client

    try:
        client.administration.enter_reading(press_id, reading, validate_only=True)
    except accord_client.InvalidOrder as error:
        return error.errors
    return ()


def _preview(output: Output, put: ServiceCall, there: Document, typed: Sequence[Document], unit: str) -> None:
    """What the readings come to with those that were typed; one takes the place of another at the same setting."""
    from accord_rules.derive.press import fitted

    error_k = put(lambda client: client.limit(_PROBE_ERROR)).entry["value"]
    displays = {_celsius(reading["display"]) for reading in typed}
    kept = [of for of in there.get("calibration", ()) if _celsius(of["display"]) not in displays]
    readings = [
        CalibrationReading(_celsius(of["display"]), tuple(map(_celsius, of["surface"]))) for of in (*kept, *typed)
    ]
    system = units.US_CUSTOMARY if unit == units.US_CUSTOMARY.temperature else units.METRIC
    output.blank()
    rows = []
    for display_c, surface_c, spread_k in fitted(readings, units.parse(units.TEMPERATURE_DIFFERENCE, error_k)).points:
        off_k = surface_c - display_c
        way = "above" if off_k > 0 else "below"
        shown = units.show(units.TEMPERATURE_DIFFERENCE, abs(off_k), system)
        rows.append(
            (
                units.show(units.TEMPERATURE, display_c, system),
                units.show(units.TEMPERATURE, surface_c, system),
                f"{shown} {way}",
                f"± {units.show(units.TEMPERATURE_DIFFERENCE, spread_k, system)}",
            )
        )
    say_table(output, ("display", "surface, mean", "so it lies", "spread"), rows)
    output.blank()


def _celsius(text: str) -> float:
    return units.parse(units.TEMPERATURE, text)


def _show_correction(output: Output, put: ServiceCall, press_id: str) -> None:
    """What the service takes the surface to be."""
    calibration = put(lambda client: client.shop_status()).calibration
    of_press = next((of for of in calibration if of["press"] == press_id), None)
    if of_press is None:
        output.say("No probe reading counts; what is usual for its type is taken. accord press calibrate enters some.")
        return
    output.say("What its readings come to:")
    rows = ((point["display"], point["surface"], f"± {point['spread']}") for point in of_press["curve"])
    say_table(output, ("display", "surface, mean", "spread"), rows)
    if of_press["elsewhere"]:
        output.say(of_press["elsewhere"], lead="  ")
    coldest = of_press["coldest"]
    output.say(
        f"Spot {coldest['spot']} is the coldest, {coldest['below_mean']} below the mean at {coldest['display']}.",
        lead="  ",
    )
    if of_press["stale"]:
        output.say("They are old: measure it again.", lead="  ")
    for doubt in of_press["doubts"]:
        output.say(doubt, lead="  - ")
