"""The settings in force: what the order asks for, completed with the best allowed choice for what it leaves open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import ceil
from typing import Any, NamedTuple

from accord_rules.derive.case import Case
from accord_rules.derive.heat import ready_s
from accord_rules.derive.press import line_pressure_kpa, pressure_on_print_kpa
from accord_rules.derive.sheets import NONE, covers, in_stock, pads, pads_needed, pillows, tapes, titles
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.orders.order import PEELS, PRESSURES, Settings
from accord_rules.revision.catalogue import Consumable, Transfer
from accord_rules.revision.facts import BOOL, DATA, TEXT, Ask, Scope, fact, number, one_of
from accord_rules.revision.sentences import in_a_sentence

PRESSING = Scope.PRESSING
_HOTTER_STEP_K = 5.0
_NOTHING_SAID = Settings()


class Chosen(NamedTuple):
    """Complete settings of one pressing. None only where nothing is allowed or nothing is needed.

    ``pressure`` is a word, or the gauge reading in kPa; ``pressure_kpa`` is what reaches the print.
    """

    display_c: float | None
    surface_c: float | None
    spread_k: float
    time_s: float | None
    pressure: str | float | None
    pressure_kpa: float | None
    peel: str | None
    cover: str | None
    pad: str | None
    tape: str | None
    pre_press_s: float
    second_press_s: float


def choose(case: Case) -> Chosen | None:
    """Complete the order's settings for this pressing; None while the transfer or substrate is unknown."""
    needed: Needed | None = case["transfer.needed"]
    if needed is None or case.transfer is None:
        return None
    said = case.decoration.settings or _NOTHING_SAID
    wanted = _Wanted(said, needed, case.transfer)
    return _until_hot_enough(case, wanted, _complete(case, wanted, *_temperature(case, said)))


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What the order says of the settings, and what the transfer needs."""

    said: Settings
    needed: Needed
    transfer: Transfer


def _complete(case: Case, wanted: _Wanted, display_c: float | None, surface_c: float | None) -> Chosen:
    said, needed, transfer = wanted.said, wanted.needed, wanted.transfer
    spread_k = case["press.calibration"].spread_k(display_c) if display_c is not None else case["window.spread_k"]
    hottest_c = None if surface_c is None else surface_c + spread_k
    pressure, pressure_kpa = _pressure(case, said, needed)
    return Chosen(
        display_c,
        surface_c,
        round(spread_k, 6),
        said.time if said.time is not None else _aim_time(case),
        pressure,
        pressure_kpa,
        said.peel or needed.peel[0],
        said.cover or in_stock(case, covers(case, needed), hottest_c),
        said.pad or in_stock(case, pads(case, needed), hottest_c),
        said.tape or (in_stock(case, tapes(case), hottest_c) if transfer.taped else None),
        said.pre_press if said.pre_press is not None else _pre_press(case),
        said.second_press if said.second_press is not None else transfer.second_press,
    )


def _until_hot_enough(case: Case, wanted: _Wanted, first: Chosen) -> Chosen:
    """The same with a dwell, and if that does not do a temperature, that likely bring the print where it must be.

    What the order says stays; nothing leaves its window. The book's aim is never undercut: it has its reasons.
    """
    longer, done = _long_enough(case, wanted.said, first)
    if done or wanted.said.temperature is not None or longer.surface_c is None:
        return longer
    for surface_c in _hotter(case, longer.surface_c):
        display_c, found_c = at_surface(case, surface_c, *_comfort(case))
        longer, done = _long_enough(case, wanted.said, _complete(case, wanted, display_c, found_c))
        if done:
            break
    return longer


def _long_enough(case: Case, said: Settings, chosen: Chosen) -> tuple[Chosen, bool]:
    """The dwell, if it is open, prolonged until the print likely has what it needs, inside its window; and whether it
    then has. Where there is no estimate, it is taken to."""
    ready = ready_s(case, chosen)
    if ready is None or chosen.time_s is None or ready <= chosen.time_s:
        return chosen, True
    if said.time is not None:
        return chosen, False
    most = case["window.time_high_s"]
    if ready >= most:
        return chosen._replace(time_s=most), ready == most
    step = _time_step(ready)
    return chosen._replace(time_s=float(min(step * ceil(ready / step), most))), True


def _hotter(case: Case, surface_c: float) -> Iterator[float]:
    """Surface temperatures above this one with room to spare, in steps a display can be set to."""
    most = _comfort(case)[1]
    step = _HOTTER_STEP_K
    while surface_c + step < most:
        surface_c += step
        yield surface_c
    if surface_c < most:
        yield most


def _temperature(case: Case, said: Settings) -> tuple[float | None, float | None]:
    """Display and mean surface temperature."""
    calibration = case["press.calibration"]
    if said.temperature is not None:
        if said.read_at == "surface":
            return calibration.display_c(said.temperature), said.temperature
        return said.temperature, round(calibration.surface_c(said.temperature), 6)
    if not case["window.exists"]:
        return None, None
    return at_surface(case, _aim_surface(case), *_comfort(case))


def _aim_surface(case: Case) -> float:
    """The transfer's aim, drawn into the room there is."""
    low, high = _comfort(case)
    return float(min(max(case["transfer.aim_c"], low), high))


