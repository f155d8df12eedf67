"""The settings that are allowed: what the transfer, the piece and the press leave between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import inf
from typing import NamedTuple

from accord_rules.derive.ceiling import Ceiling
from accord_rules.derive.dials import Dials
from accord_rules.derive.migration import Levels
from accord_rules.derive.press import Calibration
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.revision.catalogue import DwellExtra
from accord_rules.revision.facts import BOOL, DATA, TEXT, Scope, fact, later, limit, maybe, number, read, source

DECORATION, PRESSING = Scope.DECORATION, Scope.PRESSING


class Bound(NamedTuple):
    """One bound on the surface temperature, °C: the short word of what sets it, and a clause with the number."""

    value_c: float
    what: str
    text: str


@fact("transfer.lower", DATA, DECORATION)
def lower(
    least_c: float = read("transfer.least_c"),
    of: str = read("window.of"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> Bound:
    """What the transfer needs at least."""
    return Bound(least_c, "transfer", f"{units.show(units.TEMPERATURE, least_c, preferences)} is the least {of}")


@fact("window.of", DATA, DECORATION)
def window_of(
    by_sheet: bool = read("sheet.temperature_said"),
    title: str | None = maybe("transfer.title"),
    words: str | None = maybe("sheet.words"),
) -> str:
    """What sets the transfer's window: the maker's sheet, or what is usual for it."""
    return f"by {words}" if by_sheet else f"for {title}"


@fact("transfer.uppers", DATA, DECORATION)
def uppers_anywhere(
    ceilings: tuple[Ceiling, ...] = read("item.ceilings"),
    most_c: float = read("transfer.most_c"),
    of: str = read("window.of"),
    plastic: str | None = maybe("transfer.plastic"),
    coating_plastic: str | None = maybe("item.coating_plastic"),
    pvc_most_c: float = limit("fumes.pvc_most"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> tuple[Bound, ...]:
    """Every upper bound on the surface temperature whatever the press, lowest first."""

    def shown(value_c: float) -> str:
        return units.show(units.TEMPERATURE, value_c, preferences)

    bounds = [Bound(ceiling.value_c, ceiling.kind, ceiling.text) for ceiling in ceilings]
    bounds.append(Bound(most_c, "transfer", f"{shown(most_c)} is the most {of}"))
    if "pvc" in (plastic, coating_plastic):
        bounds.append(Bound(pvc_most_c, "pvc", f"PVC gives off acid fumes towards {shown(pvc_most_c)}"))
    return tuple(sorted(bounds, key=_lowest_first))


def _lowest_first(bound: Bound) -> tuple[float, str]:
    return bound.value_c, bound.what


@fact("press.reach", DATA, PRESSING)
def reach(reach_c: float = read("press.reach_c"), preferences: units.UnitPreferences = source("shop/units")) -> Bound:
    """What the press's surface reaches."""
    return Bound(reach_c, "press", f"the press's surface reaches {units.show(units.TEMPERATURE, reach_c, preferences)}")


