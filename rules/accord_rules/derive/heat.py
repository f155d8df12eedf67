"""What the heat room says of this stack on this press: when the print is hot enough, what lies behind, when to touch.

Every figure is an estimate with three values: *soon* (the hottest the print can be, so the soonest it is there),
*likely* and *late*. Stacks are solved once and kept (``heat.response``), for all temperatures and dwells.

A piece that takes up moisture and is not pre-pressed is damp, and stays cooler while that boils off: what it takes to
boil it counts as heat capacity of the piece. The estimate is left out where heat does not run straight down through
closed layers: in ovens, under a platen of the wrong shape, and below loose stones or studs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil, exp, inf, isfinite, log
from typing import TYPE_CHECKING, Any

from accord_rules.derive.artwork import placement_of
from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.heat.build import Sheet, stack_for, substrate_layer
from accord_rules.heat.grid import Floats
from accord_rules.heat.materials import PLATENS, ROOM_C, WARM_BED_C
from accord_rules.heat.response import (
    LONGEST_S,
    Response,
    at_time,
    at_times,
    coolest_c,
    corners,
    crossing_s,
    hottest_c,
    soaked,
)
from accord_rules.heat.stack import HeatError, Stack
from accord_rules.heat.touch import time_to_touch_s
from accord_rules.revision.catalogue import PressType, Substrate, Transfer
from accord_rules.revision.facts import BOOL, DATA, TEXT, FactType, Scope, fact, number
from accord_rules.revision.sentences import in_a_sentence

if TYPE_CHECKING:
    from accord_rules.derive.setting import Chosen

DECORATION, PRESSING = Scope.DECORATION, Scope.PRESSING
_TEMPERATURE, _TIME, _DIFFERENCE = number(units.TEMPERATURE), number(units.TIME), number(units.TEMPERATURE_DIFFERENCE)
# A print on the back lies on the bed while the front is pressed, and the reverse.
_FAR_SIDES = frozenset(
    {frozenset({"front", "back"}), frozenset({"face", "reverse"}), frozenset({"left-chest", "back"})}
)
TOUCH_CONTACT_S = 10.0  # picking a piece up and setting it down
_CACHED = 4096
# A small stiff piece draws on the hand-held platen round it, up to thrice its width.
_COVERED_LEAST = 1 / 9
_COVERED_STEPS = 20  # to a factor of e
# A sagging platen's share is taken at the nearest of these steps: within half of one it holds (heat.response).
_SAG_STEP_K = 30.0
_TOUCH_STEP_K = 5.0
# A platen that does not sag may be solved at any temperature above the room.
_ANY_SURFACE_C = 100.0


# -- what the transfer needs ---------------------------------------------------------------------------------------


@fact("heat.need_c", _TEMPERATURE, DECORATION)
def need_c(case: Case) -> float | None:
    """What the print has to reach where it meets the piece: the transfer's own, else a little below its least."""
    return None if case.transfer is None else _softens_c(case, case.transfer, case["transfer.least_c"])


def _softens_c(case: Case, transfer: Transfer, least_c: float | None) -> float | None:
    """Where a transfer starts to take, and once applied to let go."""
    if transfer.interface_least is not None:
        return transfer.interface_least
    return None if least_c is None else least_c - case.limit("heat.below_least")


@fact("heat.need_s", _TIME, DECORATION)
def need_s(case: Case) -> float | None:
    """How long the print has to stay there."""
    if case.transfer is None:
        return None
    said = case.transfer.interface_hold
    return case.limit("heat.adhesive_hold") if said is None else said


@fact("heat.face_down", BOOL, DECORATION)
def face_down(case: Case) -> bool | None:
    """Whether the piece is laid on its print, so that heat crosses it: brittle flat goods under dye, on a soft pad."""
    if case["item.brittle"] is None or case.transfer is None:
        return None
    return bool(case["item.brittle"] and case["item.shape"] == "flat" and case.transfer.principle == "dye-vapour")