def room(case: Case) -> tuple[float, float]:
    """The mean surface temperatures that hold over the press's spread; the whole window where none does."""
    low, high, spread = case["window.low_c"], case["window.high_c"], case["window.spread_k"]
    return (low + spread, high - spread) if case["window.robust"] else (low, high)


def _comfort(case: Case) -> tuple[float, float]:
    """The room kept under the care label's cap if it can be; the middle half where the window is too narrow."""
    low, high = room(case)
    if not case["window.robust"]:
        return low + (high - low) / 4, high - (high - low) / 4
    cap = case["item.care_cap_c"]
    return (low, cap) if cap is not None and low <= cap < high else (low, high)


def at_surface(case: Case, surface_c: float, low: float, high: float) -> tuple[float, float]:
    """The roundest display setting near a surface temperature whose surface lies between ``low`` and ``high``."""
    calibration = case["press.calibration"]
    wanted = min(calibration.display_c(surface_c), case["press.display_most_c"])
    unit = case.shop.units.unit(units.TEMPERATURE)
    for step in (5.0, 1.0):
        display = round(unit.inside(round(unit.outside(wanted) / step) * step), 9)
        found = round(calibration.surface_c(display), 6)
        if low <= found <= high and display <= case["press.display_most_c"]:
            return display, found
    return round(wanted, 6), round(calibration.surface_c(wanted), 6)


def _time_step(time_s: float) -> float:
    """What a dwell is rounded to."""
    return 5.0 if time_s >= 20 else 1.0


def _aim_time(case: Case) -> float:
    aim = case["window.time_aim_s"]
    step = _time_step(aim)
    rounded = round(aim / step) * step
    return float(min(max(rounded, case["window.time_low_s"]), case["window.time_high_s"]))


def _pressure(case: Case, said: Settings, needed: Needed) -> tuple[str | float | None, float | None]:
    if isinstance(said.pressure, float):
        return said.pressure, pressure_on_print_kpa(case, said.pressure)
    most_kpa = case["fit.pressure_most_kpa"]
    word = said.pressure or _best_word(case, needed, most_kpa)
    middle = _word_middle(case, word)
    if said.pressure is None and case.press.cylinder is not None:
        line = line_pressure_kpa(case, min(middle, most_kpa) if most_kpa is not None else middle)
        if line is not None:
            unit = case.shop.units.unit(units.PRESSURE)
            line = round(unit.inside(round(unit.outside(line))), 9)
            return line, pressure_on_print_kpa(case, line)
    if said.pressure is None and most_kpa is not None:
        middle = max(min(middle, most_kpa), 0.0)
    return word, round(middle, 6)


def _best_word(case: Case, needed: Needed, most_kpa: float | None) -> str:
    """The word to aim at, or the firmest below it that this press reaches."""
    words = PRESSURES[PRESSURES.index(needed.pressure.least) : PRESSURES.index(needed.pressure.aim) + 1]
    reached = [w for w in words if most_kpa is None or case.limit(f"pressure.{w}_least") <= most_kpa]
    return reached[-1] if reached else words[0]


def _word_middle(case: Case, word: str) -> float:
    return (case.limit(f"pressure.{word}_least") + case.limit(f"pressure.{word}_most")) / 2


