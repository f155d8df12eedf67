"""Temperature strips on pieces under a press: what they read, and a form for one more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import Response

from accord_rules.documents import units
from accord_rules.documents.reading import DocumentError, read
from accord_rules.orders.order import Press
from accord_rules.revision.readings import Doubt
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_shop_press import get_shop_press
from accord_service.api.v1.put_shop_press import put_shop_press
from accord_service.http.problems import ChangedMeanwhile
from accord_service.pages.forms import ETAG, Form, Moved, moved_since, seen_in, seen_text, with_unit
from accord_service.pages.numbers import whole
from accord_service.pages.shop.asking import REFUSALS, titles
from accord_service.pages.shop.press_data import in_units
from accord_service.pages.shop.rooms import led_to, shown
from accord_service.pages.visit import Visit, page
from accord_service.steps.strips import STRIP_DOUBTS, doubts_of_strip

Document = Mapping[str, Any]
_DIMENSIONS = {
    "display": units.TEMPERATURE,
    "time": units.TIME,
    "read": units.TEMPERATURE,
    "thickness": units.LENGTH,
}
_FIELDS = (*_DIMENSIONS, "substrate", "cover")
_OWNER = ("owner",)


@page("/shop/presses/<press_id>/strips")
def strips_page(visit: Visit, press_id: str) -> Response:
    """What strips read under the press, and a form for one more."""
    told = visit.ask(get_shop_press, path={"press_id": press_id})
    return _shown(visit, told.document, told.etag, Form())


@page("/shop/presses/<press_id>/strips", methods=("POST",), roles=_OWNER)
def change_strips(visit: Visit, press_id: str) -> Response:
    """Add what a strip read, or take one away (``remove`` says which, counted from 0)."""
    form = Form.sent()
    told = visit.ask(get_shop_press, path={"press_id": press_id})
    removed = whole(form.value("remove"))
    before = seen_in(form)
    there = strips_of(told.document)
    # Made from what the form showed, so that one sent twice finds its work done, and what moved meanwhile is told.
    base = before if isinstance(before, list) else there
    kept = base if removed is None else [strip for place, strip in enumerate(base) if place != removed]
    wanted = kept if removed is not None else [*kept, _strip(form, _system(visit))]
    if wanted == there:
        return led_to(f"/shop/presses/{press_id}/strips")
    rest = {name: value for name, value in told.document.items() if name != "strips"}
    document = rest | ({"strips": wanted} if wanted else {})
    if removed is None and (doubts := _doubts_left(visit, told.document, wanted[-1], form)):
        return _shown(visit, told.document, form.value(ETAG), replace(form, doubts=doubts, status=422))
    etag = told.etag if before == there else form.value(ETAG)
    try:
        visit.ask(put_shop_press, path={"press_id": press_id}, document=document, if_match=etag)
    except ChangedMeanwhile as problem:
        moved = moved_since({"strips": before}, {"strips": there})
        return _shown(visit, told.document, told.etag, form.refused(problem, ()), moved)
    except REFUSALS as problem:
        place = f"/strips/{len(kept)}/"
        refused = form.refused(problem, _FIELDS, lambda pointer: f"{pointer}/".removeprefix(place).strip("/"))
        return _shown(visit, told.document, form.value(ETAG), refused)
    done = "removed" if removed is not None else "added"
    return led_to(f"/shop/presses/{press_id}/strips?{done}=yes")


def strips_of(press: Document) -> list[Document]:
    """The part of a press that this page shows."""
    return list(press.get("strips", ()))


def _strip(form: Form, system: units.UnitPreferences) -> dict[str, Any]:
    typed = {name: form.text(name) for name in _FIELDS if form.text(name)}
    field_units = {name: _unit(dimension, system) for name, dimension in _DIMENSIONS.items()}
    return {name: with_unit(text, field_units.get(name, "")) for name, text in typed.items()}


def _doubts_left(visit: Visit, press: Document, strip: Document, form: Form) -> dict[str, str]:
    """The doubts about a strip that nobody set aside, by their word; none of what can't be read, which the API says."""
    return {doubt.name: doubt.sentence for doubt in _doubts(visit, press, strip) if not form.has("despite", doubt.name)}


def _doubts(visit: Visit, press: Document, strip: Document) -> tuple[Doubt, ...]:
    try:
        return tuple(doubts_of_strip(strip, read(Press, press), visit.snapshot.book, _system(visit)))
    except DocumentError:
        return ()


def _unit(dimension: units.Dimension, system: units.UnitPreferences) -> str:
    return system.unit(dimension).symbol


def _system(visit: Visit) -> units.UnitPreferences:
    return units.UNIT_SYSTEMS[visit.ask(get_shop).document["unit_system"]]


def _in_words(strip: Document, known: Mapping[str, Mapping[str, str]], system: units.UnitPreferences) -> str:
    """What one strip read, in a sentence."""
    shown_in = {name: in_units(strip[name], of, system) for name, of in _DIMENSIONS.items() if name in strip}
    piece = known["substrates"].get(strip["substrate"], strip["substrate"]).lower()
    thick = f", {shown_in['thickness']} thick" if "thickness" in shown_in else ""
    under = f" under {known['consumables'].get(strip['cover'], strip['cover']).lower()}" if "cover" in strip else ""
    return (
        f"{shown_in['read']} on {piece}{thick}{under}, {shown_in['time']} after the press came down,"
        f" at a display of {shown_in['display']}"
    )


def _shown(visit: Visit, press: Document, etag: str, form: Form, moved: tuple[Moved, ...] = ()) -> Response:
    system = _system(visit)
    known = {kind: titles(visit, kind) for kind in ("substrates", "consumables")}
    strips = strips_of(press)
    return shown(
        "strips",
        form.status,
        press=press,
        strips=[
            (_in_words(strip, known, system), [doubt.sentence for doubt in _doubts(visit, press, strip)])
            for strip in strips
        ],
        doubt_names=STRIP_DOUBTS,
        units={name: _unit(dimension, system) for name, dimension in _DIMENSIONS.items()},
        substrates=sorted(known["substrates"].items(), key=lambda pair: pair[1]),
        consumables=sorted(known["consumables"].items(), key=lambda pair: pair[1]),
        form=form,
        etag=etag,
        seen=seen_text(strips) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        may=visit.may(put_shop_press),
    )
