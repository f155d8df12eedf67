"""What the heat room says of this stack on this press: when the print is hot enough, what lies behind, when to touch.

Every figure is an estimate with three values: *soon* (the hottest the print can be, so the soonest it is there),
*likely* and *late*. Stacks are solved once and kept (``heat.response``), for all temperatures and dwells.

A piece that takes up moisture is damp as far as its pre-press has not dried it, and stays cooler while that boils off:
what it takes to boil it counts as heat capacity of the piece. Boards stay damp inside after any usual pre-press; at the
soonest they are taken as dry. The estimate is left out where heat does not run straight down through closed layers: in
ovens, under a platen of the wrong shape, and below loose stones or studs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil, exp, hypot, inf, isfinite, log, log2, sqrt
from types import MappingProxyType
from typing import Any

from accord_rules.derive.press import Calibration
from accord_rules.derive.process import Closing
from accord_rules.derive.transfer import practice_of
from accord_rules.documents import units
from accord_rules.heat.build import Sheet, stack_for, start_for, substrate_layer
from accord_rules.heat.grid import Floats
from accord_rules.heat.materials import ADHESIVE_HALVED_BY_K, PLATENS, ROOM_C
from accord_rules.heat.response import (
    LONGEST_S,
    Response,
    at_time,
    coolest_c,
    corners,
    crossing_s,
    dosed_s,
    hottest_c,
    soaked,
)
from accord_rules.heat.stack import HeatError, Interface, Stack
from accord_rules.heat.strips import Strip, fitted_contact
from accord_rules.heat.touch import time_to_touch_s
from accord_rules.orders.order import NONE, Decoration, Size, StripReading
from accord_rules.orders.sheet import SECOND, lies_in
from accord_rules.revision.catalogue import Consumable, Dose, PressType, Substrate, Transfer, transfer_named
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Scope,
    entries,
    fact,
    later,
    limit,
    limits,
    maybe,
    number,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

DECORATION, PRESSING = Scope.DECORATION, Scope.PRESSING
_TEMPERATURE, _TIME, _DIFFERENCE = number(units.TEMPERATURE), number(units.TIME), number(units.TEMPERATURE_DIFFERENCE)
# A print on the back lies on the bed while the front is pressed, and the reverse.
_FAR_SIDES = frozenset(
    {frozenset({"front", "back"}), frozenset({"face", "reverse"}), frozenset({"left-chest", "back"})}
)
# A range up to this wide tells an operator something: latest to soonest, and hottest less coolest.
_TELLING_RATIO = 3.0
_TELLING_SPAN_K = 25.0
# The pressings beside the main one whose layers are known: married sheets lie without the piece, and an adhesive is a
# sheet of its own.
_ESTIMATED_BESIDE = frozenset({"tack", *SECOND})
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


@fact("heat.window_least_c", DATA, DECORATION)
def window_least_c(
    transfer: Transfer = read("transfer.entry"),
    least_c: float = read("transfer.least_c"),
    by_sheet: bool = read("sheet.temperature_said"),
    substrate: str = read("item.substrate"),
    goods: str | None = maybe("item.family"),
) -> float:
    """The least of the window that tells where the adhesive flows; the cloth's blend makes no difference to that."""
    return least_c if by_sheet else practice_of(transfer, substrate, goods or "").temperature.least


@fact("heat.dose", DATA, DECORATION)
def dose(
    transfer: Transfer = read("transfer.entry"),
    least_c: float | None = maybe("heat.window_least_c"),
    below_least_k: float = limit("heat.below_least"),
    usual_s: float = limit("heat.adhesive_hold"),
) -> Dose | None:
    """The heat that the print has to have had where it meets the piece: the transfer's own dose, else an adhesive's."""
    softens_c = _softens_c(transfer, least_c, below_least_k)
    return transfer.dose or (None if softens_c is None else Dose(softens_c, usual_s, ADHESIVE_HALVED_BY_K))


def _softens_c(transfer: Transfer, least_c: float | None, below_least_k: float) -> float | None:
    """Where a transfer starts to take, and once applied to let go."""
    if transfer.dose is not None:
        return transfer.dose.at
    return None if least_c is None else least_c - below_least_k


