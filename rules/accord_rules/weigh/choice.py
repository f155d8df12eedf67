"""Complete settings: what the order asks for, with the best allowed choice for what it leaves open.

A search over one pressing. What it looks at is declared beside the sources of what it finds (``derive.sources``).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import NamedTuple

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen
from accord_rules.derive.press import line_kpa, on_print_kpa
from accord_rules.derive.sheets import hottest_c, in_stock
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.orders.order import PRESSURES, Settings
from accord_rules.revision.catalogue import Transfer

_SPREAD_STEPS = 4
_NOTHING_SAID = Settings()


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
    return Chosen(
        display_c,
        surface_c,
        round(spread_k, 6),
        said.time if said.time is not None else _aim_time(case),
        pressure,
        pressure_kpa,
        said.peel or needed.peel[0],
        said.cover or bearing("sheet.covers"),
        said.pad or bearing("sheet.pads"),
        said.tape or (bearing("sheet.tapes") if transfer.taped else None),
        said.pre_press if said.pre_press is not None else case.known["item.pre_press_s"],
        said.second_press if said.second_press is not None else transfer.second_press,
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
    return at_surface(case, _aim_surface(case), *_comfort(case))


def _aim_surface(case: Case) -> float:
    """The transfer's aim, drawn into the room there is."""
    low, high = _comfort(case)
    return float(min(max(case.known["transfer.aim_c"], low), high))


def room(case: Case) -> tuple[float, float]:
    """The mean surface temperatures that hold over the press's spread; the whole window where none does."""
    low, high, spread = case.known["window.low_c"], case.known["window.high_c"], case.known["window.spread_k"]
    return (low + spread, high - spread) if case.known["window.robust"] else (low, high)


def _comfort(case: Case) -> tuple[float, float]:
    """The room under what label and fibres bear untested, if there is one; the middle half of too narrow a window."""
    low, high = room(case)
    if not case.known["window.robust"]:
        return low + (high - low) / 4, high - (high - low) / 4
    cap = case.known["item.keep_below_c"]
    return (low, cap) if cap is not None and low <= cap < high else (low, high)


def at_surface(case: Case, surface_c: float, low: float, high: float) -> tuple[float, float]:
    """The roundest display setting near a surface temperature whose surface lies between ``low`` and ``high``."""
    calibration = case.known["press.calibration"]
    wanted = min(calibration.display_c(surface_c), case.known["press.display_most_c"])
    unit = case.shop.units.unit(units.TEMPERATURE)
    for step in (5.0, 1.0):
        display = round(unit.inside(round(unit.outside(wanted) / step) * step), 9)
        reached_c = round(calibration.surface_c(display), 6)
        if low <= reached_c <= high and display <= case.known["press.display_most_c"]:
            return display, reached_c
    return round(wanted, 6), round(calibration.surface_c(wanted), 6)


def _time_step(time_s: float) -> float:
    """What a dwell is rounded to."""
    return 5.0 if time_s >= 20 else 1.0


def _aim_time(case: Case) -> float:
    aim = case.known["window.time_aim_s"]
    step = _time_step(aim)
    rounded = round(aim / step) * step
    return float(min(max(rounded, case.known["window.time_low_s"]), case.known["window.time_high_s"]))


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


_HAIR_K = 0.001  # more than turning a surface temperature into a display setting and back can be off


def least_heat_c(case: Case, chosen: Chosen, *, robust: bool) -> float:
    """The hottest spot at the least heat this pressing can be done with: a said temperature is not to be lowered.

    ``robust`` keeps the coolest spot in the window too, where the window is wide enough for that.
    """
    calibration, said = case.known["press.calibration"], case.decoration.settings
    now_c = float("-inf") if chosen.surface_c is None else round(chosen.surface_c + chosen.spread_k, 6)
    if chosen.surface_c is None or (said is not None and said.temperature is not None):
        return now_c
    low = (room(case)[0] if robust else case.known["window.low_c"]) + _HAIR_K
    return float(min(now_c, round(low + calibration.spread_k(calibration.display_c(low)), 6)))


def cooled(case: Case, chosen: Chosen, hottest_c: float) -> Chosen:
    """The same settings with the temperature lowered until no spot is hotter than ``hottest_c``."""
    calibration, low = case.known["press.calibration"], case.known["window.low_c"]
    cold, hot = calibration.display_c(low), chosen.display_c
    for _ in range(40):  # readings rise with the display: halving comes within a billionth of the span
        middle = (cold + hot) / 2
        if calibration.surface_c(middle) + calibration.spread_k(middle) <= hottest_c:
            cold = middle
        else:
            hot = middle
    most = round(calibration.surface_c(cold) - _HAIR_K / 2, 6)
    sure = room(case)[0]
    display_c, surface_c = at_surface(case, most, sure if sure <= most else low, most)
    return chosen._replace(display_c=display_c, surface_c=surface_c, spread_k=round(calibration.spread_k(display_c), 6))


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
    surfaces: list[float | None] = [first.surface_c]
    if turning.heat and warm:
        surfaces += _surface_candidates(case, first.spread_k)
    if turning.display and warm:
        surfaces += _display_candidates(case)
    times = [first.time_s]
    if turning.time and said.time is None:
        times += _between(case, units.TIME, case.known["window.time_low_s"], case.known["window.time_high_s"], 0.0)
    pairs = [*product(surfaces, times)]
    if turning.estimated:
        warmer = _spread(case.known["window.low_c"], case.known["window.high_c"]) if warm else ()
        longer = _spread(case.known["window.time_low_s"], case.known["window.time_high_s"])
        pairs += product((first.surface_c, *warmer), longer if said.time is None else (first.time_s,))
    for surface_c, time_s in dict.fromkeys(pairs):
        if (surface_c, time_s) == (first.surface_c, first.time_s):
            continue
        turned = first._replace(time_s=time_s)
        if surface_c is not None and surface_c != first.surface_c:
            display_c = round(case.known["press.calibration"].display_c(surface_c), 6)
            if display_c > case.known["press.display_most_c"]:
                continue
            turned = _at_display(case, turned, display_c)
        yield turned


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
    chosen = first if said.time is not None else first._replace(time_s=case.known["window.time_high_s"])
    if said.temperature is not None or not case.known["window.exists"]:
        yield chosen
        return
    for surface_c in dict.fromkeys((room(case)[1], case.known["window.high_c"])):
        display_c = min(case.known["press.calibration"].display_c(surface_c), case.known["press.display_most_c"])
        yield _at_display(case, chosen, round(display_c, 6))


def _at_display(case: Case, chosen: Chosen, display_c: float) -> Chosen:
    surface_c = round(case.known["press.calibration"].surface_c(display_c), 6)
    return chosen._replace(display_c=display_c, surface_c=surface_c)


def _surface_candidates(case: Case, spread_k: float) -> list[float]:
    low, high = case.known["window.low_c"], case.known["window.high_c"]
    return [*room(case), *_between(case, units.TEMPERATURE, low, high, spread_k)]


def _between(case: Case, dimension: units.Dimension, low: float, high: float, spread: float) -> list[float]:
    """The ends, and the book's thresholds of this dimension between them with a hair on either side."""
    hair = 0.01 if dimension is units.TEMPERATURE else 0.1
    thresholds = [
        value for name, value in case.book.limit_values.items() if case.book.limit_dimension(name) is dimension
    ]
    near = [t + shift + side for t in thresholds for shift in (-spread, 0.0, spread) for side in (-hair, 0.0, hair)]
    return sorted({round(x, 6) for x in (low, high, *near) if low <= x <= high})
