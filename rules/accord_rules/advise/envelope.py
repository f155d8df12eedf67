"""Envelopes: what is still allowed for each thing an order leaves open, given what it says.

Each range is for one open field, the other open ones left to the book: any value in it makes an order that can be
done, and a step outside does not. Ranges of two fields hold together only where no rule looks at both.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Generic, TypeVar

from accord_rules.advise.plans import Candidate
from accord_rules.advise.pressings import windows
from accord_rules.advise.ranges import allowed, inward, size_step
from accord_rules.derive import FACT_TYPES
from accord_rules.derive.case import Case
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.press import line_kpa
from accord_rules.derive.sources import SOURCES
from accord_rules.documents import units
from accord_rules.documents.colour import read_colour
from accord_rules.documents.writing import quantity
from accord_rules.orders.order import NONE, Order, Settings, Size
from accord_rules.orders.sheet import PEELS, PRESSURES
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Kind, Of
from accord_rules.revision.rule import Rule
from accord_rules.verdict import (
    WORKABLE,
    AllowedDecoration,
    AllowedGround,
    AllowedOn,
    AllowedPressures,
    AllowedSize,
    AllowedTemperatures,
    AllowedTimes,
)
from accord_rules.weigh.scales import Remembered, Scales, Weighed

T = TypeVar("T")
Allowed = TypeVar("Allowed", AllowedTemperatures, AllowedTimes, AllowedPressures)
Judge = Callable[[Order], Weighed]
# Where to look when nothing else is known, °C: rules that open a second range far from the window would be seen.
_USUAL_C = (40.0, 80.0, 120.0, 160.0, 200.0, 240.0)
# Pressings for which ranges are worked out, a decoration on a press each: what keeps an envelope within a few seconds.
PRESSINGS_MOST = 12
_FINE = 0.01  # of a step of the shop's unit
# What settings can change, what the size of a print can (settings left as they are), and what the ground can; and the
# limits that the last are worked out with.
_CHOSEN = tuple(source.name for source in SOURCES.values() if source.subject == "chosen")
_SET = GRAPH.downstream(_CHOSEN)
_SIZED = GRAPH.downstream(("/decorations/{i}/size",), _CHOSEN)
_SHADED = GRAPH.downstream(("item.ground",), _CHOSEN) & GRAPH.facts.keys()
_SHADES = {limit for fact in _SHADED for limit in GRAPH.named(fact, Of.LIMIT)}


@dataclass(frozen=True, slots=True)
class Field(Generic[Allowed]):
    """An open setting with a number: its dimension, the step an operator can set, how an order says it, and the shape
    of what is allowed for it."""

    shape: type[Allowed]
    dimension: units.Dimension
    step: float
    say: Callable[[float], Order]


def workable(weighed: Weighed) -> bool:
    return weighed.verdict in WORKABLE


def possible_ones(candidates: Iterable[Candidate], judge: Judge) -> list[Candidate]:
    """Those that add a press or a transfer to the others, best first, each judged in full."""
    possible: list[Candidate] = []
    seen: set[tuple[int | str, str]] = set()
    for candidate in candidates:
        adds: set[tuple[int | str, str]] = {("press", candidate.on_press.press.id), *enumerate(candidate.transfers)}
        if not adds <= seen and workable(judge(candidate.order)):
            possible.append(candidate)
            seen |= adds
    return possible


class Bench:
    """Judges one way to do an order on its press, with one decoration's settings or size changed at a time.

    What the rules say of the other decorations is remembered. ``full`` judges an order as validating it does: the ends
    of every range are put to it, so that nothing is promised that only the short way allows. What is only tried on the
    way to them is put to the judge alone; what is told, to engine and judge.
    """

    def __init__(self, scales: Scales, whole: Case, of_order: Weighed, candidate: Candidate, full: Judge) -> None:
        self._scales, self._of_order, self.full = scales, of_order, full
        self._whole, self._press = whole.with_order(candidate.order), candidate.on_press.press
        self._cases = [self._whole.decoration_case(index) for index in range(len(candidate.order.decorations))]
        self._general = [scales.weigh(case) for case in self._cases]
        self._known, self._known_of_trials = Remembered(), Remembered()

    def try_out(self, order: Order) -> Weighed:
        """What the judge alone says, for looking where a range ends."""
        with self._scales.trying():
            return self._weigh(order, self._known_of_trials)

    def judge(self, order: Order) -> Weighed:
        """What engine and judge say."""
        return self._weigh(order, self._known)

    def _weigh(self, order: Order, known: Remembered) -> Weighed:
        decorations, cases, general = self._whole.order.decorations, list(self._cases), list(self._general)
        changed = self._whole.with_order(order)
        for index, (before, now) in enumerate(zip(decorations, order.decorations, strict=True)):
            if now is not before:
                cases[index] = changed.decoration_case(index)
                # Settings are no matter of the decoration as such, its size is.
                if now.size != before.size:
                    general[index] = self._scales.weigh(cases[index])
        return sum(general, self._of_order) + self._scales.on_press(cases, self._press, known).weighed


def on_press(candidate: Candidate, bench: Bench) -> AllowedOn:
    """What is allowed on one press with the transfers of one way to do it."""
    return AllowedOn(
        candidate.on_press.press.id,
        tuple(_decoration(candidate.order, case, bench) for case in candidate.on_press.cases),
    )


def _decoration(order: Order, case: Case, bench: Bench) -> AllowedDecoration:
    said = case.decoration.settings or Settings()

    def setting(**fields: Any) -> Order:
        return order.with_decoration(case.index, settings=replace(said, **fields))

    def words(field: str, choices: Iterable[str]) -> tuple[str, ...] | None:
        if getattr(said, field) is not None:
            return None
        trials = ((word, setting(**{field: word})) for word in choices)
        return tuple(word for word, order in trials if workable(bench.try_out(order)) and workable(bench.full(order)))

    def ranges(field: Field[Allowed], marks: Iterable[float]) -> tuple[Allowed, ...]:
        return _confirmed(
            bench,
            lambda judge: tuple(_ranges(case, judge, bench.judge, field, marks)),
            lambda spans: [
                field.say(units.parse(field.dimension, end)) for span in spans for end in (span.least, span.most)
            ],
        )

    temperature = Field(
        AllowedTemperatures, units.TEMPERATURE, 1.0, lambda c: setting(temperature=c, read_at="display")
    )
    dwell = Field(AllowedTimes, units.TIME, 1.0, lambda s: setting(time=s))
    gauge = Field(AllowedPressures, units.PRESSURE, 1.0, lambda kpa: setting(pressure=kpa))
    metered = said.pressure is None and case.press.cylinder is not None
    cover, pad, tape = (words(kind, (NONE, *_sheets(case, kind))) for kind in ("cover", "pad", "tape"))
    return AllowedDecoration(
        transfer=str(case.decoration.transfer),
        temperature=ranges(temperature, _display_marks(case)) if said.temperature is None else None,
        time=ranges(dwell, _dwell_marks(case)) if said.time is None else None,
        pressure=words("pressure", PRESSURES),
        gauge=ranges(gauge, _gauge_marks(case)) if metered else None,
        peel=words("peel", PEELS),
        cover=cover,
        pad=pad,
        tape=tape,
        pressings=tuple(windows(case)),
        size=_confirmed(
            bench,
            lambda judge: _sizes(order, case, judge),
            lambda sizes: [
                order.with_decoration(case.index, size=Size(size.width_mm, size.height_mm)) for size in sizes
            ],
        )
        if case.decoration.size is None
        else None,
    )


def _confirmed(bench: Bench, find: Callable[[Judge], T], ends: Callable[[T], list[Order]]) -> T:
    """What is found the short way if all its ends hold in full; else what is found by judging all in full."""
    answer = find(bench.try_out)
    return answer if all(workable(bench.full(order)) for order in ends(answer)) else find(bench.full)


def _sheets(case: Case, kind: str) -> Iterator[str]:
    return (name for name in case.shop.stock.consumables if case.entry("consumables", name).kind == kind)


# -- numbers ---------------------------------------------------------------------------------------------------------


def _ranges(
    case: Case, judge: Judge, outside: Judge, field: Field[Allowed], marks: Iterable[float]
) -> Iterator[Allowed]:
    """The ranges that ``judge`` finds; ``outside`` says what stops each, a step beyond its ends."""
    unit = case.shop.units.unit(field.dimension)
    step = unit.inside(field.step) - unit.inside(0.0)
    intervals = allowed(lambda value: workable(judge(field.say(value))), marks, _FINE * step)
    for low, high in (inward(low, high, field.step, unit.inside, unit.outside) for low, high in intervals):
        yield field.shape(
            quantity(field.dimension, low, case.shop.units),
            low,
            quantity(field.dimension, high, case.shop.units),
            high,
            _stopped_by(outside(field.say(low - step))) if low - step > field.dimension.least else (),
            _stopped_by(outside(field.say(high + step))),
        )


def _stopped_by(weighed: Weighed) -> tuple[str, ...]:
    """The rules that block, or that could while something is not said."""
    firm = {block.rule.id for block in weighed.at("blocks")}
    return tuple(sorted(firm or {open_.rule.id for open_ in weighed.open if open_.rule.level == "blocks"}))


def _display_marks(case: Case) -> list[float]:
    """Display settings where a rule can turn: the surface at a threshold, its mean, hottest or coolest spot."""
    calibration = case["press.calibration"]
    surfaces = {*_USUAL_C, *_thresholds(case, units.TEMPERATURE)}
    surfaces |= {bound.value_c for bound in case["window.uppers"]} | {case["window.low_c"]}
    surfaces |= {case.entry("consumables", name).limit for name in case.shop.stock.consumables}
    for decoration in case.order.decorations:
        transfer = case.book.transfer(decoration.transfer)
        surfaces |= {transfer.reheat_limit} if transfer is not None and transfer.reheat_limit is not None else set()
    # A step beyond what the press can show, so that a range is seen to end there: nobody can set more.
    least, most = min(case["window.low_c"], case["bounds.least_c"]) - 60, case["press.display_most_c"] + 1
    displays = {most - 1, most, *calibration.near_ends_c, *(d for c in surfaces for d in _displays(calibration, c))}
    return [display for display in displays if least <= display <= most]


def _displays(calibration: Any, surface_c: float) -> Iterator[float]:
    display = calibration.display_c(surface_c)
    spread = calibration.spread_k(display)
    yield from (calibration.display_c(surface_c + shift) for shift in (-spread, 0.0, spread))


def _dwell_marks(case: Case) -> list[float]:
    low, high = case["window.time_low_s"], case["window.time_high_s"]
    most = max(2 * high, case["bounds.time_high_s"]) + 60
    marks = {1.0, low, high, most, *_thresholds(case, units.TIME)}
    return [seconds for seconds in marks if 1.0 <= seconds <= most]


def _gauge_marks(case: Case) -> list[float]:
    cylinder, contact_m2 = case.press.cylinder, case["fit.contact_m2"]
    if cylinder is None:
        return []
    prints = _thresholds(case, units.PRESSURE) if contact_m2 is not None else set()
    return [cylinder.line_least, cylinder.line_most, *{line_kpa(cylinder, kpa, contact_m2) for kpa in prints}]


def _thresholds(case: Case, dimension: units.Dimension) -> set[float]:
    """What blocking rules compare settings of this dimension with: limits of the book, and facts of this case."""
    thresholds: set[float] = set()
    for rule in _blocking(case.book, _SET):
        thresholds |= {case.book.limit_values[n] for n in rule.limits if case.book.limit_dimension(n) is dimension}
        for fact in rule.condition.facts:
            type_ = FACT_TYPES[fact]
            if type_.kind is Kind.NUMBER and type_.dimension is dimension and fact not in _SET:
                value = case[fact]
                thresholds |= {value} if value is not None else set()
    return thresholds


def _blocking(book: Book, facts: Collection[str]) -> Iterator[Rule]:
    """The blocking rules that look at one of the facts."""
    blocks = (rule for rule in book.rules.values() if rule.level == "blocks")
    return (rule for rule in blocks if not rule.condition.facts.isdisjoint(facts))


# -- sizes -----------------------------------------------------------------------------------------------------------


def _sizes(order: Order, case: Case, judge: Judge) -> tuple[AllowedSize, ...]:
    """The largest sizes: any print no larger than one of them will do. Looked for up to the book's largest print."""
    unit = case.shop.units.unit(units.LENGTH)
    step = size_step(unit)
    fine, (least, most) = _FINE * unit.inside(step), case["place.sides_mm"]
    marks = _side_marks(case, most)

    def ok(width: float, height: float) -> bool:
        return workable(judge(order.with_decoration(case.index, size=Size(width, height))))

    def largest(holds: Callable[[float], bool]) -> float | None:
        spans = allowed(holds, [least, *marks], fine)
        return spans[0][1] if spans and spans[0][0] == least else None

    corners: list[tuple[float, float]] = []
    for width in sorted(marks, reverse=True):
        height = largest(lambda height, width=width: ok(width, height))  # type: ignore[misc]
        if height is not None and not any(height <= reached for _, reached in corners):
            wide = largest(lambda width, height=height: ok(width, height))  # type: ignore[misc]
            corners.append((wide if wide is not None else width, height))
    drawn = [[inward(least, side, step, unit.inside, unit.outside)[1] for side in corner] for corner in corners]
    shown = partial(case.show, units.LENGTH)  # whole steps of the shop's unit: reading gives the same again
    return tuple(AllowedSize(shown(width), width, shown(height), height) for width, height in drawn)


