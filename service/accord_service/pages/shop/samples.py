"""A sample on record: a form for what was pressed and what came of it, and the way to take one off the record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from accord_rules.documents import typed, units
from accord_rules.orders.order import DYES, NO_LABEL
from accord_rules.orders.sheet import PRESSURES
from accord_rules.orders.shop import FAILURES
from accord_service.api.room import room
from accord_service.api.v1.get_shop import get_shop
from accord_service.http.problems import ChangedMeanwhile, NotFound
from accord_service.pages.forms import ETAG, Form, Moved, moved_since, nested, seen_in, seen_text, with_unit
from accord_service.pages.numbers import whole
from accord_service.pages.shop.asking import REFUSALS, replace_shop, titles
from accord_service.pages.shop.rooms import led_to, shown
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
_OWNER = ("owner",)
_PLAIN = (
    "id",
    "transfer",
    "press",
    "pressed_on",
    "by",
    "lot",
    "read_at",
    "peel",
    "piece/blank",
    "piece/substrate",
    "piece/colour",
    "piece/coating",
    "piece/dye",
)
_FIBRES, _DOTS, _EDITION = "piece/fibres", "piece/care/iron", "piece/care/edition"
_WASHES, _PALETTE, _FAILURES, _FINISHES = "washes", "palette", "failures", "piece/finishes"


def _quantities(system: units.UnitPreferences) -> dict[str, str]:
    """Every quantity of the form, with the unit that stands beside it."""
    return {
        "temperature": system.temperature,
        "time": "s",
        "pressure": system.pressure,
        "looked_at_after": "h",
        "piece/mass_per_area": system.area_density,
        "piece/thickness": system.length,
        "piece/diameter": system.length,
    }


@page("/shop/stock/samples/add", roles=_OWNER)
def sample_form(visit: Visit) -> Response:
    """An empty form for a sample that was pressed."""
    told = visit.ask(get_shop)
    values = {"pressed_on": room().today.isoformat(), "by": visit.caller.holder or ""}
    return _shown(visit, told.document, told.etag, Form.of(values))


@page("/shop/stock/samples/add", methods=("POST",), roles=_OWNER)
def add_sample(visit: Visit) -> Response:
    """Put a sample on record."""
    form, there = Form.sent(), visit.ask(get_shop)
    try:
        sample = _document(form, units.UNIT_SYSTEMS[there.document["unit_system"]])
    except typed.TypedError as error:
        return _shown(visit, there.document, form.value(ETAG), form.wrong(_FIBRES, f"It {error}."))
    before = seen_in(form)
    known = before if isinstance(before, list) else samples_of(there.document)
    try:
        # On what the form showed, so that one that is sent twice finds its work done.
        replace_shop(visit, form, samples_of, lambda shop: _with_samples(shop, [*known, sample]))
    except ChangedMeanwhile as problem:
        moved = moved_since({"samples": before}, {"samples": samples_of(there.document)})
        return _shown(visit, there.document, there.etag, form.refused(problem, ()), moved)
    except REFUSALS as problem:
        place = f"/samples/{len(known)}/"
        fields = (
            *_PLAIN,
            *_quantities(units.METRIC),
            _FIBRES,
            _DOTS,
            _EDITION,
            _WASHES,
            _PALETTE,
            _FAILURES,
            _FINISHES,
        )
        refused = form.refused(problem, fields, lambda pointer: f"{pointer}/".removeprefix(place).strip("/"))
        return _shown(visit, there.document, form.value(ETAG), refused)
    return led_to("/shop/stock?written=yes#samples")


@page("/shop/stock/samples/<sample_id>/remove", roles=_OWNER)
def remove_sample_page(visit: Visit, sample_id: str) -> Response:
    """Ask once more before a sample is taken off the record."""
    told = visit.ask(get_shop)
    return _asked_once_more(told.document, told.etag, sample_id, Form())


@page("/shop/stock/samples/<sample_id>/remove", methods=("POST",), roles=_OWNER)
def remove_sample(visit: Visit, sample_id: str) -> Response:
    """Take the sample off the record."""
    form, there = Form.sent(), visit.ask(get_shop)

    def without(shop: Document) -> dict[str, Any]:
        return _with_samples(shop, [sample for sample in samples_of(shop) if sample["id"] != sample_id])

    try:
        replace_shop(visit, form, lambda shop: _sample(shop, sample_id), without)
    except REFUSALS as problem:
        return _asked_once_more(there.document, there.etag, sample_id, form.refused(problem, ()))
    return led_to("/shop/stock?written=yes#samples")


def samples_of(shop: Document) -> list[Document]:
    """The part of a shop that these pages change."""
    return list(shop.get("samples", ()))


def _sample(shop: Document, sample_id: str) -> Document | None:
    return next((sample for sample in samples_of(shop) if sample["id"] == sample_id), None)


def _with_samples(shop: Document, samples: list[Document]) -> dict[str, Any]:
    rest = {name: value for name, value in shop.items() if name != "samples"}
    return rest | ({"samples": samples} if samples else {})


def _document(form: Form, system: units.UnitPreferences) -> dict[str, Any]:
    """The sample that was typed. Raises typed.TypedError for fibres that are no shares."""
    said: dict[str, Any] = {name: form.text(name) for name in _PLAIN if form.text(name)}
    for name, unit in _quantities(system).items():
        if text := form.text(name):
            said[name] = text if name == "pressure" and text in PRESSURES else with_unit(text, unit)
    if fibres := form.text(_FIBRES):
        said[_FIBRES] = typed.shares(fibres)
    said |= _care(form)
    if washes := form.text(_WASHES):
        said[_WASHES] = washes if (count := whole(washes)) is None else count
    if palette := [colour.strip() for colour in form.value(_PALETTE).split(",") if colour.strip()]:
        said[_PALETTE] = palette
    if finishes := list(form.values.get(_FINISHES, ())):
        said[_FINISHES] = finishes
    return {"piece": {}} | nested(said) | {_FAILURES: list(form.values.get(_FAILURES, ()))}


def _care(form: Form) -> dict[str, Any]:
    """What is said of the care label: none, or its dots and edition; nothing where it is left open."""
    dots = form.text(_DOTS)
    if dots in ("", NO_LABEL):
        return {"piece/care": NO_LABEL} if dots else {}
    numbers = {name: form.text(name) for name in (_DOTS, _EDITION) if form.text(name)}
    return {name: text if (number := whole(text)) is None else number for name, text in numbers.items()}


def _asked_once_more(shop: Document, etag: str, sample_id: str, form: Form) -> Response:
    sample = _sample(shop, sample_id)
    if sample is None:
        raise NotFound(f"Your shop has no sample {sample_id:.60} on record.")
    return shown("remove_sample", form.status, sample=sample, form=form, etag=etag, seen=seen_text(sample))


def _shown(visit: Visit, shop: Document, etag: str, form: Form, moved: tuple[Moved, ...] = ()) -> Response:
    system = units.UNIT_SYSTEMS[shop["unit_system"]]
    stocked = shop["stock"]["products"]
    products, families = titles(visit, "products"), titles(visit, "transfers")
    kinds = {kind: titles(visit, kind).items() for kind in ("blanks", "substrates", "coatings", "finishes")}
    return shown(
        "sample",
        form.status,
        shop=shop,
        form=form,
        etag=etag,
        seen=seen_text(samples_of(shop)) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        units=_quantities(system),
        transfers=[(name, products.get(name, name)) for name in stocked]
        + [(name, f"{title} (the family)") for name, title in families.items()],
        kinds=kinds,
        presses=[(press["id"], press["id"]) for press in shop["presses"]],
        dyes=[(dye, dye.replace("-", " ")) for dye in DYES],
        failures=[(failure, failure.replace("-", " ")) for failure in FAILURES],
        no_label=NO_LABEL,
    )
