"""The settings that are allowed: what the transfer, the piece and the press leave between them."""

from __future__ import annotations

from typing import NamedTuple

from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.revision.facts import BOOL, DATA, TEXT, Scope, fact, number

DECORATION, PRESSING = Scope.DECORATION, Scope.PRESSING


class Bound(NamedTuple):
    """One bound on the surface temperature, °C: the short word of what sets it, and a clause with the number."""

    value_c: float
    what: str
    text: str


@fact("transfer.lower", DATA, DECORATION)
def lower(case: Case) -> Bound | None:
    """What the transfer needs at least."""
    least = case["transfer.least_c"]
    if least is None:
        return None
    return Bound(least, "transfer", f"{case.show(units.TEMPERATURE, least)} is the least for {case['transfer.title']}")


@fact("transfer.uppers", DATA, DECORATION)
def uppers_anywhere(case: Case) -> tuple[Bound, ...] | None:
    """Every upper bound on the surface temperature whatever the press, lowest first."""
    ceilings, most, migrates = case["item.ceilings"], case["transfer.most_c"], case["transfer.migrates"]
    if ceilings is None or most is None or migrates is None:
        return None
    show = case.show
    found = [Bound(each.value_c, each.kind, each.text) for each in ceilings]
    found.append(Bound(most, "transfer", f"{show(units.TEMPERATURE, most)} is the most for {case['transfer.title']}"))
    if migrates:
        cap = case.limit("migration.surface_most")
        found.append(
            Bound(cap, "dye-migration", f"dye of the cloth bleeds into it above {show(units.TEMPERATURE, cap)}")
        )
    if "pvc" in (case["transfer.plastic"], case["item.coating_plastic"]):
        cap = case.limit("fumes.pvc_most")
        found.append(Bound(cap, "pvc", f"PVC gives off acid fumes towards {show(units.TEMPERATURE, cap)}"))
    return tuple(sorted(found, key=_lowest_first))


def _lowest_first(bound: Bound) -> tuple[float, str]:
    return bound.value_c, bound.what


@fact("press.reach", DATA, PRESSING)
def reach(case: Case) -> Bound:
    """What the press's surface reaches."""
    reach_c = case["press.reach_c"]
    return Bound(reach_c, "press", f"the press's surface reaches {case.show(units.TEMPERATURE, reach_c)}")


@fact("window.uppers", DATA, PRESSING)
def uppers(case: Case) -> tuple[Bound, ...] | None:
    """Every upper bound on the surface temperature, lowest first."""
    found: tuple[Bound, ...] | None = case["transfer.uppers"]
    of_press: Bound = case["press.reach"]
    if found is None or of_press.value_c < case["transfer.least_c"]:
        return found
    return tuple(sorted((*found, of_press), key=_lowest_first))


@fact("window.low_c", number(units.TEMPERATURE), PRESSING)
def low_c(case: Case) -> float | None:
    """The lowest surface temperature allowed."""
    bound = case["transfer.lower"]
    return None if bound is None else bound.value_c


@fact("window.high_c", number(units.TEMPERATURE), PRESSING)
def high_c(case: Case) -> float | None:
    """The highest surface temperature allowed."""
    bounds = case["window.uppers"]
    return None if bounds is None else bounds[0].value_c


@fact("window.low_by", TEXT, PRESSING)
def low_by(case: Case) -> str | None:
    """What sets the lowest, in words."""
    bound = case["transfer.lower"]
    return None if bound is None else bound.text


@fact("window.high_by", TEXT, PRESSING)
def high_by(case: Case) -> str | None:
    """What sets the highest, in words."""
    bounds = case["window.uppers"]
    return None if bounds is None else bounds[0].text


@fact("window.exists", BOOL, PRESSING)
def exists(case: Case) -> bool | None:
    """Whether any surface temperature is allowed at all."""
    low, high = case["window.low_c"], case["window.high_c"]
    return None if low is None or high is None else high >= low


@fact("window.robust", BOOL, PRESSING)
def robust(case: Case) -> bool | None:
    """Whether it is wide enough for the press's spread on both sides."""
    low, high = case["window.low_c"], case["window.high_c"]
    return None if low is None or high is None else high - low >= 2 * _spread_k(case)


def _spread_k(case: Case) -> float:
    aim = case["transfer.aim_c"]
    return float(case["press.calibration"].spread_k(case["press.calibration"].display_c(aim)))


@fact("window.spread_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def spread_k(case: Case) -> float | None:
    """The press's spread, plus or minus, around the temperature to aim at."""
    return None if case["transfer.aim_c"] is None else _spread_k(case)


@fact("window.width_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def width_k(case: Case) -> float | None:
    """How wide the window is; negative if there is none."""
    low, high = case["window.low_c"], case["window.high_c"]
    return None if low is None or high is None else round(high - low, 6)


@fact("window.time_low_s", number(units.TIME), PRESSING)
def time_low_s(case: Case) -> float | None:
    """The shortest dwell: the transfer's, with what this type of press adds."""
    found = case["transfer.needed"]
    return None if found is None else found.time.least + case.press_type.dwell_extra.least


@fact("window.time_high_s", number(units.TIME), PRESSING)
def time_high_s(case: Case) -> float | None:
    """The longest dwell: the transfer's, with what this type of press adds."""
    found = case["transfer.needed"]
    return None if found is None else found.time.most + case.press_type.dwell_extra.most


@fact("window.time_aim_s", number(units.TIME), PRESSING)
def time_aim_s(case: Case) -> float | None:
    """The dwell to aim at."""
    found = case["transfer.needed"]
    return None if found is None else found.aim_s + case.press_type.dwell_extra.aim