@fact("heat.need_c", _TEMPERATURE, DECORATION)
def need_c(dose: Dose = read("heat.dose")) -> float:
    """The temperature that the dose it needs is told at."""
    return dose.at


@fact("heat.need_s", _TIME, DECORATION)
def need_s(dose: Dose = read("heat.dose")) -> float:
    """How long the print needs at that temperature, or what does as much at another."""
    return dose.time


@fact("heat.need_words", TEXT, DECORATION)
def need_words(dose: Dose = read("heat.dose"), preferences: units.UnitPreferences = source("shop/units")) -> str:
    """The dose it needs, in words."""
    time, at = units.show(units.TIME, dose.time), units.show(units.TEMPERATURE, dose.at, preferences)
    return f"{time} at {at} (or what does as much)"


@fact("heat.face_down", BOOL, DECORATION)
def face_down(
    brittle: bool = read("item.brittle"),
    transfer: Transfer = read("transfer.entry"),
    shape: str | None = maybe("item.shape"),
) -> bool:
    """Whether the piece is laid on its print, so that heat crosses it: brittle flat goods under dye, on a soft pad."""
    return brittle and shape == "flat" and transfer.principle == "dye-vapour"


# -- the stack -----------------------------------------------------------------------------------------------------


# Cover, pad, °C of the platen, share of it that bears, share of moisture, °C it has to get to, whether part dried.
_Place = tuple[str | None, str | None, float, float, float, float, bool]


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
    contact: Interface | None = field(compare=False)  # the press's own; the type's usual one where there is none
    # The ways in which it has lain, kept because their keys are long.
    lays: dict[_Place, Lay] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, slots=True, eq=False)
class Lay:
    """A piece and the sheets it lies between. Lays that heat does not tell apart are one and the same object."""

    piece: Piece
    sheets: tuple[Sheet | None, Sheet | None]
    surface_c: float
    covered: float
    water_share: float
    need_c: float
    part_dried: bool  # pre-pressed, if not all through: how damp it still is hangs on more than the time

    def stack(self, which: str = "likely") -> Stack:
        """The stack of a corner (``response.corners``). Raises HeatError where the model does not hold."""
        cover, pad = self.sheets
        water_share = 0.0 if self.part_dried and which in ("soon", "back") else self.water_share
        stack = stack_for(
            self.piece.substrate,
            self.piece.transfer,
            self.piece.press,
            self.surface_c,
            thickness_mm=self.piece.thickness_mm,
            cover=cover,
            pad=pad,
            plies=self.piece.plies,
            water_share=water_share,
            face_down=self.piece.face_down,
            covered=self.covered,
            contact=self.piece.contact,
        )
        return soaked(stack, self.need_c, ROOM_C)


@fact("fit.piece", DATA, PRESSING)
def piece(
    substrate: Substrate = read("substrate.entry"),
    transfer: Transfer = read("transfer.entry"),
    thickness_mm: float = read("item.thickness_mm"),
    usual: PressType = read("press.entry"),
    shape_ok: Callable[[], bool | None] = later("fit.shape_ok"),
    kind: Callable[[], str | None] = later("item.kind"),
    face_down: Callable[[], bool | None] = later("heat.face_down"),
    power: float | None = source("press/power"),
    platen: Callable[[], Size] = later("press.platen"),
    contact: Interface | None = maybe("press.contact"),
) -> Piece | None:
    """What lies under the platen, for the heat estimate; None where the model does not hold."""
    if usual.closing not in PLATENS or transfer.principle == "stud" or not shape_ok():
        return None
    plies = 2 if substrate.family == "cloth" and kind() in ("garment", "bag") else 1
    down = bool(face_down())
    press = usual
    own: tuple[float, ...] = ()
    if usual.closing == "hand":
        # The press type with what the shop says of its own press.
        press = replace(usual, power=usual.power if power is None else power, platen=platen())
        own = (press.power, press.platen.width, press.platen.height)
    key = (
        (substrate.conductivity, substrate.density, substrate.heat_capacity, thickness_mm, plies, down),
        (transfer.principle, transfer.thickness, transfer.plastic, transfer.carrier),
        # Presses that close differently may be built alike.
        (next(closing for closing, build in PLATENS.items() if build is PLATENS[press.closing]), press.heated),
        own,
        contact,
    )
    return Piece(
        key=key,
        substrate=substrate,
        transfer=transfer,
        press=press,
        thickness_mm=thickness_mm,
        plies=plies,
        face_down=down,
        contact=contact,
    )


