"""The pressings of a decoration's process: which it has here, what each wants, and what is set for each.

Two sheets are married, an adhesive goes on first, a lower film is only tacked, stones and patches are pressed from the
reverse, many films once more after the peel. Facts of a pressing that is not part of the process say 0 s, no cover and
no peel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise
from math import inf
from types import MappingProxyType
from typing import Any, NamedTuple

from accord_rules.derive.chosen import ChosenPressing
from accord_rules.derive.covers import Consumables, named, titles
from accord_rules.derive.sheet import InForce, Reading, span_words
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.orders.order import NONE, Pressings
from accord_rules.orders.sheet import PEELS, PRESSINGS, SECOND, SheetPressing, pressings_said
from accord_rules.revision.catalogue import Pressing, TemperatureWindow, TimeWindow, Transfer, pressings_of, process_of
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    FactType,
    Scope,
    entries,
    fact,
    later,
    limit,
    maybe,
    number,
    one_of,
    read,
    source,
)

DECORATION, PRESSING = Scope.DECORATION, Scope.PRESSING
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "marry": "the pressing that marries two sheets",
        "adhesive": "the pressing of the adhesive",
        "tack": "the tack",
        "main": "the main pressing",
        "reverse": "the pressing from the reverse",
        "again": "the pressing once more",
    }
)
_OPEN = ("set.open",)


class Wanted(NamedTuple):
    """What a process wants of one pressing beside the main one. ``usual``: whether it is done unless an order says no.

    ``temperature`` and ``pressure`` are None where they are the main pressing's.
    """

    name: str
    usual: bool
    temperature: TemperatureWindow | None
    time: TimeWindow
    pressure: str | None
    cover: tuple[str, ...]
    peel: str
    instead_of_main: bool


@fact("process.wanted", DATA, DECORATION)
def wanted(
    entry: Transfer = read("transfer.entry"),
    in_force: InForce = read("sheet.in_force"),
    reading: Reading = read("sheet.reading"),
    second: TimeWindow = read("process.second_press"),
    cloth: bool | None = maybe("item.textile"),
    over: bool = read("layer.over"),
    under_another: bool = read("layer.under_another"),
    non_stick: tuple[str, ...] = read("stack.non_stick"),
    second_house_most_s: float = read("process.second_press_house_most"),
) -> tuple[Wanted, ...]:
    """The pressings beside the main one that this decoration may take, in the order they come, and what each wants."""

    process = process_of(entry)

    def wanted_of(name: str) -> Wanted:
        of_book = getattr(process, name) or _AGAIN
        of_sheet = getattr(in_force.sheet.pressings, name, None) or _NOTHING
        done = {"adhesive": not over, "tack": under_another or not of_book.under_another, "marry": True}
        turned = name != "reverse" or cloth is not False  # only cloth is turned over to be pressed from behind
        cover = of_book.cover if of_sheet.cover is None else (of_sheet.cover,)
        time = (of_book.time or second) if of_sheet.time is None else reading.dwell(of_sheet.time)
        return Wanted(
            name=name if turned else "again",
            usual=done.get(name, second.aim > 0),
            temperature=of_book.temperature if of_sheet.temperature is None else reading.window(of_sheet.temperature),
            time=_no_longer_than(time, second_house_most_s) if name in SECOND else time,
            pressure=of_sheet.pressure or of_book.pressure,
            cover=non_stick if cover is None else cover,
            peel=of_sheet.peel or of_book.peel,
            instead_of_main=of_book.under_another and under_another,
        )

    return tuple(map(wanted_of, pressings_of(entry)))


_AGAIN = Pressing(sources=())
_NOTHING = SheetPressing()


@fact("process.second_press", DATA, DECORATION)
def second_press(
    second_s: float = read("transfer.second_press_s"),
    least_s: float = limit("settings.second_press_least"),
    most_s: float = limit("process.second_press_most"),
    house_most_s: float = read("process.second_press_house_most"),
) -> TimeWindow:
    """The window of a second press, from the reverse or again; its aim is 0 s where none is wanted.

    A sheet may say more than is usual, and a shop that made the limit its own is not gone beyond for it.
    """
    window = TimeWindow(min(least_s, second_s or least_s), second_s, max(most_s, second_s))
    return _no_longer_than(window, house_most_s)


@fact("process.second_press_house_most", DATA, DECORATION)
def second_press_house_most(
    most_s: float = limit("process.second_press_most"), own: frozenset[str] = source("house/limits")
) -> float:
    """What the shop's own rules leave of a second press, whoever says otherwise; without end where they are silent."""
    return most_s if "process.second_press_most" in own else inf