# -- the stack -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Piece:
    """What lies under the platen and is no setting: ``key`` holds every number of it that counts."""

    key: tuple[Any, ...]
    substrate: Substrate = field(compare=False)
    transfer: Transfer = field(compare=False)
    press: PressType = field(compare=False)
    thickness_mm: float = field(compare=False)
    plies: int = field(compare=False)
    face_down: bool = field(compare=False)
    # The ways in which it has lain, by cover, pad, platen temperature and moisture, kept because their keys are long.
    lays: dict[tuple[str | None, str | None, float, float], Lay] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, slots=True, eq=False)
class Lay:
    """A piece and the sheets it lies between. Lays that heat does not tell apart are one and the same object."""

    piece: Piece
    sheets: tuple[Sheet | None, Sheet | None]
    surface_c: float
    covered: float
    water_share: float
    need_c: float

    def stack(self) -> Stack:
        """Raises HeatError where the model does not hold."""
        cover, pad = self.sheets
        stack = stack_for(
            self.piece.substrate,
            self.piece.transfer,
            self.piece.press,
            self.surface_c,
            thickness_mm=self.piece.thickness_mm,
            cover=cover,
            pad=pad,
            plies=self.piece.plies,
            water_share=self.water_share,
            face_down=self.piece.face_down,
            covered=self.covered,
        )
        return soaked(stack, self.need_c, ROOM_C)

    def start_c(self, stack: Stack) -> tuple[float, ...]:
        """The room, and a bench press's bed as the pressing before left it."""
        press = self.piece.press
        beds = len(PLATENS[press.closing].bed) if press.heated == "upper" else 0
        bed_c = ROOM_C if press.closing == "hand" else WARM_BED_C
        return (ROOM_C,) * (len(stack.layers) - beds) + (bed_c,) * beds


@fact("fit.piece", DATA, PRESSING)
def piece(case: Case) -> Piece | None:
    """What lies under the platen, for the heat estimate; None where the model does not hold."""
    substrate, transfer, thickness_mm = case.substrate, case.transfer, case["item.thickness_mm"]
    press = case.press_type
    if substrate is None or transfer is None or thickness_mm is None:
        return None
    if press.closing not in PLATENS or transfer.principle == "stud" or not case["fit.shape_ok"]:
        return None
    plies = 2 if substrate.family == "cloth" and case["item.kind"] in ("garment", "bag") else 1
    down = bool(case["heat.face_down"])
    own: tuple[float, ...] = ()
    if press.closing == "hand":
        press = _own_platen(case, press)
        own = (press.power, press.platen.width, press.platen.height)
    key = (
        (substrate.conductivity, substrate.density, substrate.heat_capacity, thickness_mm, plies, down),
        (transfer.principle, transfer.thickness, transfer.plastic, transfer.carrier),
        # Presses that close differently may be built alike.
        (next(closing for closing, build in PLATENS.items() if build is PLATENS[press.closing]), press.heated),
        own,
    )
    return Piece(key, substrate, transfer, press, thickness_mm, plies, down)


def lay(case: Case, chosen: Chosen) -> Lay | None:
    """How the piece lies under these settings; None where the model does not hold."""
    lying: Piece | None = case["fit.piece"]
    if lying is None or chosen.surface_c is None:
        return None
    surface_c, by_hand = _ANY_SURFACE_C, lying.press.closing == "hand"
    if by_hand:
        surface_c = max(_ANY_SURFACE_C, _SAG_STEP_K * round(chosen.surface_c / _SAG_STEP_K))
    damp = chosen.pre_press_s < case.limit("prepress.time_least")
    water_share = case["item.water_share"] if damp else 0.0
    # How far up it has to go counts for what boils off alone.
    need_c = case["heat.need_c"] if water_share else 0.0
    lain, place = lying.lays, (chosen.cover, chosen.pad, surface_c, water_share)
    if place not in lain:
        covered = case["fit.covered"] if by_hand else 1.0
        sheets = (_sheet(case, chosen.cover), _sheet(case, chosen.pad))
        of_sheets = tuple(s and (s.name, s.entry.kind, s.entry.conductivity, s.entry.thickness) for s in sheets)
        made = _Unkeyed(Lay(lying, sheets, surface_c, covered, water_share, need_c))
        lain[place] = _the_same((lying.key, of_sheets, surface_c, covered, water_share, need_c), made).lay
    return lain[place]