@fact("press.contact", DATA, PRESSING)
def contact(
    readings: tuple[StripReading, ...] = source("press/strips"),
    usual: PressType = read("press.entry"),
    calibration: Callable[[], Calibration] = later("press.calibration"),
    substrates: Mapping[str, Substrate] = entries("substrates"),
    consumables: Mapping[str, Consumable] = entries("consumables"),
    strip_error_k: float = limit("heat.strip_error"),
) -> Interface | None:
    """What the press's contacts conduct, from the shop's strip readings; None without any, and where none can be."""
    if not readings or usual.closing not in PLATENS:
        return None
    curve = calibration()
    strips = []
    for reading in readings:
        substrate = substrates[reading.substrate]
        thickness_mm = substrate.thickness if reading.thickness is None else reading.thickness
        # Where nobody has probed the press its platen is known no better than its type's.
        error_k = (
            strip_error_k
            if curve.probed_near(reading.display)
            else hypot(strip_error_k, curve.spread_k(reading.display))
        )
        cover = _sheet(consumables, reading.cover)
        strips.append(
            Strip(
                surface_c=curve.surface_c(reading.display),
                time_s=reading.time,
                read_c=reading.read,
                error_k=error_k,
                substrate=substrate,
                thickness_mm=thickness_mm,
                cover=cover,
            )
        )
    return _fitted(_Keyed(repr((strips, usual)), tuple(strips), usual))


@dataclass(frozen=True, slots=True)
class _Keyed:
    """Strips of a press that ride along with their numbers, since entries of the book cannot be hashed."""

    key: str
    strips: tuple[Strip, ...] = field(compare=False)
    press: PressType = field(compare=False)


@lru_cache(maxsize=_CACHED)
def _fitted(keyed: _Keyed) -> Interface | None:
    try:
        return fitted_contact(keyed.strips, keyed.press)
    except HeatError:
        return None  # a reading of a stack that the model does not hold for


@dataclass(frozen=True, slots=True)
class _Unkeyed:
    """A lay that rides along with its key."""

    lay: Lay = field(compare=False)


@lru_cache(maxsize=2 * _CACHED)
def _the_same(_key: tuple[Any, ...], first: _Unkeyed) -> _Unkeyed:
    """The lay that had this key first, so that what is kept of lays can go by the object: keys are long."""
    return first


def _sheet(consumables: Mapping[str, Consumable], name: str | None) -> Sheet | None:
    return None if name in (None, NONE) else Sheet(name, consumables[name])


@fact("fit.covered", DATA, PRESSING)
def covered(contact_m2: float = read("fit.contact_m2"), platen: Size = read("press.platen")) -> float:
    """The share of a hand-held platen that bears on the piece, in steps of 5 % of itself, so that stacks repeat."""
    share = contact_m2 / (platen.width * platen.height * 1e-6)
    if share >= 1:
        return 1.0
    return float(max(_COVERED_LEAST, exp(round(log(share) * _COVERED_STEPS) / _COVERED_STEPS)))


@lru_cache(maxsize=2 * _CACHED)
def _corners(lying: Lay, which: str) -> tuple[Response, ...] | None:
    """One corner of the stack, solved; None where the model does not hold (a heater too weak for its platen)."""
    try:
        stack = lying.stack(which)
        return corners(stack, which, ROOM_C, start_for(lying.piece.press, stack))
    except HeatError:
        return None


# -- the estimate --------------------------------------------------------------------------------------------------
#
# Most pressings are fine by their likely figure, and nobody asks further: the other corners are solved when wanted.


