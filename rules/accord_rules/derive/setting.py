"""The settings in force, as facts: what is said, and what was chosen for what is left open (``weigh.choice``)."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from accord_rules.derive.covers import Consumables, titles
from accord_rules.derive.press import Calibration
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.orders.order import NONE, Cylinder
from accord_rules.orders.sheet import PEELS
from accord_rules.revision.catalogue import Consumable, PressType
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    Scope,
    entries,
    fact,
    later,
    maybe,
    number,
    one_of,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

PRESSING = Scope.PRESSING
_TEMPERATURE, _TIME, _PRESSURE = number(units.TEMPERATURE), number(units.TIME), number(units.PRESSURE)
_OPEN = ("set.open",)


# -- what is said ----------------------------------------------------------------------------------------------------


@fact("set.temperature_said", BOOL, PRESSING)
def temperature_said(said: float | None = source("/decorations/{i}/settings/temperature")) -> bool:
    """Whether the order asks for a temperature."""
    return said is not None


@fact("set.time_said", BOOL, PRESSING)
def time_said(said: float | None = source("/decorations/{i}/settings/time")) -> bool:
    """Whether the order asks for a dwell."""
    return said is not None


@fact("set.pressure_said", BOOL, PRESSING)
def pressure_said(said: str | float | None = source("/decorations/{i}/settings/pressure")) -> bool:
    """Whether the order asks for a pressure."""
    return said is not None


# -- what is chosen --------------------------------------------------------------------------------------------------


@fact("set.open", DATA, PRESSING)
def is_open(
    surface_c: float | None = source("chosen/surface_c", absent=None),
    window: Callable[[], bool | None] = later("window.exists"),
) -> bool:
    """Whether the temperature is open; what keeps it so is looked at then, to be blamed for what follows from it."""
    if surface_c is None:
        window()
    return surface_c is None


@fact("set.display_c", _TEMPERATURE, PRESSING, blamed=_OPEN)
def display_c(display_c: float | None = source("chosen/display_c")) -> float | None:
    """The display setting."""
    return display_c


@fact("set.surface_c", _TEMPERATURE, PRESSING, blamed=_OPEN)
def surface_c(surface_c: float | None = source("chosen/surface_c")) -> float | None:
    """The mean surface temperature it gives on this press."""
    return surface_c


@fact("set.surface_low_c", _TEMPERATURE, PRESSING, blamed=_OPEN)
def surface_low_c(
    surface_c: float | None = source("chosen/surface_c"), spread_k: float = source("chosen/spread_k")
) -> float | None:
    """The coolest spot of the surface, spread taken off."""
    return None if surface_c is None else round(surface_c - spread_k, 6)


@fact("set.surface_high_c", _TEMPERATURE, PRESSING, blamed=_OPEN)
def surface_high_c(
    surface_c: float | None = source("chosen/surface_c"), spread_k: float = source("chosen/spread_k")
) -> float | None:
    """The hottest spot of the surface, spread added."""
    return None if surface_c is None else round(surface_c + spread_k, 6)


@fact("set.surface_unprobed_c", _TEMPERATURE, PRESSING, blamed=_OPEN)
def surface_unprobed_c(
    surface_c: float | None = source("chosen/surface_c"),
    display_c: float | None = source("chosen/display_c"),
    read_at: str | None = source("/decorations/{i}/settings/read_at"),
    curve: Calibration = read("press.calibration"),
    usual: PressType = read("press.entry"),
) -> float | None:
    """The mean surface temperature where no probe reading counts that was taken far from the setting: what is usual for
    the type there. That of the readings where one is near, and what was read at the surface itself."""
    if display_c is None or read_at == "surface" or not curve.measured or curve.probed_near(display_c):
        return surface_c
    return round(display_c - usual.loss, 6)


@fact("set.time_s", _TIME, PRESSING, blamed=_OPEN)
def time_s(time_s: float | None = source("chosen/time_s")) -> float | None:
    """The dwell."""
    return time_s


@fact(
    "set.gauge_readable",
    DATA,
    PRESSING,
    Ask(
        "/decorations/{i}/settings/pressure",
        "How firmly is that? A gauge reading says nothing on a press whose cylinder is not on record.",
    ),
)
def gauge_readable(cylinder: Cylinder | None = source("press/cylinder")) -> bool | None:
    """True where a cylinder on record tells what a gauge reading comes to on the print; None where none does."""
    return True if cylinder is not None else None


@fact("set.gauge_open", DATA, PRESSING)
def gauge_open(
    pressure: str | float | None = source("chosen/pressure", absent=None),
    pressure_kpa: float | None = source("chosen/pressure_kpa", absent=None),
    readable: Callable[[], bool | None] = later("set.gauge_readable"),
    contact_m2: Callable[[], float | None] = later("fit.contact_m2"),
) -> bool:
    """Whether a gauge reading tells nothing of the print; what it lacks is looked at then, to be blamed: a cylinder on
    record, or the area that it bears on."""
    tells_nothing = pressure_kpa is None and isinstance(pressure, float)
    if tells_nothing:
        readable()
        contact_m2()
    return tells_nothing


@fact("set.pressure_kpa", _PRESSURE, PRESSING, blamed=("set.gauge_open", *_OPEN))
def pressure_kpa(pressure_kpa: float | None = source("chosen/pressure_kpa")) -> float | None:
    """The pressure on the print."""
    return pressure_kpa


@fact("set.pressure_unreadable", BOOL, PRESSING, blamed=_OPEN)
def pressure_unreadable(
    pressure: str | float | None = source("chosen/pressure"),
    pressure_kpa: float | None = source("chosen/pressure_kpa"),
    cylinder: Cylinder | None = source("press/cylinder"),
) -> bool:
    """Whether the pressure is given as a gauge reading that says nothing on this press."""
    return isinstance(pressure, float) and pressure_kpa is None and cylinder is None


@fact("set.peel", one_of(PEELS), PRESSING, blamed=_OPEN)
def peel(peel: str | None = source("chosen/peel")) -> str | None:
    """How the carrier is peeled."""
    return peel


@fact("set.peel_ok", BOOL, PRESSING, blamed=_OPEN)
def peel_ok(peel: str | None = source("chosen/peel"), needed: Needed = read("transfer.needed")) -> bool:
    """Whether that peel suits the transfer."""
    return peel in needed.peel


@fact("set.peel_not_for", TEXT, PRESSING, blamed=_OPEN)
def peel_not_for(
    peel: str | None = source("chosen/peel"),
    stock: tuple[tuple[str, tuple[str, ...]], ...] | None = maybe("transfer.stock_peels"),
) -> str:
    """Of a family named, what the shop has of it that is peeled otherwise, and how: "cut film, gloss (cold)"; empty
    where nothing is."""
    return " and ".join(f"{title} ({' or '.join(peels)})" for title, peels in stock or () if peel not in peels)


@fact("set.peel_is_the_familys", BOOL, PRESSING, blamed=_OPEN)
def peel_is_the_familys(
    others: str = read("set.peel_not_for"), said: str | None = source("/decorations/{i}/settings/peel")
) -> bool:
    """Whether the order leaves open how it is peeled, and not all that the shop has of the family named is peeled as is
    set."""
    return bool(others) and said is None


@fact("set.pre_press_s", _TIME, PRESSING, blamed=_OPEN)
def pre_press_s(pre_press_s: float = source("chosen/pre_press_s")) -> float:
    """The pre-press; 0 s for none."""
    return pre_press_s


@fact("set.second_press_s", _TIME, PRESSING, blamed=_OPEN)
def second_press_s(second_press_s: float = source("chosen/second_press_s")) -> float:
    """The second press; 0 s for none."""
    return second_press_s


# -- sheets, pads and tape -------------------------------------------------------------------------------------------


def _sheet(part: str) -> None:
    """Declare which cover, pad or tape is set."""

    def sheet(name: str | None = source(f"chosen/{part}")) -> str:
        return name or NONE

    about = f"The {part} that is set; none for none."
    fact(f"set.{part}", one_of("consumables|none"), PRESSING, blamed=_OPEN, about=about)(sheet)


for _part in ("cover", "pad", "tape"):
    _sheet(_part)


def _missing(chosen: str | None, acceptable: tuple[str, ...]) -> bool:
    return bool(acceptable) and chosen not in acceptable


@fact("set.cover_missing", BOOL, PRESSING, blamed=_OPEN)
def cover_missing(cover: str | None = source("chosen/cover"), needed: Needed = read("transfer.needed")) -> bool:
    """Whether no cover sheet that suits is set."""
    return _missing(cover, needed.cover)


@fact("set.cover_words", TEXT, PRESSING, blamed=_OPEN)
def cover_words(needed: Needed = read("transfer.needed"), consumables: Consumables = entries("consumables")) -> str:
    """Cover sheets that suit, in words."""
    return titles(needed.cover, consumables)


@fact("set.pad_missing", BOOL, PRESSING, blamed=_OPEN)
def pad_missing(pad: str | None = source("chosen/pad"), needed: tuple[str, ...] = read("stack.pads_needed")) -> bool:
    """Whether a pad has to lie under the piece and none that suits is set."""
    return _missing(pad, needed)


@fact("set.pad_words", TEXT, PRESSING, blamed=_OPEN)
def pad_words(
    needed: tuple[str, ...] = read("stack.pads_needed"), consumables: Consumables = entries("consumables")
) -> str:
    """Pads that suit, in words."""
    return titles(needed, consumables)


@fact("set.padded", BOOL, PRESSING, blamed=_OPEN)
def padded(pad: str | None = source("chosen/pad"), pillows: tuple[str, ...] = read("stack.pillows")) -> bool:
    """Whether a pad lies under the print that is made to lift it clear of what stands up beside it."""
    return pad in pillows


@fact("set.tape_missing", BOOL, PRESSING, blamed=_OPEN)
def tape_missing(tape: str | None = source("chosen/tape"), taped: bool | None = read("transfer.taped")) -> bool:
    """Whether the carrier has to be taped and no tape is set."""
    return bool(taped) and tape in (None, NONE)


def _weakest(names: tuple[str | None, ...], consumables: Consumables) -> Consumable | None:
    """The consumable in the stack that bears the least heat."""
    sheets = [consumables[name] for name in names if name is not None and name != NONE]
    return min(sheets, key=lambda sheet: (sheet.limit, sheet.title)) if sheets else None


@fact("set.sheet_limit_c", _TEMPERATURE, PRESSING, blamed=_OPEN)
def sheet_limit_c(
    cover: str | None = source("chosen/cover"),
    pad: str | None = source("chosen/pad"),
    tape: str | None = source("chosen/tape"),
    consumables: Consumables = entries("consumables"),
) -> float:
    """The heat limit of the weakest sheet, pad or tape in the stack; a platen's worth if there is none."""
    weakest = _weakest((cover, pad, tape), consumables)
    return units.TEMPERATURE.most if weakest is None else weakest.limit


