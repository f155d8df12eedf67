"""Complete settings: what the order asks for, with the best allowed choice for what it leaves open.

A search over one pressing. What it looks at is declared beside the sources of what it finds (``derive.sources``).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from math import floor
from operator import attrgetter
from typing import NamedTuple

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen, ChosenPressing
from accord_rules.derive.covers import hottest_c, in_stock
from accord_rules.derive.dials import Dials
from accord_rules.derive.press import line_kpa, on_print_kpa
from accord_rules.derive.sample import Tolerances, surface_then_c
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.orders.order import NONE, Pressings, PressingSettings, Settings
from accord_rules.orders.sheet import PRESSURES, SECOND
from accord_rules.revision.catalogue import Transfer

_SPREAD_STEPS = 4
_NOTHING_SAID, _NO_PRESSINGS, _NOTHING_OF_ONE = Settings(), Pressings(), PressingSettings()


def choose(case: Case) -> Chosen | None:
    """Complete the order's settings for this pressing; None while the transfer or substrate is unknown."""
    needed: Needed | None = case.known["transfer.needed"]
    if needed is None or case.transfer is None:
        return None
    said = case.decoration.settings or _NOTHING_SAID
    wanted = _Wanted(said, needed, case.transfer)
    return _complete(case, wanted, *_temperature(case, said))


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What the order says of the settings, and what the transfer needs."""

    said: Settings
    needed: Needed
    transfer: Transfer


def _complete(case: Case, wanted: _Wanted, display_c: float | None, surface_c: float | None) -> Chosen:
    said, needed, transfer = wanted.said, wanted.needed, wanted.transfer
    spread_k = (
        case.known["press.calibration"].spread_k(display_c) if display_c is not None else case.known["window.spread_k"]
    )
    pressure, pressure_kpa = _pressure(case, said, needed)
    bearing = partial(_at_hand, case, hottest_c(surface_c, spread_k))
    cover = said.cover or bearing("stack.covers")
    pressings = tuple(_pressings(case, said, surface_c, cover))
    return Chosen(
        display_c=display_c,
        surface_c=surface_c,
        spread_k=round(spread_k, 6),
        time_s=said.time if said.time is not None else case.known["window.time_dial_s"],
        pressure=pressure,
        pressure_kpa=pressure_kpa,
        peel=said.peel or needed.peel[0],
        cover=cover,
        pad=said.pad or bearing("stack.pads"),
        tape=said.tape or (bearing("stack.tapes") if transfer.taped else None),
        pre_press_s=said.pre_press if said.pre_press is not None else case.known["sheet.pre_press_s"],
        second_press_s=next((pressing.time_s for pressing in pressings if pressing.name in SECOND), 0.0),
        pressings=pressings,
    )


def _at_hand(case: Case, hottest_c: float | None, acceptable: str) -> str | None:
    """The first of the sheets that a fact names that the shop has and that bears the heat."""
    return in_stock(case.known[acceptable], case.book.catalogue["consumables"], case.shop.stock.consumables, hottest_c)


def _temperature(case: Case, said: Settings) -> tuple[float | None, float | None]:
    """Display and mean surface temperature."""
    calibration = case.known["press.calibration"]
    if said.temperature is not None:
        if said.read_at == "surface":
            return calibration.display_c(said.temperature), said.temperature
        return said.temperature, round(calibration.surface_c(said.temperature), 6)
    if not case.known["window.exists"]:
        return None, None
    return at_surface(case, case.known["window.aim_c"], *case.known["window.comfort"])


def at_surface(case: Case, surface_c: float, low: float, high: float) -> tuple[float, float]:
    """The roundest display setting near a surface temperature whose surface lies between ``low`` and ``high``, else in
    the window, which holds one."""
    dials: Dials = case.known["press.dials"]
    for least, most in ((low, high), (case.known["window.low_c"], case.known["window.high_c"])):
        setting = dials.near(surface_c, least, most)
        if setting is not None:
            return setting
    return min(dials.beside(surface_c)[0], dials.hottest)


def _pressings(case: Case, said: Settings, surface_c: float | None, main_cover: str | None) -> Iterator[ChosenPressing]:
    """The pressings beside the main one: what the order says of each, the best allowed for what it leaves open.

    A second press has the main one's cover rather than none.
    """
    dials, calibration = case.known["press.dials"], case.known["press.calibration"]
    for wanted in case.known["process.wanted"]:
        ordered = getattr(said.pressings or _NO_PRESSINGS, wanted.name) or _NOTHING_OF_ONE
        time_s = said.second_press if wanted.name in SECOND and said.second_press is not None else ordered.time
        if time_s is None and wanted.usual:
            time_s = dials.dwell(wanted.time.aim, wanted.time.least, wanted.time.most)
        # That a usual one is left out is told; that there is no second press the time of the second press tells.
        if not time_s and (not wanted.usual or wanted.name in SECOND):
            continue
        display_c, own_surface_c = ordered.temperature, None
        if display_c is None and wanted.temperature is not None:
            window = wanted.temperature
            high_c = min(window.most, max(window.least, case.known["item.ceiling_c"] or window.most))
            setting = dials.near(min(window.aim, high_c), window.least, high_c)
            display_c, own_surface_c = setting or dials.beside(window.aim)[0]
        elif display_c is not None:
            own_surface_c = round(calibration.surface_c(display_c), 6)
        hottest = hottest_c(surface_c if own_surface_c is None else own_surface_c, case.known["window.spread_k"])
        over_again = main_cover if wanted.name in SECOND and main_cover != NONE else None
        covers, stock = case.book.catalogue["consumables"], case.shop.stock.consumables
        yield ChosenPressing(
            name=wanted.name,
            display_c=display_c,
            surface_c=own_surface_c,
            time_s=time_s or 0.0,
            pressure=ordered.pressure or wanted.pressure,
            peel=ordered.peel or wanted.peel,
            cover=ordered.cover or in_stock(wanted.cover, covers, stock, hottest) or over_again,
            instead_of_main=wanted.instead_of_main and bool(time_s),
        )


def _pressure(case: Case, said: Settings, needed: Needed) -> tuple[str | float | None, float | None]:
    cylinder, contact_m2 = case.press.cylinder, case.known["fit.contact_m2"]
    if isinstance(said.pressure, float):
        if cylinder is None or contact_m2 is None:
            return said.pressure, None
        return said.pressure, on_print_kpa(cylinder, said.pressure, contact_m2)
    most_kpa = case.known["fit.pressure_most_kpa"]
    word = said.pressure or _best_word(case, needed, most_kpa)
    middle = _word_middle(case, word)
    if said.pressure is None and most_kpa is not None:
        if cylinder is not None:
            unit = case.shop.units.unit(units.PRESSURE)
            line = unit.outside(line_kpa(cylinder, min(middle, most_kpa), contact_m2))
            line = round(unit.inside(round(line)), 9)
            return line, on_print_kpa(cylinder, line, contact_m2)
        middle = max(min(middle, most_kpa), 0.0)
    return word, round(middle, 6)


def _best_word(case: Case, needed: Needed, most_kpa: float | None) -> str:
    """The word to aim at, or the firmest below it that this press reaches."""
    words = PRESSURES[PRESSURES.index(needed.pressure.least) : PRESSURES.index(needed.pressure.aim) + 1]
    reached = [w for w in words if most_kpa is None or case.known["press.bands_kpa"][w][0] <= most_kpa]
    return reached[-1] if reached else words[0]


def _word_middle(case: Case, word: str) -> float:
    return float(sum(case.known["press.bands_kpa"][word]) / 2)


def as_sampled(case: Case, first: Chosen) -> Iterator[Chosen]:
    """The settings of the shop's samples of such a pressing that came out well, the last one pressed first.

    Only where the order says none of them, and where they lie in the window.
    """
    said = case.decoration.settings or _NOTHING_SAID
    needed: Needed = case.known["transfer.needed"]
    if any(setting is not None for setting in (said.temperature, said.time, said.pressure)):
        return
    curve, dials = case.known["press.calibration"], case.known["press.dials"]
    within: Tolerances = case.known["sample.tolerances"]
    near_k = within.hotter_k / 2  # as near as a display comes, and no rounder
    low_c, high_c = case.known["window.low_c"], case.known["window.high_c"]
    for sample in sorted(case.known["sample.of_press"], key=attrgetter("pressed_on"), reverse=True):
        then_c = surface_then_c(sample, curve)
        least_c, most_c = max(low_c, then_c - near_k), min(high_c, then_c + near_k)
        setting = dials.near(then_c, least_c, most_c) if least_c <= most_c else None
        dwells = case.known["window.time_low_s"] <= sample.time <= case.known["window.time_high_s"]
        if sample.failures or setting is None or not dwells:
            continue
        pressure, pressure_kpa = _pressure(case, replace(said, pressure=sample.pressure), needed)
        yield _set_to(case, first, *setting)._replace(
            time_s=sample.time,
            pressure=pressure,
            pressure_kpa=pressure_kpa,
            peel=said.peel or sample.peel or first.peel,
        )


def least_heat_c(case: Case, chosen: Chosen, *, robust: bool) -> float:
    """The hottest spot at the least heat this pressing can be done with: a said temperature is not to be lowered.

    ``robust`` keeps the coolest spot in the window too, where the window is wide enough for that.
    """
    said = case.decoration.settings
    now_c = float("-inf") if chosen.surface_c is None else round(chosen.surface_c + chosen.spread_k, 6)
    if chosen.surface_c is None or (said is not None and said.temperature is not None):
        return now_c
    low_c = case.known["window.room"][0] if robust else case.known["window.low_c"]
    return min(now_c, _hottest_c(case, *case.known["press.dials"].beside(low_c)[-1]))


def _hottest_c(case: Case, display_c: float, surface_c: float) -> float:
    return float(round(surface_c + case.known["press.calibration"].spread_k(display_c), 6))


def cooled(case: Case, chosen: Chosen, hottest_c: float) -> Chosen:
    """The same at the warmest setting of the display, inside the window, at which no spot is hotter than
    ``hottest_c``; at the coolest where none is."""
    dials: Dials = case.known["press.dials"]
    least = dials.number(dials.beside(case.known["window.low_c"])[-1][0])
    number = least if chosen.display_c is None else floor(dials.number(chosen.display_c))
    while number > least and _hottest_c(case, *dials.at(number)) > hottest_c:
        number -= 1
    return _set_to(case, chosen, *dials.at(number))


def _set_to(case: Case, chosen: Chosen, display_c: float | None, surface_c: float | None) -> Chosen:
    """The same at another setting of the display, with the spread that the press has there."""
    if display_c is None or surface_c is None:
        return chosen._replace(display_c=display_c, surface_c=surface_c)
    spread_k = round(case.known["press.calibration"].spread_k(display_c), 6)
    return chosen._replace(display_c=display_c, surface_c=surface_c, spread_k=spread_k)


class Turning(NamedTuple):
    """What of the settings the rules that block look at, as far as it is open.

    ``heat`` and ``time`` are compared with thresholds as they are, the heat on the ``display`` too; ``estimated`` says
    that something is which follows from them by estimate alone, so that no threshold tells what would do.
    """

    heat: bool
    time: bool
    display: bool
    estimated: bool


def alternatives(case: Case, first: Chosen, turning: Turning) -> Iterator[Chosen]:
    """Other complete settings inside the windows, in temperature, dwell or both, for when a rule blocks ``first``.

    They lie at the ends of the room, and on both sides of every threshold of the book that falls between (each
    shifted by the spread too, since rules speak of the hottest and coolest spot as well as of the mean); evenly spread
    over the windows where an estimate counts.
    """
    said = case.decoration.settings or _NOTHING_SAID
    warm = said.temperature is None and bool(case.known["window.exists"])
    low_s, high_s = case.known["window.time_low_s"], case.known["window.time_high_s"]
    surfaces: list[float] = []
    if turning.heat and warm:
        surfaces += _surface_candidates(case, first.spread_k)
    if turning.display and warm:
        surfaces += _display_candidates(case)
    times: list[float] = []
    if turning.time and said.time is None:
        times += _between(case, units.TIME, low_s, high_s, 0.0)
    now = (first.display_c, first.surface_c)
    pairs = [*product((now, *_settings(case, surfaces)), (first.time_s, *_dwells(case, times)))]
    if turning.estimated:
        warmer = _spread(case.known["window.low_c"], case.known["window.high_c"]) if warm else ()
        longer = _dwells(case, _spread(low_s, high_s)) if said.time is None else (first.time_s,)
        pairs += product((now, *_settings(case, warmer)), longer)
    for (display_c, surface_c), time_s in dict.fromkeys(pairs):
        if (display_c, time_s) != (first.display_c, first.time_s):
            yield _set_to(case, first, display_c, surface_c)._replace(time_s=time_s)


def _settings(case: Case, surfaces: Iterable[float]) -> tuple[tuple[float, float], ...]:
    """The settings of the display on either side of surface temperatures, as far as they lie in the window."""
    dials, low_c, high_c = case.known["press.dials"], case.known["window.low_c"], case.known["window.high_c"]
    beside = (setting for surface_c in surfaces for setting in dials.beside(surface_c))
    return tuple(
        dict.fromkeys(
            setting for setting in beside if setting[0] <= dials.display_most_c and low_c <= setting[1] <= high_c
        )
    )


def _dwells(case: Case, times: Iterable[float]) -> tuple[float, ...]:
    """The dwells of the timer on either side of these, as far as they lie in the window."""
    dials, low_s, high_s = case.known["press.dials"], case.known["window.time_low_s"], case.known["window.time_high_s"]
    beside = (dwell_s for time_s in times for dwell_s in dials.dwells_beside(time_s))
    return tuple(dict.fromkeys(dwell_s for dwell_s in beside if low_s <= dwell_s <= high_s))


def _spread(low: float, high: float) -> tuple[float, ...]:
    """Values spread evenly over a window, both ends among them."""
    return tuple(round(low + (high - low) * step / _SPREAD_STEPS, 6) for step in range(_SPREAD_STEPS + 1))


def _display_candidates(case: Case) -> list[float]:
    """The surface temperatures of display settings on both sides of every threshold of the book in the window."""
    calibration, low, high = (case.known[name] for name in ("press.calibration", "window.low_c", "window.high_c"))
    displays = _between(case, units.TEMPERATURE, calibration.display_c(low), calibration.display_c(high), 0.0)
    return [surface_c for display_c in displays if low <= (surface_c := calibration.surface_c(display_c)) <= high]


def hottest_and_longest(case: Case, first: Chosen) -> Iterator[Chosen]:
    """The longest dwell with the most heat that holds over the press's spread, then with the most the window allows."""
    said = case.decoration.settings or _NOTHING_SAID
    longest = _dwells(case, (case.known["window.time_high_s"],)) if said.time is None else ()
    chosen = first._replace(time_s=longest[-1]) if longest else first
    if said.temperature is not None or not case.known["window.exists"]:
        yield chosen
        return
    for surface_c in dict.fromkeys((case.known["window.room"][1], case.known["window.high_c"])):
        for display_c, reached_c in _settings(case, (surface_c,))[:1]:
            yield _set_to(case, chosen, display_c, reached_c)


def _surface_candidates(case: Case, spread_k: float) -> list[float]:
    low, high = case.known["window.low_c"], case.known["window.high_c"]
    curve = case.known["press.calibration"]
    # Where a probe reading is near no longer, a spot may lie further off than a step before.
    ends = (end_c for display_c in curve.near_ends_c if low <= (end_c := curve.surface_c(display_c)) <= high)
    return [*case.known["window.room"], *ends, *_between(case, units.TEMPERATURE, low, high, spread_k)]


def _between(case: Case, dimension: units.Dimension, low: float, high: float, spread: float) -> list[float]:
    """The ends, and the book's thresholds of this dimension between them with a hair on either side."""
    hair = 0.01 if dimension is units.TEMPERATURE else 0.1
    thresholds = [
        value for name, value in case.book.limit_values.items() if case.book.limit_dimension(name) is dimension
    ]
    near = [t + shift + side for t in thresholds for shift in (-spread, 0.0, spread) for side in (-hair, 0.0, hair)]
    return sorted({round(x, 6) for x in (low, high, *near) if low <= x <= high})