@dataclass(frozen=True, slots=True)
class _Unkeyed:
    """A lay that rides along with its key."""

    lay: Lay = field(compare=False)


@lru_cache(maxsize=2 * _CACHED)
def _the_same(_key: tuple[Any, ...], first: _Unkeyed) -> _Unkeyed:
    """The lay that had this key first, so that what is kept of lays can go by the object: keys are long."""
    return first


def _sheet(case: Case, name: str | None) -> Sheet | None:
    return None if name in (None, "none") else Sheet(str(name), case.entry("consumables", str(name)))


def _own_platen(case: Case, usual: PressType) -> PressType:
    """The press type with what the shop says of its own press."""
    power = usual.power if case.press.power is None else case.press.power
    return replace(usual, power=power, platen=case["press.platen"])


@fact("fit.covered", DATA, PRESSING)
def covered(case: Case) -> float:
    """The share of a hand-held platen that bears on the piece, in steps of 5 % of itself, so that stacks repeat."""
    contact_m2, platen = case["fit.contact_m2"], case["press.platen"]
    if contact_m2 is None:
        return 1.0
    share = contact_m2 / (platen.width * platen.height * 1e-6)
    if share >= 1:
        return 1.0
    return float(max(_COVERED_LEAST, exp(round(log(share) * _COVERED_STEPS) / _COVERED_STEPS)))


@lru_cache(maxsize=2 * _CACHED)
def _corners(lying: Lay, which: str) -> tuple[Response, ...] | None:
    """One corner of the stack, solved; None where the model does not hold (a heater too weak for its platen)."""
    try:
        stack = lying.stack()
        return corners(stack, which, ROOM_C, lying.start_c(stack))
    except HeatError:
        return None


# -- the estimate --------------------------------------------------------------------------------------------------
#
# Most pressings are fine by their likely figure, and nobody asks further: the other corners are solved when wanted.


@lru_cache(maxsize=2 * _CACHED)
def _curve(lying: Lay, which: str, surface_c: float) -> Floats | None:
    """The print at ``response.TIMES_S``."""
    found = _corners(lying, which)
    if found is None:
        return None
    curves_c = [each.interface_c(surface_c) for each in found]
    return coolest_c(curves_c) if which == "late" else hottest_c(curves_c)


@dataclass(frozen=True, slots=True)
class Likely:
    """The likely figures of one pressing: °C at the print when the dwell ends, K by which the platen dips."""

    interface_c: float
    sag_k: float


@dataclass(frozen=True, slots=True)
class Estimated:
    """(soon, likely, late): °C at the print when the dwell ends, s until it is at what the transfer needs (infinite
    for not within ``LONGEST_S``)."""

    interface_c: tuple[float, float, float]
    reach_s: tuple[float, float, float]


@lru_cache(maxsize=2 * _CACHED)
def _reach_s(lying: Lay, surface_c: float, need: float) -> float | None:
    curve = _curve(lying, "likely", surface_c)
    return None if curve is None else crossing_s(curve, need)


def _curves(lying: Lay, chosen: Chosen) -> tuple[Floats, Floats, Floats] | None:
    """Soon, likely, late: the platen's spread helps the first and hinders the last."""
    surface_c, spread_k = chosen.surface_c or ROOM_C, chosen.spread_k
    soon = _curve(lying, "soon", surface_c + spread_k)
    likely = _curve(lying, "likely", surface_c)
    late = _curve(lying, "late", surface_c - spread_k)
    return None if soon is None or likely is None or late is None else (soon, likely, late)


def ready_s(case: Case, chosen: Chosen) -> float | None:
    """The dwell that likely gives the transfer what it needs: until the print is there, and as long as it has to stay.

    Infinite if the print likely does not get there; None where there is no estimate.
    """
    lying = lay(case, chosen)
    if lying is None or chosen.surface_c is None:
        return None
    reached = _reach_s(lying, chosen.surface_c, case["heat.need_c"])
    return None if reached is None else reached + float(case["heat.need_s"])


