"""What of a transfer's entry can't hold together: its windows, what physics leaves, its process and its sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Fault, Number, Object, Quantity, Reader, Whole, escape, readers_of
from accord_rules.orders.sheet import PRESSURES, SECOND, TimeSpan, pressings_said
from accord_rules.revision.catalogue import (
    MainPressing,
    Pressing,
    ProductSheet,
    Substrate,
    Transfer,
    Variant,
    before_print,
    dwell_bounds_of,
    process_of,
    second_press_of,
)


def impossible(transfer: Transfer, substrates: Mapping[str, Substrate]) -> Iterator[Fault]:
    """Every contradiction in a family's or product's entry."""
    places = tuple(
        {**dict.fromkeys(substrates), **dict.fromkeys(substrate.family for substrate in substrates.values())}
    )
    yield from _bad_windows(transfer, "")
    yield from _out_of_bounds(transfer, "", transfer, transfer.bounds.time)
    yield from _bad_process(transfer)
    if transfer.unprinted is not None:
        alone = before_print(transfer)
        yield from _out_of_bounds(alone, "/process/tack", alone, alone.bounds.time)
    if transfer.sheet is not None:
        yield from _bad_sheet(transfer.sheet, transfer)
    shares = [blend.polyester for blend in transfer.by_polyester]
    if shares != sorted(set(shares)):
        yield Fault("/by_polyester", "shares must rise from one entry to the next", code="contradiction")
    for place, blend in enumerate(transfer.by_polyester):
        window, pointer = blend.temperature, f"/by_polyester/{place}/temperature"
        if not window.least <= window.aim <= window.most:
            yield Fault(pointer, out_of_order(window.least, window.aim, window.most), code="contradiction")
        yield from _beyond_bounds(window, pointer, units.TEMPERATURE, transfer.bounds.temperature)
    yield from _bad_press_aims(transfer, transfer, "")
    sheets = {} if transfer.sheet is None else transfer.sheet.on
    for holder, on in (("/on", transfer.on), ("/sheet/on", sheets)):
        for name, here in on.items():
            pointer = f"{holder}/{escape(name)}"
            yield from _bad_windows(here, pointer)
            if name not in places:
                yield Fault(pointer, "no substrate or family of that name", places, refused=name, code="not-in-book")
            else:
                goods = substrates[name].family if name in substrates else name
                yield from _out_of_bounds(here, pointer, transfer, dwell_bounds_of(transfer, name, goods))
    for name, variant in transfer.on.items():
        pointer = f"/on/{escape(name)}"
        yield from _bad_press_aims(variant, transfer, pointer)
        sides = [aim.longer_side for aim in variant.aim_by_size]
        if sides != sorted(set(sides)):
            yield Fault(
                f"{pointer}/aim_by_size", "longer sides must rise from one entry to the next", code="contradiction"
            )


def _bad_sheet(sheet: ProductSheet, transfer: Transfer) -> Iterator[Fault]:
    """What of a product's sheet can't hold together, beside what it says on single substrates."""
    if sheet == ProductSheet(sources=sheet.sources, note=sheet.note, edition=sheet.edition):
        yield Fault("/sheet", "says nothing", _SHEET_SAYS, code="required")
    for pointer, holder in (("/sheet", sheet), *((f"/sheet/on/{escape(on)}", here) for on, here in sheet.on.items())):
        if holder.peel is not None and "none" in holder.peel and len(holder.peel) > 1:
            yield Fault(f"{pointer}/peel", "none goes with no other peel", code="contradiction")
    yield from _bad_windows(sheet, "/sheet")
    yield from _out_of_bounds(sheet, "/sheet", transfer, transfer.bounds.time)


def not_its_own(table: Mapping[str, Any]) -> Iterator[Fault]:
    """What a product's own table may not say, or not without a source. What is no table is told elsewhere."""
    for field, home in _OF_SHEETS.items():
        if field in table:
            message = f"is how its maker has it pressed, and stands in its sheet: {home}"
            yield Fault(f"/{field}", message, code="not-allowed")
    sources_of = table.get("sources_of")
    named = sources_of if isinstance(sources_of, Mapping) else {}
    for field in table:
        if field in _NUMBERS and field not in named and not _names_sources(table[field]):
            yield Fault(f"/sources_of/{field}", "is required: the number is the product's own", code="required")
    for field in named:
        if field not in table:
            message = "names the source of a number that the product does not say itself"
            yield Fault(f"/sources_of/{escape(field)}", message, code="contradiction")


def _names_sources(value: Any) -> bool:
    return isinstance(value, Mapping) and ("sources" in value or any(map(_names_sources, value.values())))


def _holds_number(reader: Reader) -> bool:
    if isinstance(reader, Object):
        return any(map(_holds_number, (inside for inside, _ in readers_of(reader.into).values())))
    return isinstance(reader, Quantity | Number | Whole)