@lru_cache(maxsize=2 * _CACHED)
def _curve(lying: Lay, which: str, surface_c: float) -> Floats | None:
    """The print at ``response.TIMES_S``."""
    solved = _corners(lying, which)
    if solved is None:
        return None
    curves_c = [response.interface_c(surface_c) for response in solved]
    return coolest_c(curves_c) if which == "late" else hottest_c(curves_c)


@dataclass(frozen=True, slots=True, eq=False)
class Likely:
    """The likely figures of one pressing: °C at the print when the dwell ends, K by which the platen dips."""

    interface_c: float
    sag_k: float
    curve_c: Floats
    time_s: float

    def short_k(self, need: Dose) -> float:
        """Kelvins that a dose falls short by, as its logarithm has them; at most 200."""
        dosed = at_time(dosed_s(self.curve_c, need.at, need.halved_by), self.time_s)
        return min(200.0, need.halved_by * log2(need.time / dosed)) if dosed > 0 else 200.0


@dataclass(frozen=True, slots=True)
class Estimated:
    """(soon, likely, late): °C at the print when the dwell ends, s until it has had the dose that the transfer needs
    (infinite for not within ``LONGEST_S``)."""

    interface_c: tuple[float, float, float]
    reach_s: tuple[float, float, float]


def _curves(lying: Lay, surface_c: float, spread_k: float) -> tuple[Floats, Floats, Floats] | None:
    """Soon, likely, late: the platen's spread helps the first and hinders the last."""
    soon = _curve(lying, "soon", surface_c + spread_k)
    likely = _curve(lying, "likely", surface_c)
    late = _curve(lying, "late", surface_c - spread_k)
    return None if soon is None or likely is None or late is None else (soon, likely, late)


@fact("heat.lay", DATA, PRESSING)
def lay(
    surface_c: float | None = source("chosen/surface_c"),
    time_s: float | None = source("chosen/time_s"),
    cover: str | None = source("chosen/cover"),
    pad: str | None = source("chosen/pad"),
    pre_press_s: float = source("chosen/pre_press_s"),
    lying: Callable[[], Piece | None] = later("fit.piece"),
    need_c: Callable[[], float] = later("heat.need_c"),
    water_share: Callable[[], float] = later("item.water_share"),
    covered: Callable[[], float | None] = later("fit.covered"),
    consumables: Mapping[str, Consumable] = entries("consumables"),
    dry_from_s: float = read("item.dry_from_s"),
) -> Lay | None:
    """How the piece lies under the settings in force; None where there is no estimate, or while they are open."""
    if time_s is None or (under := lying()) is None or surface_c is None:
        return None
    at_c, by_hand = _solved_at_c(under, surface_c), under.press.closing == "hand"
    left = 0.0 if pre_press_s >= dry_from_s else 1 - sqrt(pre_press_s / dry_from_s)
    damp_share = left * water_share() if left else 0.0
    # How far up it has to go counts for what boils off alone.
    until_c = need_c() if damp_share else 0.0
    part_dried = bool(damp_share) and pre_press_s > 0
    borne = covered() if by_hand else 1.0
    if borne is None:
        return None
    # All that a lay is made of: one piece lies in another way where another print is assumed on it, or none.
    lain, place = under.lays, (cover, pad, at_c, borne, damp_share, until_c, part_dried)
    if place not in lain:
        sheets = (_sheet(consumables, cover), _sheet(consumables, pad))
        unkeyed = _Unkeyed(
            Lay(
                piece=under,
                sheets=sheets,
                surface_c=at_c,
                covered=borne,
                water_share=damp_share,
                need_c=until_c,
                part_dried=part_dried,
            )
        )
        lain[place] = _the_same(
            (under.key, _keys_of(sheets), at_c, borne, damp_share, until_c, part_dried), unkeyed
        ).lay
    return lain[place]


def _solved_at_c(piece: Piece, surface_c: float) -> float:
    """The platen's temperature that a stack is solved at, near the one that is set."""
    if piece.press.closing != "hand":
        return _ANY_SURFACE_C
    return max(_ANY_SURFACE_C, _SAG_STEP_K * round(surface_c / _SAG_STEP_K))