@fact("set.sheet_title", TEXT, PRESSING, blamed=_OPEN)
def sheet_title(
    cover: str | None = source("chosen/cover"),
    pad: str | None = source("chosen/pad"),
    tape: str | None = source("chosen/tape"),
    consumables: Consumables = entries("consumables"),
) -> str:
    """The weakest sheet, pad or tape in the stack."""
    weakest = _weakest((cover, pad, tape), consumables)
    return "no sheet" if weakest is None else in_a_sentence(weakest.title)


# -- the order of pressings, and the time it takes -------------------------------------------------------------------


@fact("sequence.exists", BOOL, PRESSING)
def sequence_exists(order: tuple[int, ...] = source("sequence/order")) -> bool:
    """Whether the order's decorations can be pressed in some order without one harming another."""
    return bool(order)


@fact("sequence.turned", BOOL, PRESSING)
def sequence_turned(order: tuple[int, ...] = source("sequence/order")) -> bool:
    """Whether they have to be pressed in another order than they are listed in, which is taken where it holds."""
    return order != tuple(sorted(order))


@fact("sequence.clash", TEXT, PRESSING)
def sequence_clash(clash: str = source("sequence/clash")) -> str:
    """Why there is no such order, in words."""
    return clash


@fact("job.loads", number(units.COUNT), PRESSING)
def loads(at_once: float = read("fit.pieces_per_pressing"), quantity: float = read("order.quantity")) -> float:
    """How often the press is loaded for the whole quantity, the last load perhaps not full."""
    return float(ceil(quantity / at_once))


@fact("job.total_s", _TIME, PRESSING)
def total_s(
    time_s: float | None = source("chosen/time_s"),
    shut_s: float = read("process.shut_s"),
    wait_s: float = read("process.wait_s"),
    count: float = read("fit.pressings"),
    loads: float = read("job.loads"),
    quantity: float = read("order.quantity"),
    press: PressType = read("press.entry"),
) -> float | None:
    """Time at the press for this decoration over the whole quantity.

    The platen is shut once a load and pressing, with waits between; loading, aligning and unloading are done piece by
    piece. Heating up, cooling and printing are not counted: the book does not know how long a press takes to heat up.
    """
    if time_s is None:
        return None
    return float(count * ((shut_s + wait_s) * loads + press.handling * quantity))