def _pre_press(case: Case) -> float:
    """Long enough to drive moisture out where the ground takes it up."""
    return case.limit("prepress.time_least") if case["item.takes_moisture"] else 0.0


_HAIR_K = 0.001  # more than turning a surface temperature into a display setting and back can be off


def least_heat_c(case: Case, chosen: Chosen, *, robust: bool) -> float:
    """The hottest spot at the least heat this pressing can be done with: a said temperature is not to be lowered.

    ``robust`` keeps the coolest spot in the window too, where the window is wide enough for that.
    """
    calibration, said = case["press.calibration"], case.decoration.settings
    now_c = float("-inf") if chosen.surface_c is None else round(chosen.surface_c + chosen.spread_k, 6)
    if chosen.surface_c is None or (said is not None and said.temperature is not None):
        return now_c
    low = (room(case)[0] if robust else case["window.low_c"]) + _HAIR_K
    return float(min(now_c, round(low + calibration.spread_k(calibration.display_c(low)), 6)))


def cooled(case: Case, chosen: Chosen, hottest_c: float) -> Chosen:
    """The same settings with the temperature lowered until no spot is hotter than ``hottest_c``."""
    calibration, low = case["press.calibration"], case["window.low_c"]
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
    cooler = chosen._replace(
        display_c=display_c, surface_c=surface_c, spread_k=round(calibration.spread_k(display_c), 6)
    )
    return _long_enough(case, case.decoration.settings or _NOTHING_SAID, cooler)[0]


def alternatives(case: Case, first: Chosen, *, heat: bool, time: bool) -> Iterator[Chosen]:
    """Other complete settings inside the windows, in temperature, dwell or both, for when a rule blocks ``first``.

    They lie at the ends of the room, and on both sides of every threshold of the book that falls between (each
    shifted by the spread too, since rules speak of the hottest and coolest spot as well as of the mean).
    """
    said = case.decoration.settings or _NOTHING_SAID
    surfaces: list[float | None] = [first.surface_c]
    if heat and said.temperature is None and case["window.exists"]:
        surfaces += _surface_candidates(case, first.spread_k)
    times = [first.time_s]
    if time and said.time is None:
        times += _between(case, units.TIME, case["window.time_low_s"], case["window.time_high_s"], 0.0)
    for surface_c, time_s in product(surfaces, times):
        if (surface_c, time_s) == (first.surface_c, first.time_s):
            continue
        other = first._replace(time_s=time_s)
        if surface_c is not None and surface_c != first.surface_c:
            display_c = round(case["press.calibration"].display_c(surface_c), 6)
            if display_c > case["press.display_most_c"]:
                continue
            other = _at_display(case, other, display_c)
        yield other


def hottest_and_longest(case: Case, first: Chosen) -> Iterator[Chosen]:
    """The longest dwell with the most heat that holds over the press's spread, then with the most the window allows."""
    said = case.decoration.settings or _NOTHING_SAID
    chosen = first if said.time is not None else first._replace(time_s=case["window.time_high_s"])
    if said.temperature is not None or not case["window.exists"]:
        yield chosen
        return
    for surface_c in dict.fromkeys((room(case)[1], case["window.high_c"])):
        display_c = min(case["press.calibration"].display_c(surface_c), case["press.display_most_c"])
        yield _at_display(case, chosen, round(display_c, 6))


def _at_display(case: Case, chosen: Chosen, display_c: float) -> Chosen:
    surface_c = round(case["press.calibration"].surface_c(display_c), 6)
    return chosen._replace(display_c=display_c, surface_c=surface_c)


def _surface_candidates(case: Case, spread_k: float) -> list[float]:
    low, high = case["window.low_c"], case["window.high_c"]
    return [*room(case), *_between(case, units.TEMPERATURE, low, high, spread_k)]


def _between(case: Case, dimension: units.Dimension, low: float, high: float, spread: float) -> list[float]:
    """The ends, and the book's thresholds of this dimension between them with a hair on either side."""
    hair = 0.01 if dimension is units.TEMPERATURE else 0.1
    thresholds = [
        value for name, value in case.book.limit_values.items() if case.book.limit_dimension(name) is dimension
    ]
    near = [t + shift + side for t in thresholds for shift in (-spread, 0.0, spread) for side in (-hair, 0.0, hair)]
    return sorted({round(x, 6) for x in (low, high, *near) if low <= x <= high})