@fact("heat.lay", DATA, PRESSING)
def lay_(case: Case) -> Lay | None:
    """How the piece lies under the settings in force; None where there is no estimate, or while they are open."""
    chosen = case.chosen
    return None if chosen is None or chosen.time_s is None else lay(case, chosen)


@fact("heat.likely", DATA, PRESSING)
def likely(case: Case) -> Likely | None:
    """The likely figures of this pressing."""
    lying, chosen = case["heat.lay"], case.chosen
    if lying is None or chosen is None or chosen.surface_c is None or chosen.time_s is None:
        return None
    curve, found = _curve(lying, "likely", chosen.surface_c), _corners(lying, "likely")
    if curve is None or found is None:
        return None
    return Likely(at_time(curve, chosen.time_s), found[0].sag_k(chosen.surface_c))


@fact("heat.estimate", DATA, PRESSING)
def estimate(case: Case) -> Estimated | None:
    """All figures of this pressing."""
    lying, chosen = case["heat.lay"], case.chosen
    curves = None if lying is None or chosen is None else _curves(lying, chosen)
    if curves is None or chosen is None or chosen.time_s is None:
        return None
    soon, middle, late = curves
    dwell_s, need = chosen.time_s, case["heat.need_c"]
    return Estimated(
        (at_time(soon, dwell_s), at_time(middle, dwell_s), at_time(late, dwell_s)),
        (crossing_s(soon, need), crossing_s(middle, need), crossing_s(late, need)),
    )


@fact("heat.estimated", BOOL, PRESSING)
def estimated(case: Case) -> bool:
    """Whether the heat of this pressing can be estimated: not without a temperature, nor where the model fails."""
    return case["heat.likely"] is not None


@fact("heat.surely_cold", BOOL, PRESSING)
def surely_cold(case: Case) -> bool | None:
    """Whether the print stays below what the transfer needs even if everything helps."""
    found, need = case["heat.likely"], case["heat.need_c"]
    if found is None or found.interface_c >= need:
        return None if found is None else False
    return bool(case["heat.estimate"].interface_c[0] < need)


def _of_likely(name: str, type_: FactType, about: str, read: Callable[[Case, Likely], Any]) -> None:
    def compute(case: Case) -> Any:
        found = case["heat.likely"]
        return None if found is None else read(case, found)

    compute.__doc__ = about
    fact(f"heat.{name}", type_, PRESSING)(compute)


_of_likely(
    "short_k",
    _DIFFERENCE,
    "By how much the print likely stays below what the transfer needs; negative above it.",
    lambda case, found: round(case["heat.need_c"] - found.interface_c, 3),
)
_of_likely("sag_k", _DIFFERENCE, "How far a hand-held platen likely dips on this piece.", lambda _, found: found.sag_k)


def _of_estimate(name: str, type_: FactType, about: str, read: Callable[[Case, Estimated], Any]) -> None:
    def compute(case: Case) -> Any:
        found = case["heat.estimate"]
        return None if found is None else read(case, found)

    compute.__doc__ = about
    fact(f"heat.{name}", type_, PRESSING)(compute)


_WHEN = ("soon", "likely", "late")
_SAID = ("at the soonest", "likely", "at the latest")
_HOT = ("if everything helps", "likely", "if everything hinders")


def _reach_at(place: int) -> Callable[[Case, Estimated], float]:
    return lambda _, found: min(found.reach_s[place], LONGEST_S)


def _interface_at(place: int) -> Callable[[Case, Estimated], float]:
    return lambda _, found: round(found.interface_c[place], 3)


for _at, _word in enumerate(_WHEN):
    _of_estimate(
        f"reach_{_word}_s",
        _TIME,
        f"When the print is at what the transfer needs, {_SAID[_at]}; 15 min if it never is.",
        _reach_at(_at),
    )
    _of_estimate(
        f"interface_{_word}_c",
        _TEMPERATURE,
        f"How hot the print is when the dwell ends, {_HOT[_at]}.",
        _interface_at(_at),
    )
_of_estimate(
    "interface_words",
    TEXT,
    "How hot the print gets, in words with the range.",
    lambda case, e: (
        f"about {_shown(case, e.interface_c[1])}"
        f" ({_shown(case, e.interface_c[2])} to {_shown(case, e.interface_c[0])} by estimate)"
    ),
)