def _keys_of(sheets: tuple[Sheet | None, Sheet | None]) -> tuple[Any, ...]:
    return tuple(s and (s.name, s.entry.kind, s.entry.conductivity, s.entry.thickness) for s in sheets)


@fact("heat.likely", DATA, PRESSING)
def likely(
    lying: Lay = read("heat.lay"),
    surface_c: float = source("chosen/surface_c"),
    time_s: float = source("chosen/time_s"),
) -> Likely | None:
    """The likely figures of this pressing."""
    curve, corner = _curve(lying, "likely", surface_c), _corners(lying, "likely")
    if curve is None or corner is None:
        return None
    return Likely(at_time(curve, time_s), corner[0].sag_k(surface_c), curve, time_s)


@fact("heat.curves", DATA, PRESSING)
def curves(
    lying: Lay = read("heat.lay"),
    surface_c: float = source("chosen/surface_c"),
    spread_k: float = source("chosen/spread_k"),
) -> tuple[Floats, Floats, Floats] | None:
    """How hot the print gets over time, soon, likely and late, at ``response.TIMES_S``."""
    return _curves(lying, surface_c, spread_k)


@fact("heat.estimate", DATA, PRESSING)
def estimate(
    curves: tuple[Floats, Floats, Floats] = read("heat.curves"),
    time_s: float = source("chosen/time_s"),
    need: Dose = read("heat.dose"),
) -> Estimated:
    """All figures of this pressing."""
    soon, middle, late = curves
    return Estimated(
        (at_time(soon, time_s), at_time(middle, time_s), at_time(late, time_s)),
        (_taken_s(soon, need), _taken_s(middle, need), _taken_s(late, need)),
    )


@fact("heat.beside_main", DATA, PRESSING)
def beside_main(
    lying: Lay = read("heat.lay"),
    closings: tuple[Closing, ...] = read("process.closings"),
    spread_k: float = source("chosen/spread_k"),
    consumables: Mapping[str, Consumable] = entries("consumables"),
) -> Mapping[str, tuple[float, float, float]]:
    """How hot the print is at the end of each pressing beside the main one, soon, likely and late, by its name; from
    cold. Without those whose layers are not known, and where the model does not hold."""
    ends: dict[str, tuple[float, float, float]] = {}
    for closing in closings:
        if closing.name not in _ESTIMATED_BESIDE or closing.surface_c is None:
            continue
        then = _relaid(lying, closing, _sheet(consumables, closing.cover))
        curves_c = _curves(then, closing.surface_c, spread_k)
        if curves_c is not None:
            soon, middle, late = (at_time(curve_c, closing.time_s) for curve_c in curves_c)
            ends[closing.name] = (soon, middle, late)
    return MappingProxyType(ends)


@fact("heat.reverse_c", DATA, PRESSING)
def reverse_c(
    done: bool = read("reverse.done"),
    ends: Callable[[], Mapping[str, tuple[float, float, float]] | None] = later("heat.beside_main"),
) -> tuple[float, float, float] | None:
    """How hot the glue is at the end of the pressing from the reverse: soon, likely and late."""
    return (ends() or {}).get("reverse") if done else None


@fact("heat.reverse_likely_c", _TEMPERATURE, PRESSING)
def reverse_likely_c(reached_c: tuple[float, float, float] = read("heat.reverse_c")) -> float:
    """How hot the glue likely gets in the pressing from the reverse."""
    return round(reached_c[1], 3)


@fact("heat.reverse_short_k", _DIFFERENCE, PRESSING)
def reverse_short_k(
    reached_c: tuple[float, float, float] = read("heat.reverse_c"), need: Dose = read("heat.dose")
) -> float:
    """By how much too cool the glue stays in the pressing from the reverse even if everything helps; negative for
    hot enough."""
    return round(need.at - reached_c[0], 3)


