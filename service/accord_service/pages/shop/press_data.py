"""The data of a press: what it is called, the form for it, and a press that is new."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flask import Response

from accord_rules.documents import units
from accord_service.api.v1.get_catalogue_entry import get_catalogue_entry
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_shop_press import get_shop_press
from accord_service.api.v1.put_shop_press import put_shop_press
from accord_service.http.problems import ChangedMeanwhile, NotFound
from accord_service.pages.forms import (
    ETAG,
    Form,
    Moved,
    at,
    moved_since,
    nested,
    seen_in,
    seen_text,
    with_unit,
    without_unit,
)
from accord_service.pages.numbers import whole
from accord_service.pages.shop.asking import REFUSALS, replace_shop, titles
from accord_service.pages.shop.rooms import led_to, shown
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
# What each field of a press's document is called.
LABELS = {
    "display_most": "Highest display setting",
    "platen.width": "Heated platen, width",
    "platen.height": "Heated platen, height",
    "opening": "How far it opens",
    "power": "Power",
    "voltage": "Voltage on its plate",
    "circuit.rating": "Circuit, rating",
    "circuit.voltage": "Circuit, voltage",
    "circuit.other_load": "Circuit, what else runs on it",
    "circuit.fuse": "Fuse in the plug",
    "circuit.three_phase": "Circuit, three phases",
    "cylinder.bore": "Cylinder, bore",
    "cylinder.count": "Cylinders",
    "cylinder.line_least": "Lowest line pressure",
    "cylinder.line_most": "Highest line pressure",
}

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
    kind = press_type(visit, name)
    dimensions = {
        "platen/width": units.LENGTH,
        "platen/height": units.LENGTH,
        "display_most": units.TEMPERATURE,
        "opening": units.LENGTH,
        "power": units.POWER,
    }
    for field, dimension in dimensions.items():
        if (text := at(kind, field)) is not None:
            yield field, in_units(str(text), dimension, system)


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
    return led_to(f"/shop/presses/{press_id}")


@page("/shop/add-press", roles=("owner",))
def new_press_form(visit: Visit) -> Response:
    """An empty form for a press that is new."""
    told = visit.ask(get_shop)
    return _new_shown(visit, told.document, told.etag, Form())


@page("/shop/add-press", methods=("POST",), roles=("owner",))
def add_press(visit: Visit) -> Response:
    """Add a press to the shop."""
    form, there = Form.sent(), visit.ask(get_shop)
    fields = _fields(units.UNIT_SYSTEMS[there.document["unit_system"]])
    press = {"id": form.text("id")} | _press_document(form, {}, fields)
    try:
        replace_shop(visit, form, _press_ids, lambda shop: {**shop, "presses": [*shop["presses"], press]})
    except ChangedMeanwhile as problem:
        moved = moved_since(seen_in(form), _press_ids(there.document))
        return _new_shown(visit, there.document, there.etag, form.refused(problem, ()), moved)
    except REFUSALS as problem:
        place = f"/presses/{len(there.document['presses'])}/"
        refused = form.refused(problem, ("id", *fields), lambda pointer: f"{pointer}/".removeprefix(place).strip("/"))
        return _new_shown(visit, there.document, form.value(ETAG), refused)
    return led_to(f"/shop/presses/{press['id']}")


def _press_ids(shop: Document) -> Document:
    return {"presses": [press["id"] for press in shop["presses"]]}


def _new_shown(visit: Visit, shop: Document, etag: str, form: Form, moved: tuple[Moved, ...] = ()) -> Response:
    return shown(
        "press_form",
        form.status,
        press=None,
        form=form,
        units=_fields(units.UNIT_SYSTEMS[shop["unit_system"]]),
        plates=PLATES,
        types=titles(visit, "press_types"),
        usual={},
        etag=etag,
        seen=seen_text(_press_ids(shop)) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        strips=0,
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
        count = whole(text) if name == "cylinder/count" else None
        said[name] = with_unit(text, unit) if count is None else count
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


def press_type(visit: Visit, name: str) -> Document:
    """The press's type as the book has it; its name alone where this revision does not have it."""
    try:
        entry: Document = visit.ask(get_catalogue_entry, path={"kind": "press_types", "name": name}).document["entry"]
    except NotFound:
        return {"title": name}
    return entry


def in_units(text: str, dimension: units.Dimension, system: units.UnitPreferences) -> str:
    """A quantity of the book as the shop reads it."""
    return units.show(dimension, units.parse(dimension, text), system)