@fact("migration.bound", DATA, PRESSING)
def migration_bound(
    migrates: bool = read("transfer.migrates"),
    levels: Callable[[], Levels | None] = later("migration.usual"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> tuple[Bound, ...]:
    """Up to where dye from beneath leaves a light print alone; none where no dye can tint it."""
    known = levels() if migrates else None
    if known is None:
        return ()
    shown = units.show(units.TEMPERATURE, known.most_c, preferences)
    return (Bound(known.most_c, "dye-migration", f"dye from beneath bleeds into it above {shown}"),)


@fact("window.uppers", DATA, PRESSING)
def uppers(
    anywhere: tuple[Bound, ...] = read("transfer.uppers"),
    of_dye: tuple[Bound, ...] = read("migration.bound"),
    of_press: Bound = read("press.reach"),
    least_c: float = read("transfer.least_c"),
) -> tuple[Bound, ...]:
    """Every upper bound on the surface temperature, lowest first."""
    of_reach = () if of_press.value_c < least_c else (of_press,)
    return tuple(sorted((*anywhere, *of_dye, *of_reach), key=_lowest_first))


@fact("window.low_c", number(units.TEMPERATURE), PRESSING)
def low_c(bound: Bound = read("transfer.lower")) -> float:
    """The lowest surface temperature allowed."""
    return bound.value_c


@fact("window.high_c", number(units.TEMPERATURE), PRESSING)
def high_c(bounds: tuple[Bound, ...] = read("window.uppers")) -> float:
    """The highest surface temperature allowed."""
    return bounds[0].value_c


@fact("window.low_by", TEXT, PRESSING)
def low_by(bound: Bound = read("transfer.lower")) -> str:
    """What sets the lowest, in words."""
    return bound.text


@fact("window.high_by", TEXT, PRESSING)
def high_by(bounds: tuple[Bound, ...] = read("window.uppers")) -> str:
    """What sets the highest, in words."""
    return bounds[0].text


@fact("window.exists", BOOL, PRESSING)
def exists(
    low_c: float = read("window.low_c"), high_c: float = read("window.high_c"), dials: Dials = read("press.dials")
) -> bool:
    """Whether any surface temperature is allowed at all that a display like this can show; what it reaches is told
    apart."""
    return high_c >= low_c and replace(dials, display_most_c=inf).near(low_c, low_c, high_c) is not None


@fact("window.usual_c", DATA, PRESSING)
def usual_c(
    aim_c: float = read("transfer.aim_c"),
    low_c: float | None = maybe("window.low_c"),
    high_c: float | None = maybe("window.high_c"),
    calibration: Calibration = read("press.calibration"),
) -> float:
    """The display setting at which the press's spread is looked at: the transfer's aim, held inside the window as far
    as that is known."""
    held_c = aim_c if high_c is None else min(aim_c, high_c)
    return calibration.display_c(held_c if low_c is None else max(low_c, held_c))


@fact("window.spread_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def spread_k(calibration: Calibration = read("press.calibration"), usual_c: float = read("window.usual_c")) -> float:
    """The press's spread, plus or minus, around the temperature to aim at."""
    return float(calibration.spread_k(usual_c))


@fact("window.probed", BOOL, PRESSING)
def probed(calibration: Calibration = read("press.calibration"), usual_c: float = read("window.usual_c")) -> bool:
    """Whether a probe reading of the press was taken near the temperature to aim at."""
    return calibration.probed_near(usual_c)


@fact("window.spread_source", TEXT, PRESSING)
def spread_source(
    calibration: Calibration = read("press.calibration"),
    usual_c: float = read("window.usual_c"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str:
    """Whose the spread there is, as a clause: the press's own readings', or its type's as none was taken near."""
    return calibration.spread_source(usual_c, preferences)


@fact("window.robust", BOOL, PRESSING)
def robust(
    low_c: float = read("window.low_c"),
    high_c: float = read("window.high_c"),
    spread_k: float = read("window.spread_k"),
) -> bool:
    """Whether it is wide enough for the press's spread on both sides."""
    return high_c - low_c >= 2 * spread_k


@fact("window.room", DATA, PRESSING)
def room(
    low_c: float = read("window.low_c"),
    high_c: float = read("window.high_c"),
    spread_k: float = read("window.spread_k"),
    robust: bool = read("window.robust"),
) -> tuple[float, float]:
    """The mean surface temperatures that hold over the press's spread; the whole window where none does."""
    return (low_c + spread_k, high_c - spread_k) if robust else (low_c, high_c)


@fact("window.low_end_c", number(units.TEMPERATURE), PRESSING)
def low_end_c(
    low_c: float = read("window.low_c"),
    high_c: float = read("window.high_c"),
    spread_k: float = read("window.spread_k"),
    keep_below_c: float | None = maybe("item.keep_below_c"),
) -> float:
    """The least mean surface temperature at which the coolest spot holds too; the least of the window where the hottest
    spot would then pass what the piece bears untested."""
    borne_c = high_c if keep_below_c is None or keep_below_c < low_c else min(high_c, keep_below_c)
    return round(low_c + spread_k, 6) if borne_c - low_c >= 2 * spread_k else low_c


@fact("window.comfort", DATA, PRESSING)
def comfort(
    room: tuple[float, float] = read("window.room"),
    robust: bool = read("window.robust"),
    low_end_c: float = read("window.low_end_c"),
    spread_k: float = read("window.spread_k"),
    keep_below_c: float | None = maybe("item.keep_below_c"),
    pads_bear_c: float | None = maybe("stack.pads_bear_c"),
    cool: bool | None = maybe("transfer.keep_cool"),
    untested_c: float | None = maybe("migration.untested_c"),
) -> tuple[float, float]:
    """The mean surface temperatures that are set where nobody says: the room under what label and fibres bear untested,
    under what the pad at hand bears, if there is one, and if it can be under what dye beneath bears without a test; the
    middle half of too narrow a window, or all above its low end for what is pressed cool."""
    low_c, high_c = room
    if cool:
        return low_end_c, max(low_end_c, high_c)
    if not robust:
        return low_c + (high_c - low_c) / 4, high_c - (high_c - low_c) / 4
    caps = (
        keep_below_c,
        None if pads_bear_c is None else pads_bear_c - spread_k,
        None if untested_c is None else max(untested_c - spread_k, low_c),
    )
    return low_c, min((cap for cap in caps if cap is not None and low_c <= cap < high_c), default=high_c)


@fact("window.aim_c", number(units.TEMPERATURE), PRESSING)
def window_aim_c(
    needed: Needed = read("transfer.needed"),
    press: str = read("press.type"),
    comfort: tuple[float, float] = read("window.comfort"),
    cool: bool | None = maybe("transfer.keep_cool"),
) -> float:
    """The surface temperature to aim at on this press, inside the room there is: the transfer's, or that of the type
    of press; the low end for what is pressed as cool as holds."""
    own = needed.by_press.get(press)
    low_c, high_c = comfort
    wanted_c = low_c if cool else needed.temperature.aim if own is None else own.temperature
    return round(min(max(wanted_c, low_c), high_c), 6)


@fact("window.aim_display_c", number(units.TEMPERATURE), PRESSING)
def window_aim_display_c(aim_c: float = read("window.aim_c"), dials: Dials = read("press.dials")) -> float:
    """What the display shows at the surface temperature to aim at, to its nearest step."""
    return dials.at(round(dials.number(dials.calibration.display_c(aim_c))))[0]


@fact("window.width_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def width_k(low_c: float = read("window.low_c"), high_c: float = read("window.high_c")) -> float:
    """How wide the window is; negative if there is none."""
    return round(high_c - low_c, 6)


@fact("window.time_low_s", number(units.TIME), PRESSING)
def time_low_s(needed: Needed = read("transfer.needed"), extra: DwellExtra = read("press.dwell_extra")) -> float:
    """The shortest dwell: the transfer's, with what this type of press adds."""
    return needed.time.least + extra.least


@fact("window.time_high_s", number(units.TIME), PRESSING)
def time_high_s(needed: Needed = read("transfer.needed"), extra: DwellExtra = read("press.dwell_extra")) -> float:
    """The longest dwell: the transfer's, with what this type of press adds."""
    return needed.time.most + extra.most


@fact("window.time_aim_s", number(units.TIME), PRESSING)
def time_aim_s(
    sized_s: float = read("transfer.time_aim_s"),
    needed: Needed = read("transfer.needed"),
    press: str = read("press.type"),
    extra: DwellExtra = read("press.dwell_extra"),
    gang_share: float = read("fit.gang_dwell_share"),
    most_s: float = read("window.time_high_s"),
) -> float:
    """The dwell to aim at, with what a whole load of pieces at once adds."""
    own = needed.by_press.get(press)
    aim_s = sized_s if own is None or own.time is None else own.time
    return min(round(aim_s * (1 + gang_share / 100) + extra.aim, 6), most_s)


@fact("window.time_dial_s", number(units.TIME), PRESSING)
def time_dial_s(
    aim_s: float = read("window.time_aim_s"),
    low_s: float = read("window.time_low_s"),
    high_s: float = read("window.time_high_s"),
    dials: Dials = read("press.dials"),
    needed: Needed = read("transfer.needed"),
    gang_share: float = read("fit.gang_dwell_share"),
) -> float:
    """The dwell to aim at as hands set it, whole steps of the timer: what is set where an order leaves it open, and
    what it is told to set. What a large print or a whole load adds is never rounded off."""
    return dials.dwell(aim_s, low_s, high_s, no_less=bool(needed.aim_by_size) or gang_share > 0)


@fact("window.time_enough_s", number(units.TIME), PRESSING)
def time_enough_s(dial_s: float = read("window.time_dial_s"), dials: Dials = read("press.dials")) -> float:
    """The least dwell that passes for the one to aim at: a step of the timer less, since no hand sets finer."""
    return round(max(0.0, dial_s - dials.time_round_s(dial_s)), 6)


@fact("window.time_longer_by", TEXT, PRESSING)
def time_longer_by(
    needed: Needed = read("transfer.needed"),
    gang_share: float = read("fit.gang_dwell_share"),
    at_once: float | None = maybe("fit.at_once"),
) -> str:
    """Why the dwell to aim at is longer than a small piece's alone, as clauses."""
    of_size = ["a larger piece draws more heat into what it lies on"] if needed.aim_by_size else []
    of_load = [f"{at_once:.0f} lie under the press at once"] if gang_share > 0 and at_once is not None else []
    return " and ".join((*of_size, *of_load)) or "it has more to heat"


@fact("window.time_most_s", number(units.TIME), PRESSING)
def time_most_s(high_s: float = read("window.time_high_s"), share: float = limit("settings.dwell_share_most")) -> float:
    """The longest dwell that anything but a sample of that very setting can speak for."""
    return round(high_s * share / 100, 6)
