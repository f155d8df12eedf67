"""The shop's stock: what it keeps, what is out of use, and its own makers' sheets; its samples on record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from flask import Response, request

from accord_rules.documents import units
from accord_rules.orders.sheet import BESIDE_MAIN
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.put_shop import put_shop
from accord_service.http.problems import ChangedMeanwhile, NotFound, Problem
from accord_service.pages.forms import (
    ETAG,
    Form,
    Moved,
    moved_since,
    nested,
    seen_in,
    seen_text,
    with_unit,
    without_unit,
)
from accord_service.pages.shop.asking import REFUSALS, replace_shop, status_of, titles
from accord_service.pages.shop.rooms import led_to, shown
from accord_service.pages.visit import Visit, page
from accord_service.steps.readable import in_words, leaves

Document = Mapping[str, Any]
SHELVES = ("products", "consumables")
KEPT, WITHDRAWN = "kept", "withdrawn"
_OWNER = ("owner",)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One thing of the book, or one that the shop names though the book has it no more (``known``)."""

    name: str
    title: str
    shelf: str
    kept: bool
    withdrawn: bool
    sheet: bool
    known: bool
    faults: tuple[str, ...]


@page("/shop/stock")
def stock_page(visit: Visit) -> Response:
    """What the shop keeps, with a switch each; its sheets and its samples."""
    told = visit.ask(get_shop)
    stock = told.document["stock"]
    form = Form.of({KEPT: [*stock["products"], *stock["consumables"]], WITHDRAWN: stock.get("withdrawn", ())})
    return _stock_shown(visit, told.document, told.etag, form)


@page("/shop/stock", methods=("POST",), roles=_OWNER)
def change_stock(visit: Visit) -> Response:
    """Write what is kept and what is out of use."""
    form = Form.sent()
    there = visit.ask(get_shop)
    try:
        replace_shop(visit, form, shelves_of, lambda shop: _with_stock(shop, form, visit))
    except ChangedMeanwhile as problem:
        moved = moved_since(seen_in(form), shelves_of(there.document))
        return _stock_shown(visit, there.document, there.etag, form.refused(problem, ()), moved)
    except REFUSALS as problem:
        refused = form.refused(problem, (), faults=())
        return _stock_shown(visit, there.document, form.value(ETAG), refused, problem=problem)
    return led_to("/shop/stock?written=yes")


def shelves_of(shop: Document) -> Document:
    """The part of a shop that the form of its stock shows."""
    stock = shop["stock"]
    return {"products": stock["products"], "consumables": stock["consumables"], "withdrawn": stock.get("withdrawn", [])}


def _with_stock(shop: Document, form: Form, visit: Visit) -> dict[str, Any]:
    """The shop with the stock that was chosen; what stays keeps its place, what comes in is added behind it."""
    stock, chosen, gone = shop["stock"], form.values.get(KEPT, ()), form.values.get(WITHDRAWN, ())
    shelves = {
        shelf: _kept_order(stock[shelf], [name for name in chosen if name in stock[shelf] or name in of_book])
        for shelf, of_book in ((shelf, titles(visit, shelf)) for shelf in SHELVES)
    }
    rest = {name: value for name, value in stock.items() if name != "withdrawn"}
    withdrawn = _kept_order(stock.get("withdrawn", []), list(gone))
    return {**shop, "stock": rest | shelves | ({"withdrawn": withdrawn} if withdrawn else {})}


def _kept_order(before: list[str], chosen: list[str]) -> list[str]:
    return [*(name for name in before if name in chosen), *(name for name in chosen if name not in before)]


def _stock_shown(
    visit: Visit,
    shop: Document,
    etag: str,
    form: Form,
    moved: tuple[Moved, ...] = (),
    problem: Problem | None = None,
) -> Response:
    of_book = {shelf: titles(visit, shelf) for shelf in SHELVES}
    families = titles(visit, "transfers")
    status, _ = status_of(visit)
    sheets = shop["stock"].get("sheets", {})
    gone = [name for name in shop["stock"].get("withdrawn", ()) if not any(name in shelf for shelf in of_book.values())]
    lines = [
        line
        for shelf, unknown in zip(SHELVES, (gone, ()), strict=True)
        for line in _lines(shelf, of_book[shelf], unknown, shop, form, problem)
    ]
    every = of_book["products"] | families
    return shown(
        "stock",
        form.status,
        shop=shop,
        form=form,
        etag=etag,
        seen=seen_text(shelves_of(shop)) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        groups=tuple(_groups(lines)),
        sheets=[(name, every.get(name, name), sheet_in_words(sheet)) for name, sheet in sheets.items()],
        may_have_sheet=sorted(
            [(name, title) for name, title in every.items() if name not in sheets], key=lambda pair: pair[1]
        ),
        samples=(status or {}).get("samples", ()),
        may=visit.may(put_shop),
    )


