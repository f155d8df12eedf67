"""A press of the shop: its data, its calibration plot, its readings, and the forms for both."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flask import Response, request

from accord_rules.documents import units
from accord_rules.orders.order import INSTRUMENTS
from accord_service.api.room import room
from accord_service.api.v1.delete_press_reading import delete_press_reading
from accord_service.api.v1.get_press_reading import get_press_reading
from accord_service.api.v1.get_press_readings import get_press_readings
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_shop_press import get_shop_press
from accord_service.api.v1.post_press_reading_confirm import post_press_reading_confirm
from accord_service.api.v1.post_press_readings import post_press_readings
from accord_service.api.v1.put_shop_press import put_shop_press
from accord_service.http.problems import NotFound, Problem
from accord_service.pages.forms import (
    Form,
    with_unit,
)
from accord_service.pages.shop.asking import REFUSALS, status_of
from accord_service.pages.shop.calibration import calibration_plot, state_of
from accord_service.pages.shop.overview import press_findings, press_names
from accord_service.pages.shop.press_data import LABELS, in_units, press_type
from accord_service.pages.shop.rooms import answered, is_check, led_to, shown
from accord_service.pages.visit import Visit, page
from accord_service.steps.readable import in_words, leaves

Document = Mapping[str, Any]
SPOTS_MOST = 25
# Where to read, for the first spots; the API keeps their order alone.
SPOTS = ("Middle", "Front left", "Front right", "Back left", "Back right")
_READING_FIELDS = ("display", *(f"surface/{place}" for place in range(SPOTS_MOST)), "taken_on", "instrument")
_ENTERERS = ("operator", "owner")

# -- the press ---------------------------------------------------------------------------------------------------------


@page("/shop/presses/<press_id>")
def press_page(visit: Visit, press_id: str) -> Response:
    """One press: the plot, the table beside it, the readings, and a form for one more."""
    return _shown(visit, press_id, _new_reading())


@page("/shop/presses/<press_id>", methods=("POST",), roles=_ENTERERS)
def enter_reading(visit: Visit, press_id: str) -> Response:
    """Enter a reading, or only have it looked at (``do`` is ``check``)."""
    form = Form.sent()
    checking = is_check(form)
    document, filled = _reading(form, _unit(visit))
    try:
        told = visit.ask(
            post_press_readings,
            path={"press_id": press_id},
            document=document,
            query={"validate_only": "true"} if checking else {},
        )
    except REFUSALS as problem:
        return _shown(visit, press_id, form.refused(problem, _READING_FIELDS, lambda pointer: _moved(pointer, filled)))
    if checking:
        return _shown(visit, press_id, form, preview=told.document)
    return led_to(
        f"/shop/presses/{press_id}?entered={told.document['reading_id']}#readings",
    )


@page("/shop/presses/<press_id>/readings/<reading_id>/confirm", methods=("POST",), roles=("owner",))
def confirm_reading(visit: Visit, press_id: str, reading_id: str) -> Response:
    """Let an operator's reading count."""
    try:
        visit.ask(post_press_reading_confirm, path={"press_id": press_id, "reading_id": reading_id})
    except REFUSALS as problem:
        return _shown(visit, press_id, _new_reading(), refused=(reading_id, problem))
    return led_to(
        f"/shop/presses/{press_id}?confirmed={reading_id}#readings",
    )


@page("/shop/presses/<press_id>/readings/<reading_id>/back", roles=_ENTERERS)
def take_back_page(visit: Visit, press_id: str, reading_id: str) -> Response:
    """Ask once more before a reading is taken back."""
    return _asked_once_more(visit, press_id, reading_id, None)


@page("/shop/presses/<press_id>/readings/<reading_id>/back", methods=("POST",), roles=_ENTERERS)
def take_back(visit: Visit, press_id: str, reading_id: str) -> Response:
    """Take a reading back."""
    try:
        visit.ask(delete_press_reading, path={"press_id": press_id, "reading_id": reading_id})
    except REFUSALS as problem:
        return _asked_once_more(visit, press_id, reading_id, problem)
    there = press_id in {press["id"] for press in visit.ask(get_shop).document["presses"]}
    return led_to(
        f"/shop/presses/{press_id}?taken=back#readings" if there else "/shop",
    )


