"""What of a transfer's entry can't hold together: its windows, what physics leaves, its process and its sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Fault, escape
from accord_rules.orders.sheet import PRESSURES, SECOND, TimeSpan, pressings_said, sheet_faults
from accord_rules.revision.catalogue import (
    Pressing,
    Substrate,
    Transfer,
    Variant,
    before_print,
    dwell_bounds_of,
    pressings_of,
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
        yield from sheet_faults(transfer.sheet, "/sheet", pressings_of(transfer))
    shares = [blend.polyester for blend in transfer.by_polyester]
    if shares != sorted(set(shares)):
        yield Fault("/by_polyester", "shares must rise from one entry to the next", code="contradiction")
    for place, blend in enumerate(transfer.by_polyester):
        window, pointer = blend.temperature, f"/by_polyester/{place}/temperature"
        if not window.least <= window.aim <= window.most:
            yield Fault(pointer, out_of_order(window.least, window.aim, window.most), code="contradiction")
        yield from _beyond_bounds(window, pointer, units.TEMPERATURE, transfer.bounds.temperature)
    yield from _bad_press_aims(transfer, transfer, "")
    for name, variant in transfer.on.items():
        pointer = f"/on/{escape(name)}"
        yield from _bad_windows(variant, pointer)
        if name not in places:
            yield Fault(pointer, "no substrate or family of that name", places, refused=name, code="not-in-book")
        else:
            goods = substrates[name].family if name in substrates else name
            yield from _out_of_bounds(variant, pointer, transfer, dwell_bounds_of(transfer, name, goods))
        yield from _bad_press_aims(variant, transfer, pointer)
        sides = [aim.longer_side for aim in variant.aim_by_size]
        if sides != sorted(set(sides)):
            yield Fault(
                f"{pointer}/aim_by_size", "longer sides must rise from one entry to the next", code="contradiction"
            )


def _bad_windows(holder: Transfer | Variant, pointer: str) -> Iterator[Fault]:
    yield from _bad_spans(holder, pointer)
    pressure = holder.pressure
    if pressure is not None:
        words = (pressure.least, pressure.aim, pressure.most)
        ranks = [PRESSURES.index(word) for word in words]
        if ranks != sorted(ranks):
            yield Fault(
                f"{pointer}/pressure", "least {}, aim {}, most {} are out of order".format(*words), code="contradiction"
            )


def _bad_spans(holder: Transfer | Variant | Pressing, pointer: str) -> Iterator[Fault]:
    for field in ("temperature", "time"):
        window = getattr(holder, field)
        if window is not None and not window.least <= window.aim <= window.most:
            yield Fault(f"{pointer}/{field}", out_of_order(window.least, window.aim, window.most), code="contradiction")


def out_of_order(least: float, aim: float, most: float) -> str:
    """Says that three figures of a window are no least, aim and most."""
    return f"least {least:g}, aim {aim:g}, most {most:g} are out of order"


def _out_of_bounds(holder: Transfer | Variant, pointer: str, transfer: Transfer, dwell: TimeSpan) -> Iterator[Fault]:
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
    process = pressings_said(transfer.process)
    for name in process:
        pressing, pointer = getattr(transfer.process, name), f"/process/{name}"
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
    tack = transfer.process.tack
    if transfer.unprinted is not None and (tack is None or tack.temperature is None or tack.under_another):
        message = "goes with a tack that has a temperature of its own and does not stand in for the main pressing"
        yield Fault("/unprinted", message, code="contradiction")
    if set(SECOND) <= set(process):
        yield Fault("/process/again", "a second press is from the reverse or again, not both", code="contradiction")
    if set(SECOND) & set(process) and transfer.second_press == 0:
        yield Fault("/second_press", "a process with reverse or again has a second press", code="contradiction")