def _lines(
    shelf: str,
    of_book: Mapping[str, str],
    unknown: Iterable[str],
    shop: Document,
    form: Form,
    problem: Problem | None,
) -> Iterator[StockLine]:
    """``unknown``: what is out of use and on no shelf of the book any more."""
    stock = shop["stock"]
    for name in dict.fromkeys([*of_book, *stock[shelf], *unknown]):
        faults = [fault.message for fault in (problem.faults if problem is not None else ()) if fault.refused == name]
        yield StockLine(
            name=name,
            title=of_book.get(name, name),
            shelf=shelf,
            kept=form.has(KEPT, name),
            withdrawn=form.has(WITHDRAWN, name),
            sheet=name in stock.get("sheets", {}),
            known=name in of_book,
            faults=tuple(faults),
        )


def _groups(lines: list[StockLine]) -> Iterator[tuple[str, str, tuple[StockLine, ...]]]:
    """Word, heading and lines: what is kept or out of use first, then the rest of the book."""
    for shelf in SHELVES:
        ours = tuple(line for line in lines if line.shelf == shelf and (line.kept or line.withdrawn or not line.known))
        rest = tuple(line for line in lines if line.shelf == shelf and line not in ours)
        one = "Transfer products" if shelf == "products" else "Sheets, pads and tapes"
        yield f"{shelf}-ours", f"{one} of the shop", ours
        yield f"{shelf}-rest", f"{one} that it does not keep", rest


# -- sheets ------------------------------------------------------------------------------------------------------------

_SPANS = ("temperature", "time")
_PLAIN = ("read_at", "press", "pressure", "edition")
_LISTS = ("peel", "cover", "pad")
_TIMES = ("pre_press", "second_press")
# What each pressing beside the main one is for, in words.
PRESSING_WORDS = {
    "marry": "Marrying: two sheets are pressed together",
    "adhesive": "Adhesive first",
    "tack": "Tacking: just long enough to stay where it lies",
    "reverse": "From the back of the piece",
    "again": "Once more after the peel",
}
_ENDS = tuple(f"{name}/{end}" for name in _SPANS for end in ("least", "most"))
_OF_PRESSING = ("pressure", "peel", "cover")
_BESIDE = tuple(f"pressings/{name}/" for name in BESIDE_MAIN)
_SHEET_FIELDS = (
    *_ENDS,
    *_PLAIN,
    *_LISTS,
    *_TIMES,
    *(f"{pressing}{field}" for pressing in _BESIDE for field in (*_ENDS, *_OF_PRESSING)),
)


@page("/shop/stock/sheets")
def choose_sheet(visit: Visit) -> Response:
    """To the sheet of the product that was chosen."""
    return led_to(f"/shop/stock/sheets/{request.args.get('of', '')}" if request.args.get("of") else "/shop/stock")


@page("/shop/stock/sheets/<name>")
def sheet_page(visit: Visit, name: str) -> Response:
    """One product's sheet as the shop has it, or an empty form for one."""
    told = visit.ask(get_shop)
    sheet = sheet_of(told.document, name) or {}
    return _sheet_shown(visit, name, told.document, told.etag, Form.of(_sheet_values(sheet, _system(told.document))))


@page("/shop/stock/sheets/<name>", methods=("POST",), roles=_OWNER)
def write_sheet(visit: Visit, name: str) -> Response:
    """Write the sheet, or take it away (``do`` is ``remove``)."""
    form, there = Form.sent(), visit.ask(get_shop)
    _title(visit, name)
    removed = form.value("do") == "remove"
    sheet = None if removed else _sheet_document(form, _system(there.document))
    try:
        replace_shop(visit, form, lambda shop: sheet_of(shop, name), lambda shop: _with_sheet(shop, name, sheet))
    except ChangedMeanwhile as problem:
        moved = moved_since(seen_in(form) or {}, sheet_of(there.document, name) or {})
        return _sheet_shown(visit, name, there.document, there.etag, form.refused(problem, ()), moved)
    except REFUSALS as problem:
        place = f"/stock/sheets/{name}/"
        refused = form.refused(problem, _SHEET_FIELDS, lambda pointer: f"{pointer}/".removeprefix(place).strip("/"))
        return _sheet_shown(visit, name, there.document, form.value(ETAG), refused)
    return led_to("/shop/stock?written=yes#sheets")


def sheet_of(shop: Document, name: str) -> Any:
    """The shop's own sheet of a product or family; None for none."""
    return shop["stock"].get("sheets", {}).get(name)