def _no_longer_than(window: TimeWindow, most_s: float) -> TimeWindow:
    return TimeWindow(min(window.least, most_s), min(window.aim, most_s), min(window.most, most_s))


@fact("sheet.pre_press_s", number(units.TIME), DECORATION)
def pre_press_s(
    entry: Transfer = read("transfer.entry"),
    in_force: InForce = read("sheet.in_force"),
    usual: Callable[[], float | None] = later("item.pre_press_s"),
) -> float | None:
    """The pre-press that the sheet wants, else what the piece does; 0 s for none."""
    said = (sheet.pre_press for sheet in (in_force.sheet, entry.sheet) if sheet is not None)
    wanted_s = next((pre_press_s for pre_press_s in said if pre_press_s is not None), None)
    return usual() if wanted_s is None else wanted_s


# -- what is set -----------------------------------------------------------------------------------------------------


class Closing(NamedTuple):
    """One closing of the press, the main one among them, with all that is set for it. Temperatures are None where none
    is set."""

    name: str
    display_c: float | None
    surface_c: float | None
    time_s: float
    pressure: str | float | None
    peel: str
    cover: str


@fact("process.closings", DATA, PRESSING, blamed=_OPEN)
def closings(
    display_c: float | None = source("chosen/display_c"),
    surface_c: float | None = source("chosen/surface_c"),
    time_s: float | None = source("chosen/time_s"),
    pressure: str | float | None = source("chosen/pressure"),
    peel: str | None = source("chosen/peel"),
    cover: str | None = source("chosen/cover"),
    pressings: tuple[ChosenPressing, ...] = source("chosen/pressings"),
) -> tuple[Closing, ...]:
    """The closings of the press for this decoration, in the order they come."""
    main = Closing(
        name="main",
        display_c=display_c,
        surface_c=surface_c,
        time_s=time_s or 0.0,
        pressure=pressure,
        peel=peel or NONE,
        cover=cover or NONE,
    )
    done = {pressing.name: _closing(pressing, main) for pressing in pressings if pressing.time_s > 0}
    if not any(pressing.instead_of_main for pressing in pressings):
        done["main"] = main
    return tuple(done[name] for name in PRESSINGS if name in done)


def _closing(pressing: ChosenPressing, main: Closing) -> Closing:
    return Closing(
        name=pressing.name,
        display_c=main.display_c if pressing.display_c is None else pressing.display_c,
        surface_c=main.surface_c if pressing.surface_c is None else pressing.surface_c,
        time_s=pressing.time_s,
        pressure=main.pressure if pressing.pressure is None else pressing.pressure,
        peel=pressing.peel,
        cover=pressing.cover or NONE,
    )


def pressure_words(pressure: str | float | None, by_hand: bool, preferences: units.UnitPreferences) -> str:
    """ "medium pressure", "light hand pressure", "40 psi on the gauge"."""
    if isinstance(pressure, float):
        return f"{units.show(units.PRESSURE, pressure, preferences)} on the gauge"
    return f"{pressure}{' hand' if by_hand else ''} pressure"


def _closing_of(closings: tuple[Closing, ...], name: str) -> Closing | None:
    return next((closing for closing in closings if closing.name == name), None)


def _declare(name: str) -> None:
    """Declare what is set for one closing."""
    what = WORDS[name]

    def declare(field: str, type_: FactType, about: str, function: Callable[..., Any]) -> None:
        fact(f"{name}.{field}", type_, PRESSING, blamed=_OPEN, about=about)(function)

    def done(closings: tuple[Closing, ...] = read("process.closings")) -> bool:
        return _closing_of(closings, name) is not None

    def display_c(
        closings: tuple[Closing, ...] = read("process.closings"), main_c: float | None = source("chosen/display_c")
    ) -> float | None:
        closing = _closing_of(closings, name)
        return main_c if closing is None else closing.display_c

    def time_s(closings: tuple[Closing, ...] = read("process.closings")) -> float:
        closing = _closing_of(closings, name)
        return 0.0 if closing is None else closing.time_s

    def pressure(
        closings: tuple[Closing, ...] = read("process.closings"),
        by_hand: bool = read("press.hand_held"),
        preferences: units.UnitPreferences = source("shop/units"),
    ) -> str:
        closing = _closing_of(closings, name)
        return "no pressure" if closing is None else pressure_words(closing.pressure, by_hand, preferences)

    def peel(closings: tuple[Closing, ...] = read("process.closings")) -> str:
        closing = _closing_of(closings, name)
        return NONE if closing is None else closing.peel

    def cover(closings: tuple[Closing, ...] = read("process.closings")) -> str:
        closing = _closing_of(closings, name)
        return NONE if closing is None else closing.cover

    def cover_title(cover: str = read(f"{name}.cover"), consumables: Consumables = entries("consumables")) -> str:
        return "no cover" if cover == NONE else named(consumables[cover])

    declare("done", BOOL, f"Whether {what} is part of the process.", done)
    declare("display_c", number(units.TEMPERATURE), f"The display setting of {what}; else the main one's.", display_c)
    declare("time_s", number(units.TIME), f"How long {what} lasts; 0 s for none.", time_s)
    declare("pressure_words", TEXT, f"How hard {what} presses, in words.", pressure)
    declare("peel", one_of(PEELS), f"How warm what carries or covers the print comes off after {what}.", peel)
    declare("cover", one_of("consumables|none"), f"What lies between platen and print in {what}.", cover)
    declare("cover_title", TEXT, f"The same for {what}, in words.", cover_title)


