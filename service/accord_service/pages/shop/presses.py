"""A press of the shop: its data, its calibration plot, its readings, and the forms for both."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flask import Response, request

from accord_rules.documents import units
from accord_rules.orders.order import INSTRUMENTS
from accord_service.api.room import room
from accord_service.api.v1.delete_press_reading import delete_press_reading
from accord_service.api.v1.get_catalogue_entry import get_catalogue_entry
from accord_service.api.v1.get_press_reading import get_press_reading
from accord_service.api.v1.get_press_readings import get_press_readings
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_shop_press import get_shop_press
from accord_service.api.v1.post_press_reading_confirm import post_press_reading_confirm
from accord_service.api.v1.post_press_readings import post_press_readings
from accord_service.api.v1.put_shop_press import put_shop_press
from accord_service.http.problems import ChangedMeanwhile, NotFound, Problem
from accord_service.pages.shop.asking import REFUSALS, entries, status_of, titles
from accord_service.pages.shop.calibration import calibration_plot, state_of
from accord_service.pages.shop.forms import (
    ETAG,
    Form,
    Moved,
    at,
    leaves,
    moved_since,
    nested,
    seen_in,
    seen_text,
    with_unit,
    without_unit,
)
from accord_service.pages.shop.overview import press_findings, press_names
from accord_service.pages.shop.rooms import answered, is_check, led_to, shown
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
SPOTS_MOST = 25
# Where to read, for the first spots; the API keeps their order alone.
SPOTS = ("Middle", "Front left", "Front right", "Back left", "Back right")
_READING_FIELDS = ("display", *(f"surface/{place}" for place in range(SPOTS_MOST)), "taken_on", "instrument")
_ENTERERS = ("operator", "owner")

# What each field of a press's document is called.
LABELS = {
    "display_most": "Highest display setting",
    "platen width": "Heated platen, width",
    "platen height": "Heated platen, height",
    "opening": "How far it opens",
    "power": "Power",
    "voltage": "Voltage on its plate",
    "circuit rating": "Circuit, rating",
    "circuit voltage": "Circuit, voltage",
    "circuit other_load": "Circuit, what else runs on it",
    "circuit fuse": "Fuse in the plug",
    "circuit three_phase": "Circuit, three phases",
    "cylinder bore": "Cylinder, bore",
    "cylinder count": "Cylinders",
    "cylinder line_least": "Lowest line pressure",
    "cylinder line_most": "Highest line pressure",
}

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
        entries(visit, get_press_readings, {"press_id": press_id}),
        key=lambda reading: (reading["counts"], units.parse(units.TEMPERATURE, reading["display"])),
    )
    status, _ = status_of(visit)
    calibration = next((line for line in (status or {}).get("calibration", ()) if line["press"] == press_id), None)
    system = units.UNIT_SYSTEMS[shop["unit_system"]]
    by_id = {reading["reading_id"]: reading for reading in readings}
    kind = _press_type(visit, press["type"])
    return shown(
        "press",
        refused[1].status if refused is not None else answered(form),
        shop=shop,
        press=press,
        kind=kind,
        usual={
            name: _in_units(kind[name], units.TEMPERATURE_DIFFERENCE, system)
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
    said = {" ".join(path): text for path, text in leaves(rest)}
    yield from ((LABELS[name], said.pop(name)) for name in LABELS if name in said)
    yield from ((name.replace("_", " ").capitalize(), text) for name, text in said.items())


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


def _press_type(visit: Visit, name: str) -> Document:
    """The press's type as the book has it; its name alone where this revision does not have it."""
    try:
        entry: Document = visit.ask(get_catalogue_entry, path={"kind": "press_types", "name": name}).document["entry"]
    except NotFound:
        return {"title": name}
    return entry


def _in_units(text: str, dimension: units.Dimension, system: units.UnitPreferences) -> str:
    """A quantity of the book as the shop reads it."""
    return units.show(dimension, units.parse(dimension, text), system)


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


# -- its data ----------------------------------------------------------------------------------------------------------

PLATES = 4


def _fields(system: units.UnitPreferences) -> dict[str, str]:
    """Every field of a press's form, with the unit that stands beside it; empty for none."""
    sizes = [f"plates/{place}/{side}" for place in range(PLATES) for side in ("width", "height")]
    return {
        "type": "",
        "platen/width": system.length,
        "platen/height": system.length,
        "display_most": system.temperature,
        "opening": system.length,
        "power": "W",
        "voltage": "V",
        "circuit/rating": "A",
        "circuit/voltage": "V",
        "circuit/other_load": "W",
        "circuit/fuse": "A",
        "circuit/three_phase": "",
        "cylinder/bore": system.length,
        "cylinder/count": "",
        "cylinder/line_least": system.pressure,
        "cylinder/line_most": system.pressure,
        **dict.fromkeys(sizes, system.length),
    }