def _relaid(lying: Lay, closing: Closing, cover: Sheet | None) -> Lay:
    """The same piece as it lies in another pressing: a second one comes when it is dry and its carrier is off, from the
    reverse through the cloth."""
    piece, of_main = lying.piece, closing.name == "tack"
    if not of_main:
        face_down = piece.face_down or lies_in(closing.name) == "reversed"
        bare = replace(piece.transfer, carrier="none")
        piece = replace(piece, key=(*piece.key, closing.name), transfer=bare, face_down=face_down, lays={})
    at_c, sheets = _solved_at_c(piece, closing.surface_c or 0.0), (cover, lying.sheets[1])
    damp = (lying.water_share, lying.need_c, lying.part_dried) if of_main else (0.0, 0.0, False)
    key = (piece.key, _keys_of(sheets), at_c, lying.covered, *damp)
    then = Lay(
        piece=piece,
        sheets=sheets,
        surface_c=at_c,
        covered=lying.covered,
        water_share=damp[0],
        need_c=damp[1],
        part_dried=damp[2],
    )
    return _the_same(key, _Unkeyed(then)).lay


def _taken_s(curve_c: Floats, need: Dose) -> float:
    """When a print has had what it needs."""
    return crossing_s(dosed_s(curve_c, need.at, need.halved_by), need.time)


@fact("heat.estimated", BOOL, PRESSING, warmed=True)
def estimated(
    likely: Likely | None = maybe("heat.likely"),
    by_hand: Callable[[], bool] = later("press.hand_held"),
    lying: Callable[[], Piece | None] = later("fit.piece"),
    covered: Callable[[], float | None] = later("fit.covered"),
) -> bool | None:
    """Whether the heat of this pressing can be estimated: not without a temperature, nor where the model fails.

    Unknown while it hangs on a size that is: how much of a hand-held platen bears on the piece.
    """
    if likely is None and by_hand() and lying() is not None and covered() is None:
        return None
    return likely is not None


@fact("heat.surely_cold", BOOL, PRESSING, warmed=True)
def surely_cold(
    short_k: float = read("heat.short_k"),
    time_s: float = source("chosen/time_s"),
    estimate: Callable[[], Estimated] = later("heat.estimate"),
) -> bool:
    """Whether the print gets less than the transfer needs even if everything helps."""
    return short_k > 0 and estimate().reach_s[0] > time_s


@fact("heat.short_k", _DIFFERENCE, PRESSING)
def short_k(likely: Likely = read("heat.likely"), need: Dose = read("heat.dose")) -> float:
    """By how much hotter it would likely have to be to get what the transfer needs in its dwell; negative for less."""
    return round(likely.short_k(need), 3)


@fact("heat.sag_k", _DIFFERENCE, PRESSING)
def sag_k(likely: Likely = read("heat.likely")) -> float:
    """How far a hand-held platen likely dips on this piece."""
    return likely.sag_k


_WHEN = ("soon", "likely", "late")
_SAID = ("at the soonest", "likely", "at the latest")
_HOT = ("if everything helps", "likely", "if everything hinders")


def _figures(place: int) -> None:
    """Declare when the print is hot enough, and how hot it gets, of one of the three."""

    def reach_s(estimate: Estimated = read("heat.estimate")) -> float:
        return min(estimate.reach_s[place], LONGEST_S)

    def interface_c(estimate: Estimated = read("heat.estimate")) -> float:
        return round(estimate.interface_c[place], 3)

    about = f"When the print has had what the transfer needs, {_SAID[place]}; 15 min if it never is."
    fact(f"heat.reach_{_WHEN[place]}_s", _TIME, PRESSING, about=about)(reach_s)
    about = f"How hot the print is when the dwell ends, {_HOT[place]}."
    fact(f"heat.interface_{_WHEN[place]}_c", _TEMPERATURE, PRESSING, about=about)(interface_c)


for _place in range(len(_WHEN)):
    _figures(_place)


