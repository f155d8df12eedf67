"""The pressings beside the main one, for people: what is set for each, and what is usual."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from accord_rules.advise.heat_estimate import pressing_heat
from accord_rules.advise.ranges import dwells, temperatures
from accord_rules.derive.case import Case
from accord_rules.derive.process import Closing, Wanted, pressure_words
from accord_rules.documents import units
from accord_rules.documents.writing import quantity
from accord_rules.orders.sheet import lies_in
from accord_rules.verdict import ExplainedPressing, PressingWindows, TemperatureRange


def windows(case: Case) -> Iterator[PressingWindows]:
    """What is usual for each pressing that the process has here."""
    chosen = {pressing.name for pressing in case.chosen.pressings} if case.chosen is not None else set()
    for wanted in case["process.wanted"]:
        if wanted.name in chosen:
            yield PressingWindows(
                name=wanted.name,
                temperature_window=_temperatures(case, wanted),
                time_window=dwells(wanted.time.least, wanted.time.most),
            )


def _temperatures(case: Case, wanted: Wanted) -> TemperatureRange | None:
    if wanted.temperature is None:
        return None
    display_c = case["press.calibration"].display_c
    return temperatures(display_c(wanted.temperature.least), display_c(wanted.temperature.most), case.shop.units)


def explained(case: Case) -> tuple[ExplainedPressing, ...]:
    """Each pressing beside the main one that is done, with all that is set for it."""
    usual = {window.name: window for window in windows(case)}
    closings: tuple[Closing, ...] = case["process.closings"]
    shown = partial(quantity, preferences=case.shop.units)
    return tuple(
        ExplainedPressing(
            name=closing.name,
            temperature_window=usual[closing.name].temperature_window,
            time_window=usual[closing.name].time_window,
            lies=lies_in(closing.name),
            temperature=shown(units.TEMPERATURE, closing.display_c or 0.0),
            temperature_c=closing.display_c or 0.0,
            time=shown(units.TIME, closing.time_s),
            time_s=closing.time_s,
            pressure_shown=pressure_words(closing.pressure, case["press.hand_held"], case.shop.units),
            peel=closing.peel,
            cover=closing.cover,
            heat=pressing_heat(case, closing.name),
        )
        for closing in closings
        if closing.name != "main"
    )