def _asked_once_more(visit: Visit, press_id: str, reading_id: str, refused: Problem | None) -> Response:
    """The API refuses to read one whose press is gone, though it may be taken back: it is found among what waits."""
    path = {"press_id": press_id, "reading_id": reading_id}
    try:
        reading = visit.ask(get_press_reading, path=path).document
    except NotFound:
        status, _ = status_of(visit)
        waiting = (status or {}).get("readings_waiting") or ()
        named = [one for one in waiting if (one["press_id"], one["reading_id"]) == (press_id, reading_id)]
        if not named:
            raise
        reading = named[0]
    return shown("take_back", 200 if refused is None else refused.status, reading=reading, refused=refused)


def _shown(
    visit: Visit,
    press_id: str,
    form: Form,
    *,
    preview: Document | None = None,
    refused: tuple[str, Problem] | None = None,
) -> Response:
    shop = visit.ask(get_shop).document
    press = visit.ask(get_shop_press, path={"press_id": press_id}).document
    readings = sorted(
        visit.entries(get_press_readings, path={"press_id": press_id}),
        key=lambda reading: (reading["counts"], units.parse(units.TEMPERATURE, reading["display"])),
    )
    status, _ = status_of(visit)
    calibration = next((line for line in (status or {}).get("calibration", ()) if line["press"] == press_id), None)
    system = units.UNIT_SYSTEMS[shop["unit_system"]]
    by_id = {reading["reading_id"]: reading for reading in readings}
    kind = press_type(visit, press["type"])
    return shown(
        "press",
        refused[1].status if refused is not None else answered(form),
        shop=shop,
        press=press,
        kind=kind,
        usual={
            name: in_units(kind[name], units.TEMPERATURE_DIFFERENCE, system)
            for name in ("loss", "spread")
            if name in kind
        },
        names=press_names(shop)[press_id],
        said=tuple(_said(press)),
        readings=readings,
        by_id=by_id,
        state_of=state_of,
        calibration=calibration,
        plot=calibration_plot(readings, calibration, system),
        findings=press_findings(status, shop, press_id),
        unit=system.temperature,
        form=form,
        spots=SPOTS,
        spots_most=SPOTS_MOST,
        instruments=INSTRUMENTS,
        preview=preview,
        refused=refused,
        told=_told(by_id),
        may_enter=visit.may(post_press_readings),
        may_confirm=visit.may(post_press_reading_confirm),
        may_edit=visit.may(put_shop_press),
    )


def _said(press: Document) -> Iterator[tuple[str, str]]:
    """What the press's document says beside its type and readings, in words."""
    rest = {name: value for name, value in press.items() if name not in ("id", "type", "calibration")}
    said = dict(leaves(rest))
    yield from ((LABELS[name], said.pop(name)) for name in LABELS if name in said)
    yield from ((in_words(place).capitalize(), text) for place, text in said.items())


def _told(readings: Mapping[str, Document]) -> str:
    """What was just done, for the page that follows it."""
    if "taken" in request.args:
        return "The reading is taken back. It stays to be read in the shop's versions."
    entered, confirmed = request.args.get("entered", ""), request.args.get("confirmed", "")
    if confirmed in readings:
        return f"Confirmed: the reading at {readings[confirmed]['display']} counts, from this moment on."
    if entered in readings:
        counts = readings[entered]["counts"]
        becomes = "It counts." if counts else "It waits, and counts for nothing until the owner confirms it."
        return f"Entered: the reading at {readings[entered]['display']}. {becomes}"
    return ""


def _unit(visit: Visit) -> str:
    return units.UNIT_SYSTEMS[visit.ask(get_shop).document["unit_system"]].temperature


def _new_reading() -> Form:
    return Form.of({"taken_on": room().today.isoformat()})


def _reading(form: Form, unit: str) -> tuple[dict[str, Any], list[int]]:
    """The reading that was typed, and which spots of the form were filled in."""
    filled = [place for place in range(SPOTS_MOST) if form.text(f"surface/{place}")]
    document: dict[str, Any] = {
        "display": with_unit(form.text("display"), unit),
        "surface": [with_unit(form.text(f"surface/{place}"), unit) for place in filled],
        "taken_on": form.text("taken_on"),
        "despite": list(form.values.get("despite", ())),
    }
    if form.text("instrument"):
        document["instrument"] = form.text("instrument")
    return document, filled


def _moved(pointer: str, filled: list[int]) -> str:
    """A pointer of the reading that was sent as the form has it, whose spots may have gaps."""
    step = pointer.removeprefix("/")
    head, _, place = step.partition("/")
    if head == "surface" and place.isdigit() and int(place) < len(filled):
        return f"surface/{filled[int(place)]}"
    return step