def sheet_in_words(sheet: Document) -> str:
    """The main settings of a sheet in a line."""
    heat = [_span(sheet[name]) for name in _SPANS if name in sheet]
    if "temperature" in sheet:
        heat[0] += " on the platen's surface" if sheet.get("read_at") == "surface" else " on the display"
    more = [f"{sheet['pressure']} pressure"] if "pressure" in sheet else []
    more += [f"peeled {' or '.join(sheet['peel'])}"] if "peel" in sheet else []
    more += [f"edition {sheet['edition']}"] if "edition" in sheet else []
    return ", ".join([" for ".join(heat), *more] if heat else more) or "see the sheet"


def _span(value: Any) -> str:
    return f"{value['least']} to {value['most']}" if isinstance(value, Mapping) else str(value)


def _with_sheet(shop: Document, name: str, sheet: Document | None) -> dict[str, Any]:
    sheets = {other: kept for other, kept in shop["stock"].get("sheets", {}).items() if other != name}
    if sheet is not None:
        sheets[name] = sheet
    rest = {field: value for field, value in shop["stock"].items() if field != "sheets"}
    return {**shop, "stock": rest | ({"sheets": sheets} if sheets else {})}


def _sheet_values(sheet: Document, system: units.UnitPreferences) -> dict[str, str | list[str]]:
    values: dict[str, str | list[str]] = {name: str(sheet.get(name, "")) for name in _PLAIN}
    values |= _span_values(sheet, "", system)
    for name, pressing in sheet.get("pressings", {}).items():
        place = f"pressings/{name}/"
        values |= _span_values(pressing, place, system)
        values |= {f"{place}{field}": str(pressing.get(field, "")) for field in _OF_PRESSING}
    values |= {name: without_unit(sheet.get(name), "s") for name in _TIMES}
    values |= {f"no-{name}": "yes" for name in ("cover", "pad") if sheet.get(name) == []}
    return values | {name: list(sheet.get(name, ())) for name in _LISTS}


def _sheet_document(form: Form, system: units.UnitPreferences) -> dict[str, Any]:
    """The sheet that was typed. An empty upper end is one figure; a pressing of which nothing is said is left out."""
    said: dict[str, Any] = {name: form.text(name) for name in _PLAIN if form.text(name)} | _spans(form, "", system)
    for place in _BESIDE:
        said |= _spans(form, place, system)
        said |= {f"{place}{field}": form.text(f"{place}{field}") for field in _OF_PRESSING if form.text(place + field)}
    said |= {name: with_unit(form.text(name), "s") for name in _TIMES if form.text(name)}
    said |= {name: list(form.values[name]) for name in _LISTS if form.values.get(name)}
    # "None needed" is an empty list, which no tick can say.
    said |= {name: [] for name in ("cover", "pad") if form.value(f"no-{name}") and name not in said}
    return nested(said)


def _span_values(said: Document, place: str, system: units.UnitPreferences) -> dict[str, str]:
    """The ends of temperature and time as their fields show them; of one figure the lower."""
    values: dict[str, str] = {}
    for name, unit in zip(_SPANS, (system.temperature, "s"), strict=True):
        span = said.get(name)
        ends = span if isinstance(span, Mapping) else {"least": span}
        values |= {f"{place}{name}/{end}": without_unit(ends.get(end), unit) for end in ("least", "most")}
    return values


def _spans(form: Form, place: str, system: units.UnitPreferences) -> dict[str, str]:
    said: dict[str, str] = {}
    for name, unit in zip((f"{place}{name}" for name in _SPANS), (system.temperature, "s"), strict=True):
        ends = {end: with_unit(form.text(f"{name}/{end}"), unit) for end in ("least", "most")}
        if ends["least"] and not ends["most"]:
            said[name] = ends["least"]
        else:
            said |= {f"{name}/{end}": text for end, text in ends.items() if text}
    return said


def _sheet_shown(
    visit: Visit, name: str, shop: Document, etag: str, form: Form, moved: tuple[Moved, ...] = ()
) -> Response:
    sheet = sheet_of(shop, name)
    return shown(
        "sheet",
        form.status,
        name=name,
        title=_title(visit, name),
        there=sheet is not None,
        said=tuple((in_words(place), value) for place, value in leaves(sheet or {})),
        pressings=[(name, PRESSING_WORDS[name]) for name in BESIDE_MAIN],
        form=form,
        etag=etag,
        seen=seen_text(sheet) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        unit=_system(shop).temperature,
        types=titles(visit, "press_types"),
        consumables=titles(visit, "consumables"),
        may=visit.may(put_shop),
    )


def _title(visit: Visit, name: str) -> str:
    """What the product or family is. Raises NotFound."""
    every = titles(visit, "products") | titles(visit, "transfers")
    if name not in every:
        raise NotFound.in_book("name", "transfer or product", name, every)
    return every[name]


def _system(shop: Document) -> units.UnitPreferences:
    return units.UNIT_SYSTEMS[shop["unit_system"]]