# -- facts -------------------------------------------------------------------------------------------------------


@fact("set.temperature_said", BOOL, PRESSING)
def temperature_said(case: Case) -> bool:
    """Whether the order asks for a temperature."""
    said = case.decoration.settings
    return said is not None and said.temperature is not None


@fact("set.time_said", BOOL, PRESSING)
def time_said(case: Case) -> bool:
    """Whether the order asks for a dwell."""
    said = case.decoration.settings
    return said is not None and said.time is not None


@fact("set.pressure_said", BOOL, PRESSING)
def pressure_said(case: Case) -> bool:
    """Whether the order asks for a pressure."""
    said = case.decoration.settings
    return said is not None and said.pressure is not None


@fact("set.read_at_display", BOOL, PRESSING)
def read_at_display(case: Case) -> bool:
    """Whether the temperature is read at the display, not with a probe at the surface."""
    said = case.decoration.settings
    return said is None or said.read_at != "surface"


def _of_chosen(name: str, type_: Any, about: str, read: Any) -> None:
    def compute(case: Case) -> Any:
        if case.chosen is None or case.chosen.surface_c is None:
            case["window.exists"]  # so that what keeps the settings open is known as the cause
        return None if case.chosen is None else read(case, case.chosen)

    compute.__doc__ = about
    fact(f"set.{name}", type_, PRESSING)(compute)


def _hot(chosen: Chosen, side: int) -> float | None:
    return None if chosen.surface_c is None else round(chosen.surface_c + side * chosen.spread_k, 6)


def _missing(chosen: str | None, acceptable: tuple[str, ...]) -> bool:
    return bool(acceptable) and chosen not in acceptable


def _sheet(case: Case, name: str | None) -> Consumable | None:
    if name is None or name == NONE:
        return None
    found: Consumable = case.entry("consumables", name)
    return found


def _weakest_sheet(case: Case, chosen: Chosen) -> Consumable | None:
    """The consumable in the stack that bears the least heat."""
    found = [sheet for name in (chosen.cover, chosen.pad, chosen.tape) if (sheet := _sheet(case, name)) is not None]
    return min(found, key=lambda sheet: (sheet.limit, sheet.title)) if found else None


_TEMPERATURE, _TIME, _PRESSURE = number(units.TEMPERATURE), number(units.TIME), number(units.PRESSURE)
_of_chosen("display_c", _TEMPERATURE, "The display setting.", lambda _, s: s.display_c)
_of_chosen("surface_c", _TEMPERATURE, "The mean surface temperature it gives on this press.", lambda _, s: s.surface_c)
_of_chosen(
    "surface_low_c", _TEMPERATURE, "The coolest spot of the surface, spread taken off.", lambda _, s: _hot(s, -1)
)
_of_chosen("surface_high_c", _TEMPERATURE, "The hottest spot of the surface, spread added.", lambda _, s: _hot(s, 1))
_of_chosen("time_s", _TIME, "The dwell.", lambda _, s: s.time_s)


@fact(
    "set.gauge_readable",
    DATA,
    PRESSING,
    Ask(
        "/decorations/{i}/settings/pressure",
        "How firmly is that? A gauge reading says nothing on a press whose cylinder is not on record.",
    ),
)
def gauge_readable(case: Case) -> bool | None:
    """True where a cylinder on record tells what a gauge reading comes to on the print; None where none does."""
    return True if case.press.cylinder is not None else None


def _pressure_kpa(case: Case, chosen: Chosen) -> float | None:
    if chosen.pressure_kpa is None and isinstance(chosen.pressure, float):
        # So that what keeps it open is known as the cause: no cylinder on record, or the area that it bears on.
        case["set.gauge_readable"], case["fit.contact_m2"]
    return chosen.pressure_kpa


_of_chosen("pressure_kpa", _PRESSURE, "The pressure on the print.", _pressure_kpa)
_of_chosen("peel", one_of(PEELS), "How the carrier is peeled.", lambda _, s: s.peel)
_of_chosen("pre_press_s", _TIME, "The pre-press; 0 s for none.", lambda _, s: s.pre_press_s)
_of_chosen("second_press_s", _TIME, "The second press; 0 s for none.", lambda _, s: s.second_press_s)
for _part in ("cover", "pad", "tape"):
    _of_chosen(
        _part,
        one_of("consumables|none"),
        f"The {_part} that is set; none for none.",
        lambda _, s, part=_part: getattr(s, part) or NONE,
    )