# What of a product's table its sheet says, and where.
_OF_SHEETS: Mapping[str, str] = MappingProxyType(
    {
        **{name: f"/sheet/{name}" for name in readers_of(MainPressing) if name != "note"},
        "second_press": "/sheet/second_press",
        "process": "/sheet/pressings",
        "on": "/sheet/on",
        "by_polyester": "/sheet/temperature",
        "by_press": "/sheet/temperature",
    }
)
_SHEET_SAYS = tuple(name for name in readers_of(ProductSheet) if name not in ("note", "sources", "edition"))
# The collective's own ratings are its choice, as the book says once for all.
_RATINGS = ("durability", "hand", "cost")
_NUMBERS = frozenset(
    name
    for name, (reader, _) in readers_of(Transfer).items()
    if _holds_number(reader) and name not in (*_OF_SHEETS, *_RATINGS, "sheet")
)


def _bad_windows(holder: Transfer | MainPressing, pointer: str) -> Iterator[Fault]:
    yield from _bad_spans(holder, pointer)
    pressure = holder.pressure
    if pressure is not None:
        words = (pressure.least, pressure.aim, pressure.most)
        ranks = [PRESSURES.index(word) for word in words]
        if ranks != sorted(ranks):
            yield Fault(
                f"{pointer}/pressure", "least {}, aim {}, most {} are out of order".format(*words), code="contradiction"
            )


def _bad_spans(holder: Transfer | MainPressing | Pressing, pointer: str) -> Iterator[Fault]:
    for field in ("temperature", "time"):
        window = getattr(holder, field)
        if window is not None and not window.least <= window.aim <= window.most:
            yield Fault(f"{pointer}/{field}", out_of_order(window.least, window.aim, window.most), code="contradiction")


def out_of_order(least: float, aim: float, most: float) -> str:
    """Says that three figures of a window are no least, aim and most."""
    return f"least {least:g}, aim {aim:g}, most {most:g} are out of order"


def _out_of_bounds(
    holder: Transfer | MainPressing, pointer: str, transfer: Transfer, dwell: TimeSpan
) -> Iterator[Fault]:
    """Windows that reach where physics forbids it."""
    bounds: tuple[tuple[str, units.Dimension, Any], ...] = (
        ("temperature", units.TEMPERATURE, transfer.bounds.temperature),
        ("time", units.TIME, dwell),
    )
    for field, dimension, bound in bounds:
        window = getattr(holder, field)
        if window is not None:
            yield from _beyond_bounds(window, f"{pointer}/{field}", dimension, bound)


def _beyond_bounds(window: Any, pointer: str, dimension: units.Dimension, bound: Any) -> Iterator[Fault]:
    if not bound.least <= window.least <= window.most <= bound.most:
        ends = (window.least, window.most, bound.least, bound.most)
        message = "{} to {} reaches beyond the bounds, {} to {}".format(*(units.show(dimension, e) for e in ends))
        yield Fault(pointer, message, code="contradiction")


def _bad_press_aims(holder: Transfer | Variant, transfer: Transfer, pointer: str) -> Iterator[Fault]:
    """Aims on a type of press that lie outside the window they are in."""
    temperature, time = holder.temperature or transfer.temperature, holder.time or transfer.time
    for press, aim in holder.by_press.items():
        at = f"{pointer}/by_press/{escape(press)}"
        if not temperature.least <= aim.temperature <= temperature.most:
            message = f"{units.show(units.TEMPERATURE, aim.temperature)} lies outside the window"
            yield Fault(f"{at}/temperature", message, code="contradiction")
        if aim.time is not None and not time.least <= aim.time <= time.most:
            yield Fault(
                f"{at}/time", f"{units.show(units.TIME, aim.time)} lies outside the window", code="contradiction"
            )


def _bad_process(transfer: Transfer) -> Iterator[Fault]:
    """Pressings that contradict each other or the transfer."""
    by_sheet = pressings_said(transfer.sheet.pressings) if transfer.sheet is not None else ()
    whole = process_of(transfer)
    process = pressings_said(whole)
    for name in process:
        pressing = getattr(whole, name)
        pointer = f"/sheet/pressings/{name}" if name in by_sheet else f"/process/{name}"
        yield from _bad_spans(pressing, pointer)
        if (pressing.time is None) is not (name in SECOND):
            message = "second_press says it" if name in SECOND else "is required"
            yield Fault(f"{pointer}/time", message, code="contradiction" if name in SECOND else "required")
        if pressing.under_another and name != "tack":
            yield Fault(f"{pointer}/under_another", "only a tack stands in for the main pressing", code="contradiction")
    if ("marry" in process) is not (transfer.sheets == 2):
        yield Fault("/process/marry", "goes with a transfer of two sheets, and with no other", code="contradiction")
    if "tack" in process and transfer.principle == "dye-vapour":
        yield Fault("/process/tack", "dye is never tacked: it prints as soon as it is hot", code="contradiction")
    tack = whole.tack
    if transfer.unprinted is not None and (tack is None or tack.temperature is None or tack.under_another):
        message = "goes with a tack that has a temperature of its own and does not stand in for the main pressing"
        yield Fault("/unprinted", message, code="contradiction")
    if set(SECOND) <= set(process):
        yield Fault("/process/again", "a second press is from the reverse or again, not both", code="contradiction")
    if set(SECOND) & set(process) and second_press_of(transfer) == 0:
        yield Fault("/second_press", "a process with reverse or again has a second press", code="contradiction")