@fact("heat.reach_words", TEXT, PRESSING)
def reach_words(case: Case) -> str:
    """When the print is at what the transfer needs, in words with the range."""
    found = case["heat.estimate"]
    return "a time that cannot be estimated here" if found is None else range_words(found.reach_s)


def _shown(case: Case, value_c: float) -> str:
    return case.show(units.TEMPERATURE, value_c)


def range_words(times_s: tuple[float, float, float]) -> str:
    """ "about 51 s (19 s to 4 min by estimate)", and where it may never come to it, that."""
    soon, likely, late = times_s
    if not isfinite(soon):
        return f"not within {_time_words(LONGEST_S)}, by estimate"
    if not isfinite(likely):
        return f"likely not within {_time_words(LONGEST_S)} ({_time_words(soon)} at best, by estimate)"
    end = _time_words(late) if isfinite(late) else "never"
    return f"about {_time_words(likely)} ({_time_words(soon)} to {end} by estimate)"


def _time_words(time_s: float) -> str:
    """To two figures: an estimate has no more."""
    step = 1.0 if time_s < 60 else 5.0 if time_s < 120 else 30.0 if time_s < 600 else 60.0
    return units.show(units.TIME, max(1.0, step * round(time_s / step)))


_CURVE_STEPS = 24


def heat_document(case: Case, chosen: Chosen, *, curve: bool = False) -> dict[str, Any] | None:
    """The estimate as a plan shows it, each figure as [soon, likely, late]; null times are not within 15 min.

    ``curve``: with what it takes to draw it.

    None where there is no estimate. ``case`` must have settings, ``chosen`` are they.
    """
    found, lying, curves = case["heat.estimate"], case["heat.lay"], None
    if found is not None:
        curves = _curves(lying, chosen)
    if curves is None or chosen.time_s is None:
        return None
    state = "a piece that was not pre-pressed" if lying.water_share else "a dry piece"
    return {
        "need_c": case["heat.need_c"],
        "hold_s": case["heat.need_s"],
        "dwell_s": chosen.time_s,
        "interface_c": [round(each, 1) for each in found.interface_c],
        "reach_s": [round(each, 1) if isfinite(each) else None for each in found.reach_s],
        "sag_k": round(case["heat.sag_k"], 1),
        "face_down": lying.piece.face_down,
        "damp": bool(lying.water_share),
        "touch_wait_s": case["touch.wait_s"] and round(case["touch.wait_s"]),
        "curve": _drawn(curves, chosen.time_s) if curve else None,
        "text": f"estimate for {state}: at {_shown(case, case['heat.need_c'])} after {range_words(found.reach_s)}",
    }


def _drawn(curves: tuple[Floats, Floats, Floats], dwell_s: float) -> dict[str, list[float]]:
    """The three curves to draw, to a little beyond the dwell: times in s, temperatures in °C."""
    until_s = min(LONGEST_S, 1.25 * dwell_s)
    times = [round(until_s * (step / _CURVE_STEPS) ** 1.5, 1) for step in range(_CURVE_STEPS + 1)]
    named = zip(("soon_c", "likely_c", "late_c"), curves, strict=True)
    return {"times_s": times} | {name: at_times(curve, times) for name, curve in named}


# -- what lies behind ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Behind:
    """A print on the far side that is there already: what it is, and where it softens."""

    title: str
    softens_c: float


@fact("heat.behind", DATA, PRESSING)
def behind(case: Case) -> Behind | None:
    """The print that softens first of those on the far side: pressed before this one, or of unknown place on cloth."""
    found = [*_pressed_before(case), *_from_before(case)]
    return min(found, key=lambda each: (each.softens_c, each.title)) if found else None


def _pressed_before(case: Case) -> list[Behind]:
    order = case.sequence.order if case.sequence is not None else ()
    earlier = order[: order.index(case.index)] if case.index in order else ()
    here = case["place.placement"]
    found = []
    for index in earlier:
        other = case.order.decorations[index]
        transfer = case.book.transfer(other.transfer)
        if transfer is not None and frozenset({here, placement_of(case, other)}) in _FAR_SIDES:
            found += _softening(case, transfer)
    return found