def _usual(visit: Visit, name: str, system: units.UnitPreferences) -> Iterator[tuple[str, str]]:
    """What is usual for a type of press, by the field of the form that it stands in for."""
    kind = _press_type(visit, name)
    dimensions = {
        "platen/width": units.LENGTH,
        "platen/height": units.LENGTH,
        "display_most": units.TEMPERATURE,
        "opening": units.LENGTH,
        "power": units.POWER,
    }
    for field, dimension in dimensions.items():
        if (text := at(kind, field)) is not None:
            yield field, _in_units(str(text), dimension, system)


@page("/shop/presses/<press_id>/edit", roles=("owner",))
def press_form(visit: Visit, press_id: str) -> Response:
    """The press's data, to be changed."""
    shop = visit.ask(get_shop).document
    told = visit.ask(get_shop_press, path={"press_id": press_id})
    system = units.UNIT_SYSTEMS[shop["unit_system"]]
    fields = _fields(system)
    values = {name: _field_text(told.document, name, unit) for name, unit in fields.items()}
    return _form_shown(visit, told.document, told.etag, Form.of(values), system)


@page("/shop/presses/<press_id>/edit", methods=("POST",), roles=("owner",))
def edit_press(visit: Visit, press_id: str) -> Response:
    """Replace the press's data; its readings stay."""
    shop, form = visit.ask(get_shop).document, Form.sent()
    there = visit.ask(get_shop_press, path={"press_id": press_id})
    system = units.UNIT_SYSTEMS[shop["unit_system"]]
    fields = _fields(system)
    document = _press_document(form, there.document, fields)
    if document == there.document:
        return led_to(f"/shop/presses/{press_id}")  # sent twice, or nothing was changed
    try:
        visit.ask(put_shop_press, path={"press_id": press_id}, document=document, if_match=form.value(ETAG))
    except ChangedMeanwhile as problem:
        moved = moved_since(seen_in(form), there.document)
        return _form_shown(visit, there.document, there.etag, form.refused(problem, ()), system, moved)
    except REFUSALS as problem:
        known = tuple(fields)
        return _form_shown(visit, there.document, form.value(ETAG), form.refused(problem, known, _in_form), system)
    return led_to(
        f"/shop/presses/{press_id}",
    )


def _form_shown(
    visit: Visit,
    press: Document,
    etag: str,
    form: Form,
    system: units.UnitPreferences,
    moved: tuple[Moved, ...] = (),
) -> Response:
    return shown(
        "press_form",
        form.status,
        press=press,
        form=form,
        units=_fields(system),
        plates=PLATES,
        types=titles(visit, "press_types"),
        usual={name: f"Usual: {text}" for name, text in _usual(visit, form.value("type") or press["type"], system)},
        etag=etag,
        seen=seen_text(press) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        strips=len(press.get("strips", ())),
    )


def _in_form(pointer: str) -> str:
    return pointer.removeprefix("/")


def _field_text(press: Document, name: str, unit: str) -> str:
    if name.startswith("plates/"):
        _, place, side = name.split("/")
        plates = press.get("plates", ())
        return without_unit(plates[int(place)][side], unit) if int(place) < len(plates) else ""
    value = at(press, name)
    return ("yes" if value else "") if isinstance(value, bool) else without_unit(value, unit)


def _press_document(form: Form, press: Document, fields: Mapping[str, str]) -> dict[str, Any]:
    """The press as it is, with what the form says of the fields that it has."""
    said: dict[str, Any] = {}
    for name, unit in fields.items():
        text = form.text(name)
        if name == "circuit/three_phase" or not text or name.startswith("plates/"):
            continue
        said[name] = int(text) if name == "cylinder/count" and text.isdigit() else with_unit(text, unit)
    if form.has("circuit/three_phase", "yes"):
        said["circuit/three_phase"] = True
    rest = {name: value for name, value in press.items() if name not in {field.split("/")[0] for field in fields}}
    plates = _plates(form, press, fields)
    return rest | nested(said) | ({"plates": plates} if plates else {})


def _plates(form: Form, press: Document, fields: Mapping[str, str]) -> list[Document]:
    """The plates that the form says; those beyond its rows stay."""
    typed = [
        {
            side: with_unit(form.text(f"plates/{place}/{side}"), fields[f"plates/{place}/{side}"])
            for side in ("width", "height")
            if form.text(f"plates/{place}/{side}")
        }
        for place in range(PLATES)
    ]
    return [*filter(None, typed), *press.get("plates", ())[PLATES:]]