_of_chosen(
    "off_aim_k",
    number(units.TEMPERATURE_DIFFERENCE),
    "How far the mean surface temperature lies above the transfer's aim; negative below.",
    lambda c, s: None if s.surface_c is None else round(s.surface_c - c["transfer.aim_c"], 6),
)
_of_chosen(
    "pressure_unreadable",
    BOOL,
    "Whether the pressure is given as a gauge reading that says nothing on this press.",
    lambda case, s: isinstance(s.pressure, float) and s.pressure_kpa is None and case.press.cylinder is None,
)
_of_chosen("peel_ok", BOOL, "Whether that peel suits the transfer.", lambda c, s: s.peel in c["transfer.needed"].peel)
_of_chosen(
    "cover_missing",
    BOOL,
    "Whether no cover sheet that suits is set.",
    lambda c, s: _missing(s.cover, c["transfer.needed"].cover),
)
_of_chosen("cover_words", TEXT, "Cover sheets that suit, in words.", lambda c, s: titles(c, c["transfer.needed"].cover))
_of_chosen(
    "pad_missing",
    BOOL,
    "Whether a pad has to lie under the piece and none that suits is set.",
    lambda c, s: _missing(s.pad, pads_needed(c, c["transfer.needed"])),
)
_of_chosen(
    "pad_words",
    TEXT,
    "Pads that suit, in words.",
    lambda c, s: titles(c, pads_needed(c, c["transfer.needed"])),
)
_of_chosen(
    "padded",
    BOOL,
    "Whether a pad lies under the print that is made to lift it clear of what stands up beside it.",
    lambda c, s: s.pad not in (None, NONE) and s.pad in pillows(c),
)
_of_chosen(
    "tape_missing",
    BOOL,
    "Whether the carrier has to be taped and no tape is set.",
    lambda c, s: bool(c["transfer.taped"]) and s.tape in (None, NONE),
)
_of_chosen(
    "sheet_limit_c",
    _TEMPERATURE,
    "The heat limit of the weakest sheet, pad or tape in the stack; a platen's worth if there is none.",
    lambda c, s: sheet.limit if (sheet := _weakest_sheet(c, s)) is not None else units.TEMPERATURE.most,
)
_of_chosen(
    "sheet_title",
    TEXT,
    "The weakest sheet, pad or tape in the stack.",
    lambda c, s: in_a_sentence(sheet.title) if (sheet := _weakest_sheet(c, s)) is not None else "no sheet",
)


@fact("sequence.exists", BOOL, PRESSING)
def sequence_exists(case: Case) -> bool | None:
    """Whether the order's decorations can be pressed in some order without one harming another."""
    return None if case.sequence is None else bool(case.sequence.order)


@fact("sequence.clash", TEXT, PRESSING)
def sequence_clash(case: Case) -> str | None:
    """Why there is no such order, in words."""
    return None if case.sequence is None else case.sequence.clash


@fact("job.loads", number(units.COUNT), PRESSING)
def loads(case: Case) -> float | None:
    """How often the press is loaded for the whole quantity, the last load perhaps not full."""
    at_once, quantity = case["fit.pieces_per_pressing"], case["order.quantity"]
    return None if at_once is None or quantity is None else float(ceil(quantity / at_once))


@fact("job.total_s", number(units.TIME), PRESSING)
def total_s(case: Case) -> float | None:
    """Time at the press for this decoration over the whole quantity.

    The platen is shut once a load; loading, aligning and unloading are done piece by piece. Heating up, cooling and
    printing are not counted: the book does not know how long a press takes to heat up.
    """
    chosen, count, loads = case.chosen, case["fit.pressings"], case["job.loads"]
    if chosen is None or chosen.time_s is None or count is None or loads is None:
        return None
    shut_s = chosen.time_s + chosen.pre_press_s + chosen.second_press_s
    return float(count * (shut_s * loads + case.press_type.handling * case["order.quantity"]))