def _from_before(case: Case) -> list[Behind]:
    names = (case["item.already"] or ()) if case["item.textile"] else ()
    return [each for name in names for each in _softening(case, case.entry("transfers", name))]


def _softening(case: Case, transfer: Transfer) -> list[Behind]:
    softens = _softens_c(case, transfer, transfer.temperature.least)
    if softens is None or transfer.principle in ("stud", "dye-vapour"):
        return []  # loose stones let go by force, and dye leaves no layer
    return [Behind(in_a_sentence(transfer.title), softens)]


@fact("heat.something_behind", BOOL, PRESSING)
def something_behind(case: Case) -> bool:
    """Whether a print is, or may be, on the far side already, and its heat can be estimated."""
    return case["heat.back_likely_c"] is not None


@fact("heat.behind_title", TEXT, PRESSING)
def behind_title(case: Case) -> str | None:
    """The print on the far side."""
    found = case["heat.behind"]
    return None if found is None else found.title


@fact("heat.behind_softens_c", _TEMPERATURE, PRESSING)
def behind_softens_c(case: Case) -> float | None:
    """Where the print on the far side softens."""
    found = case["heat.behind"]
    return None if found is None else found.softens_c


def _back_end_c(case: Case, which: str, spread: float) -> float | None:
    """The far side at the end of the dwell; not worked out where nothing lies there."""
    lying, chosen = case["heat.lay"], case.chosen
    if case["heat.behind"] is None or lying is None or chosen is None or chosen.surface_c is None:
        return None
    found = _corners(lying, which)
    if found is None or chosen.time_s is None:
        return None
    return round(at_time(found[0].back_c(chosen.surface_c + spread * chosen.spread_k), chosen.time_s), 3)


@fact("heat.back_likely_c", _TEMPERATURE, PRESSING)
def back_likely_c(case: Case) -> float | None:
    """How hot the far side of what lies under the platen likely gets, where a print lies there."""
    return _back_end_c(case, "likely", 0.0)


@fact("heat.back_high_c", _TEMPERATURE, PRESSING)
def back_high_c(case: Case) -> float | None:
    """How hot the far side gets if everything helps, where a print lies there."""
    return _back_end_c(case, "back", 1.0)


# -- touching it ---------------------------------------------------------------------------------------------------


@lru_cache(maxsize=_CACHED)
def _wait_s(numbers: tuple[float, float, float, float], touch: str, start_c: float, substrate: _Named) -> float:
    piece = substrate_layer(substrate.entry, numbers[3])
    return time_to_touch_s(piece, touch, start_c, TOUCH_CONTACT_S, faces=1).high


@dataclass(frozen=True, slots=True)
class _Named:
    """An entry that rides along with the numbers that a cache goes by."""

    entry: Substrate = field(compare=False)


@fact("touch.wait_s", _TIME, PRESSING)
def wait_s(case: Case) -> float | None:
    """How long to wait until bare skin bears the piece for 10 s: on a mat in still air, the cautious figure.

    From pressing heat down to the stricter of ISO 13732-1 and IEC 62368-1 for its material.
    """
    entry, chosen, thickness_mm = case.substrate, case.chosen, case["item.thickness_mm"]
    if entry is None or chosen is None or chosen.surface_c is None or thickness_mm is None:
        return None
    start_c = _TOUCH_STEP_K * ceil((chosen.surface_c + chosen.spread_k) / _TOUCH_STEP_K)
    numbers = (entry.conductivity, entry.density, entry.heat_capacity, thickness_mm)
    found = _wait_s(numbers, entry.touch, start_c, _Named(entry))
    return found if found < inf else None


@fact("touch.wait_words", TEXT, PRESSING)
def wait_words(case: Case) -> str:
    """That time in words, rounded up."""
    found = case["touch.wait_s"]
    if found is None:
        return "many minutes"
    step = 10.0 if found < 120 else 60.0
    return f"up to {units.show(units.TIME, step * ceil(found / step))}"