for _name in PRESSINGS:
    _declare(_name)


@fact("set.dials_words", TEXT, PRESSING, blamed=_OPEN)
def dials_words(
    closings: tuple[Closing, ...] = read("process.closings"),
    main_pressure: str = read("set.pressure_shown"),
    by_hand: bool = read("press.hand_held"),
    closing_by: str = read("press.closing"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str | None:
    """What the press is set to first, in words; an oven has no pressure to set."""
    closing = closings[0]
    if closing.display_c is None:
        return None
    display, time = (
        units.show(units.TEMPERATURE, closing.display_c, preferences),
        units.show(units.TIME, closing.time_s),
    )
    if closing_by == "enclosed":
        return f"{display} on its display and {time}"
    pressure = main_pressure if closing.name == "main" else pressure_words(closing.pressure, by_hand, preferences)
    return f"{display} on its display, {time} and {pressure}"


# -- what they come to -----------------------------------------------------------------------------------------------


@fact("process.wait_s", number(units.TIME), PRESSING, blamed=_OPEN)
def wait_s(
    closings: tuple[Closing, ...] = read("process.closings"),
    warm_s: float = limit("process.wait_warm"),
    cold_s: float = read("peel.cold_wait_s"),
) -> float:
    """The waits between the pressings of one piece, as long as the steps say: until what is peeled warm or cold has
    come to that."""
    waits = {"warm": warm_s, "cold": cold_s}
    return float(sum(waits.get(before.peel, 0.0) for before, _ in pairwise(closings)))


@fact("process.shut_s", number(units.TIME), PRESSING, blamed=_OPEN)
def shut_s(
    closings: tuple[Closing, ...] = read("process.closings"), pre_press_s: float = source("chosen/pre_press_s")
) -> float:
    """How long the press is shut on one load: pre-press and all pressings."""
    return float(pre_press_s + sum(closing.time_s for closing in closings))


@fact("process.too_hot_words", TEXT, PRESSING, blamed=_OPEN)
def too_hot_words(
    pressings: tuple[ChosenPressing, ...] = source("chosen/pressings"),
    spread_k: float = source("chosen/spread_k"),
    ceiling_c: Callable[[], float | None] = later("item.ceiling_c"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str | None:
    """The pressings with a temperature of their own that are hotter than the piece bears, with the numbers."""
    # Sheets that are married do not lie on the piece yet.
    hottest = {p.name: p.surface_c + spread_k for p in pressings if p.surface_c is not None and p.name != "marry"}
    most_c = ceiling_c() if hottest else 0.0
    if most_c is None:
        return None
    return " and ".join(
        f"{WORDS[name]} brings {units.show(units.TEMPERATURE, hot_c, preferences)} to the hottest spot"
        for name, hot_c in hottest.items()
        if hot_c > most_c
    )


@fact("process.too_hot", BOOL, PRESSING)
def too_hot(words: str = read("process.too_hot_words")) -> bool:
    """Whether a pressing beside the main one is hotter than the piece bears."""
    return bool(words)


@fact("process.bare_words", TEXT, PRESSING, blamed=_OPEN)
def bare_words(
    wanted: tuple[Wanted, ...] = read("process.wanted"),
    closings: tuple[Closing, ...] = read("process.closings"),
    consumables: Consumables = entries("consumables"),
) -> str:
    """The pressings that want a cover and have none, with the covers that would do; of a second press others tell."""
    covers = {one.name: one.cover for one in wanted if one.cover and one.name not in SECOND}
    bare = (closing.name for closing in closings if closing.name in covers and closing.cover == NONE)
    return "; ".join(f"{WORDS[name]} wants {titles(covers[name], consumables)} over the print" for name in bare)


@fact("process.bare", BOOL, PRESSING)
def bare(words: str = read("process.bare_words")) -> bool:
    """Whether a pressing beside the main one wants a cover and has none."""
    return bool(words)


@fact("process.outside", DATA, PRESSING, blamed=_OPEN)
def outside(
    wanted: tuple[Wanted, ...] = read("process.wanted"),
    pressings: tuple[ChosenPressing, ...] = source("chosen/pressings"),
    said: Pressings | None = source("/decorations/{i}/settings/pressings"),
    second_s: float | None = source("/decorations/{i}/settings/second_press"),
    needed: Needed = read("transfer.needed"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> tuple[str, ...]:
    """What an order says of pressings beside the main one that they do not take, a clause with numbers each."""
    windows = {one.name: one for one in wanted}

    def clauses() -> Iterator[str]:
        for name in pressings_said(said):
            if name not in windows:
                yield f"{WORDS[name]} is said, and here the main pressing is the only one"
        for pressing in pressings:
            ordered, window = getattr(said, pressing.name, None), windows[pressing.name]
            # Of a second press that is left out or too short the rules on that speak.
            if second_s is not None and pressing.name in SECOND and second_s > window.time.most:
                yield from _off(pressing.name, units.TIME, second_s, window.time, preferences)
            if ordered is None:
                continue
            if ordered.time == 0 and window.usual:
                yield f"{WORDS[pressing.name]} is left out; {_shown(units.TIME, window.time, preferences)} is usual"
            elif ordered.time:
                yield from _off(pressing.name, units.TIME, ordered.time, window.time, preferences)
            if ordered.temperature is not None:
                usual = window.temperature or needed.temperature
                yield from _off(pressing.name, units.TEMPERATURE, pressing.surface_c, usual, preferences)

    return tuple(clauses())


def _off(
    name: str,
    dimension: units.Dimension,
    value: float | None,
    window: TemperatureWindow | TimeWindow,
    preferences: units.UnitPreferences,
) -> Iterator[str]:
    if value is not None and not window.least <= value <= window.most:
        usual = _shown(dimension, window, preferences)
        yield f"{WORDS[name]} is set to {units.show(dimension, value, preferences)}; {usual} is usual"


def _shown(
    dimension: units.Dimension, window: TemperatureWindow | TimeWindow, preferences: units.UnitPreferences
) -> str:
    at = " at the surface" if dimension is units.TEMPERATURE else ""
    return span_words(dimension, window, preferences) + at


@fact("process.is_outside", BOOL, PRESSING)
def is_outside(clauses: tuple[str, ...] = read("process.outside")) -> bool:
    """Whether an order says of a pressing beside the main one what it does not usually take."""
    return bool(clauses)


@fact("process.outside_words", TEXT, PRESSING)
def outside_words(clauses: tuple[str, ...] = read("process.outside")) -> str:
    """What that is, with the numbers."""
    return "; ".join(clauses)


@fact("process.beyond", DATA, PRESSING, blamed=_OPEN)
def beyond(
    pressings: tuple[ChosenPressing, ...] = source("chosen/pressings"),
    entry: Transfer = read("transfer.entry"),
    time_most_s: float = read("bounds.time_high_s"),
    marry_most_s: float = limit("process.marry_most"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> tuple[str, ...]:
    """What of the pressings beside the main one no sheet and no sample makes work, a clause with numbers each."""

    def clause(name: str, dimension: units.Dimension, value: float, most: float, harm: str) -> str:
        at = " at the surface" if dimension is units.TEMPERATURE else ""
        value_shown, most_shown = (units.show(dimension, number, preferences) for number in (value, most))
        return f"{WORDS[name]} is set to {value_shown}{at}, and above {most_shown} {harm}"

    clauses: list[str] = []
    for name, surface_c, time_s in ((p.name, p.surface_c, p.time_s) for p in pressings if p.time_s > 0):
        # Sheets that are married do not lie on the piece yet.
        if name == "marry":
            if time_s > marry_most_s:
                clauses.append(clause(name, units.TIME, time_s, marry_most_s, "the sheets are spoilt"))
            continue
        if time_s > time_most_s:
            clauses.append(clause(name, units.TIME, time_s, time_most_s, entry.bounds.hot))
        if surface_c is not None and surface_c > entry.bounds.temperature.most:
            clauses.append(clause(name, units.TEMPERATURE, surface_c, entry.bounds.temperature.most, entry.bounds.hot))
    return tuple(clauses)


@fact("process.is_beyond", BOOL, PRESSING)
def is_beyond(clauses: tuple[str, ...] = read("process.beyond")) -> bool:
    """Whether a pressing beside the main one is set to what no sheet and no sample makes work."""
    return bool(clauses)


@fact("process.beyond_words", TEXT, PRESSING)
def beyond_words(clauses: tuple[str, ...] = read("process.beyond")) -> str:
    """What that is, with the numbers."""
    return "; ".join(clauses)