@fact("heat.interface_words", TEXT, PRESSING)
def interface_words(
    estimate: Estimated = read("heat.estimate"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """How hot the print gets, in words; with the range where that helps."""
    return heat_words(estimate.interface_c, preferences)


def heat_words(interface_c: tuple[float, float, float], preferences: units.UnitPreferences) -> str:
    """ "about 128 °C (119 °C to 136 °C by estimate)"; where the range is too wide to help, the likely figure."""
    soon, middle, late = (units.show(units.TEMPERATURE, value_c, preferences) for value_c in interface_c)
    if interface_c[0] - interface_c[2] > _TELLING_SPAN_K:
        return f"likely about {middle}"
    return f"about {middle} ({late} to {soon} by estimate)"


@fact("heat.reach_words", TEXT, PRESSING)
def reach_words(estimate: Estimated | None = maybe("heat.estimate")) -> str:
    """When the print has had what the transfer needs, in words."""
    return "a time that cannot be estimated here" if estimate is None else range_words(estimate.reach_s)


@fact("heat.soonest_words", TEXT, PRESSING)
def soonest_words(estimate: Estimated = read("heat.estimate")) -> str:
    """When the print has had what the transfer needs if everything helps, in words."""
    soon_s = estimate.reach_s[0]
    return _time_words(soon_s) if isfinite(soon_s) else f"more than {_time_words(LONGEST_S)}"


def range_words(times_s: tuple[float, float, float]) -> str:
    """ "about 51 s (35 s to 75 s by estimate)"; where the range is too wide to help, the likely figure and that."""
    soon, likely, late = times_s
    if not isfinite(soon):
        return f"not within {_time_words(LONGEST_S)}, by estimate"
    if not isfinite(likely):
        return f"likely not within {_time_words(LONGEST_S)} ({_time_words(soon)} at best, by estimate)"
    if late > _TELLING_RATIO * soon:
        return f"likely about {_time_words(likely)}, by an estimate that knows no more than that"
    return f"about {_time_words(likely)} ({_time_words(soon)} to {_time_words(late)} by estimate)"


def _time_words(time_s: float) -> str:
    """To two figures: an estimate has no more."""
    step = 1.0 if time_s < 60 else 5.0 if time_s < 120 else 30.0 if time_s < 600 else 60.0
    return units.show(units.TIME, max(1.0, step * round(time_s / step)))


# -- what lies behind ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Behind:
    """A print on the far side that is there already: what it is, and where it softens."""

    title: str
    softens_c: float


@fact("heat.behind", DATA, PRESSING)
def behind(
    here: str | None = maybe("place.placement"),
    main: str | None = maybe("place.main_area"),
    earlier: Mapping[int, Decoration] = source("sequence/earlier", absent=MappingProxyType({})),
    cloth: Callable[[], bool | None] = later("item.textile"),
    already: Callable[[], tuple[str, ...] | None] = later("item.already"),
    products: Mapping[str, Transfer] = entries("products"),
    families: Mapping[str, Transfer] = entries("transfers"),
    below_least_k: float = limit("heat.below_least"),
) -> Behind | None:
    """The print that softens first of those on the far side: pressed before this one, or of unknown place on cloth.

    Unknown too where others come before and it is not known which side this one is on.
    """
    if here is None and earlier:
        return None
    names = [
        decoration.transfer
        for decoration in earlier.values()
        if frozenset({here, decoration.placement or main}) in _FAR_SIDES
    ]
    names += (already() or ()) if cloth() else ()
    transfers = [transfer_named(name, products, families) for name in names]
    prints = [_softening(transfer, below_least_k) for transfer in transfers if transfer is not None]
    return min((print_ for print_ in prints if print_ is not None), key=_softest, default=None)


def _softest(behind: Behind) -> tuple[float, str]:
    return behind.softens_c, behind.title


def _softening(transfer: Transfer, below_least_k: float) -> Behind | None:
    softens = _softens_c(transfer, practice_of(transfer, "", "").temperature.least, below_least_k)
    if softens is None or transfer.principle in ("stud", "dye-vapour"):
        return None  # loose stones let go by force, and dye leaves no layer
    return Behind(in_a_sentence(transfer.title), softens)


@fact("heat.something_behind", BOOL, PRESSING)
def something_behind(
    back_c: float | None = maybe("heat.back_likely_c"),
    behind: Behind | None = maybe("heat.behind"),
    here: str | None = maybe("place.placement"),
    earlier: Mapping[int, Decoration] = source("sequence/earlier", absent=MappingProxyType({})),
    estimated: Callable[[], bool | None] = later("heat.estimated"),
) -> bool | None:
    """Whether a print is, or may be, on the far side already, and its heat can be estimated."""
    if back_c is not None:
        return True
    side_open = here is None and bool(earlier)
    return None if side_open or (behind is not None and estimated() is None) else False


@fact("heat.behind_title", TEXT, PRESSING)
def behind_title(behind: Behind = read("heat.behind")) -> str:
    """The print on the far side."""
    return behind.title


@fact("heat.behind_softens_c", _TEMPERATURE, PRESSING)
def behind_softens_c(behind: Behind = read("heat.behind")) -> float:
    """Where the print on the far side softens."""
    return behind.softens_c


def _back_end_c(lying: Lay, which: str, surface_c: float, time_s: float) -> float | None:
    """The far side at the end of the dwell."""
    corner = _corners(lying, which)
    return None if corner is None else round(at_time(corner[0].back_c(surface_c), time_s), 3)


@fact("heat.back_likely_c", _TEMPERATURE, PRESSING)
def back_likely_c(
    lying: Lay = read("heat.lay"),
    behind: Behind = read("heat.behind"),
    surface_c: float = source("chosen/surface_c"),
    time_s: float = source("chosen/time_s"),
) -> float | None:
    """How hot the far side of what lies under the platen likely gets, where a print lies there."""
    return _back_end_c(lying, "likely", surface_c, time_s)


@fact("heat.back_high_c", _TEMPERATURE, PRESSING)
def back_high_c(
    lying: Lay = read("heat.lay"),
    behind: Behind = read("heat.behind"),
    surface_c: float = source("chosen/surface_c"),
    spread_k: float = source("chosen/spread_k"),
    time_s: float = source("chosen/time_s"),
) -> float | None:
    """How hot the far side gets if everything helps, where a print lies there."""
    return _back_end_c(lying, "back", surface_c + spread_k, time_s)


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
def wait_s(
    substrate: Substrate = read("substrate.entry"),
    thickness_mm: float = read("item.thickness_mm"),
    surface_c: float | None = source("chosen/surface_c"),
    spread_k: float = source("chosen/spread_k"),
) -> float | None:
    """How long to wait until bare skin bears the piece for 10 s: on a mat in still air, the cautious figure.

    From pressing heat down to the stricter of ISO 13732-1 and IEC 62368-1 for its material.
    """
    if surface_c is None:
        return None
    start_c = _TOUCH_STEP_K * ceil((surface_c + spread_k) / _TOUCH_STEP_K)
    numbers = (substrate.conductivity, substrate.density, substrate.heat_capacity, thickness_mm)
    wait = _wait_s(numbers, substrate.touch, start_c, _Named(substrate))
    return wait if wait < inf else None


@fact("touch.wait_words", TEXT, PRESSING)
def wait_words(wait_s: float | None = maybe("touch.wait_s")) -> str:
    """That time in words, rounded up."""
    if wait_s is None:
        return "many minutes"
    step = 10.0 if wait_s < 120 else 60.0
    return f"up to {units.show(units.TIME, step * ceil(wait_s / step))}"


@fact("touch.stack_words", TEXT, PRESSING)
def stack_words(
    wait_s: float | None = maybe("touch.wait_s"),
    words: str = read("touch.wait_words"),
    hard: bool = read("item.hard"),
    cloth: bool = read("item.textile"),
    rest_s: Mapping[str, float] = limits("plan.rest_cloth", "plan.rest_soft"),
) -> str:
    """How long nothing may lie on it, in words: soft goods have a rest, and none before they may be touched."""
    least_s = 0.0 if hard else rest_s["plan.rest_cloth" if cloth else "plan.rest_soft"]
    return words if wait_s is None or wait_s > least_s else units.show(units.TIME, least_s)