def _side_marks(case: Case, most: float) -> list[float]:
    usable, area = case["press.usable"], case["place.area"]
    sides = {most, usable.width, usable.height, *_thresholds_of_size(case)}
    beyond = 2 * (case["place.beyond_mm"] or 0.0)
    sides |= (
        {side + over for side in (area.width, area.height) for over in (0.0, beyond)} if area is not None else set()
    )
    return sorted(side for side in sides if 0 < side <= most)


def _thresholds_of_size(case: Case) -> set[float]:
    names = {name for rule in _blocking(case.book, _SIZED) for name in rule.limits}
    return {case.book.limit_values[n] for n in names if case.book.limit_dimension(n) is units.LENGTH}


# -- ground ----------------------------------------------------------------------------------------------------------


def ground(whole: Case, judge: Judge) -> tuple[AllowedGround, ...] | None:
    """The neutral greys that will do as ground; None where the colour is known or a transfer is open."""
    order = whole.order
    if whole["item.ground"] is not None or any(decoration.transfer is None for decoration in order.decorations):
        return None
    greys = [_grey(code) for code in range(256)]
    lightness = [colour.lightness for grey in greys if (colour := read_colour(grey)) is not None]

    def ok(code: float) -> bool:
        return workable(judge(replace(order, item=replace(order.item, colour=greys[round(code)]))))

    names = {name for rule in _blocking(whole.book, _SHADED) for name in rule.limits} | _SHADES
    wanted = [
        whole.book.limit_values[name] for name in sorted(names) if whole.book.limit_dimension(name) is units.LIGHTNESS
    ]
    edges = [sum(shade < limit for shade in lightness) for limit in wanted]
    marks = {0, 64, 128, 192, 255, *(edge + shift for edge in edges for shift in (-1, 0))}
    return tuple(
        AllowedGround(lightness[low], lightness[high], greys[low], greys[high])
        for low, high in _codes(ok, sorted(mark for mark in marks if 0 <= mark <= 255))
    )


def _codes(ok: Callable[[float], bool], marks: Sequence[int]) -> Iterator[tuple[int, int]]:
    for low, high in allowed(lambda code: ok(round(code)), [float(mark) for mark in marks], 0.5):
        first, last = round(low), round(high)
        yield first if ok(first) else first + 1, last if ok(last) else last - 1


def _grey(code: int) -> str:
    return "#" + f"{code:02X}" * 3
