"""Plans: every press with every stocked transfer, weighed; the possible ones ranked, the others with their reasons."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain, islice, product
from math import prod
from types import MappingProxyType
from typing import Any

from accord_rules.advise.heat_estimate import heat_estimate
from accord_rules.advise.instead import told_instead, with_settings_told
from accord_rules.advise.pressings import explained
from accord_rules.advise.ranges import dwells, temperatures
from accord_rules.advise.stack import stacks
from accord_rules.advise.steps import steps
from accord_rules.advise.wording import order_settings
from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.documents.writing import quantity, written
from accord_rules.orders.order import NONE, Decoration, Order, Press, Settings
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.verdict import (
    WORKABLE,
    Ceiling,
    ExplainedSettings,
    Plan,
    PlannedDecoration,
    RuledOut,
    SampleLeanedOn,
    TemperatureRange,
    Window,
)
from accord_rules.weigh.scales import WEIGHINGS_MOST, OnPress, Remembered, Scales, Weighed, findings, with_last_word

# Prints told in full in one answer, over all its plans: about 5 kB each with stack, settings and steps.
PRINTS_TOLD_MOST = 72
# Combinations of transfers that are weighed on one press: two open decorations with sixteen transfers each.
COMBINATIONS_MOST = 256
# Reasons why something will not do, in one answer: more are counted, and nobody reads them.
RULED_OUT_MOST = 100
# Weights fall off by halves: the first wish outweighs all later ones together.
_FALL_OFF = 0.5
# What each caution costs a plan, in marks of the first wish: three of them outweigh the best film's lead.
_MARKS_A_CAUTION = 0.5
_USUAL_WISHES = ("durability", "hand", "speed", "cost")
# The share of pieces that is expected to come out good, and what a share proven to be all above or below it is worth.
# A choice: half of twenty pieces spoiled costs a little more than a caution.
_EXPECTED_GOOD = 0.8
_MARKS_A_SHARE = 5.0


@dataclass(frozen=True, slots=True)
class Experience:
    """How reported pieces came out; ``low`` and ``high`` bound the share that comes out good (0 to 1)."""

    good: int
    failed: int
    low: float
    high: float

    @property
    def marks(self) -> float:
        """What it is worth in the ranking: 0 while the expected share may still be the true one."""
        better, worse = max(0.0, self.low - _EXPECTED_GOOD), max(0.0, _EXPECTED_GOOD - self.high)
        return _MARKS_A_SHARE * (better - worse)


# By transfer family, substrate and type of press.
Experiences = Mapping[tuple[str, str, str], Experience]
NO_EXPERIENCE: Experiences = MappingProxyType({})


def transfers_of(order: Order) -> tuple[str, ...]:
    """The transfers of an order that leaves none open, decoration by decoration."""
    return tuple(str(decoration.transfer) for decoration in order.decorations)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A press and one transfer a decoration, weighed as a whole."""

    order: Order
    on_press: OnPress
    weighed: Weighed

    @property
    def transfers(self) -> tuple[str, ...]:
        return transfers_of(self.order)

    @property
    def wishes(self) -> tuple[str, ...]:
        """What the order would rather have, weightiest first."""
        return self.order.prefer or _USUAL_WISHES

    @property
    def possible(self) -> bool:
        settled = all(case.chosen is not None and case.chosen.surface_c is not None for case in self.on_press.cases)
        return settled and self.weighed.verdict in WORKABLE


@dataclass(frozen=True, slots=True)
class Search:
    """What a search came to for ``whole``: ``possible`` best first, ``others`` in the order they were tried.

    ``hopeless`` are blocked whatever the press, so that no press was looked at. ``complete``: whether all combinations
    were weighed; if not, finding nothing proves nothing.
    """

    whole: Case
    possible: tuple[Candidate, ...]
    others: tuple[Candidate, ...]
    hopeless: tuple[Filled, ...]
    complete: bool

    @property
    def open(self) -> Weighed:
        """What keeps the others from being decided."""
        undetermined = (candidate.weighed for candidate in self.others if candidate.weighed.verdict == "undetermined")
        return Weighed(open=tuple(chain.from_iterable(weighed.open for weighed in undetermined)))


def search(scales: Scales, order: Order, shop: Shop, most: int = WEIGHINGS_MOST) -> Search:
    """Weigh every combination of the shop's presses and stocked transfers that the order leaves open, as far as about
    ``most`` weighings go.

    What is possible is weighed by the judge alone: whatever is offered of it has to be put to both. What will not do,
    or is not known to, was put to both.
    """
    with scales.trying():
        searched = _searched(scales, order, shop, most)
    for way in searched.hopeless:
        scales.confirm(way.decorations)
    for candidate in searched.others:
        cases = candidate.on_press.cases
        scales.confirm((*filter(None, (case.parent for case in cases)), *cases))
    return searched


def _searched(scales: Scales, order: Order, shop: Shop, most: int) -> Search:
    # Of all that is weighed here little comes again, and it would take the place of what does.
    whole = Case(scales.book, shop, order)
    may_go_on = scales.allowance(most)
    general = scales.weigh(whole)
    presses = presses_of(order, shop)
    # One print on one press is a pressing to be weighed. Half of what may be is for each print by itself, half for all
    # of them together, and each press has its share.
    share = most // 2 // (len(presses) * len(order.decorations))
    every = [_transfers(decoration, shop, scales) for decoration in order.decorations]
    chosen = [_choice(scales, whole, index, names, share) for index, names in enumerate(every)]
    choices = [names for names, _ in chosen]
    alone = [_alone(scales, whole, index, names, presses, may_go_on) for index, names in enumerate(choices)]
    filled: dict[tuple[str, ...], Filled] = {}
    candidates, complete = [], all(all_of_them for _, all_of_them in chosen)
    for press in presses:
        # What each decoration comes to by itself is the same in all of its combinations.
        remembered = Remembered()
        combined, all_of_them = _combinations(scales, press, choices, alone, min(share, COMBINATIONS_MOST))
        complete = complete and all_of_them
        for names in combined:
            if not may_go_on():
                complete = False
                break
            if names not in filled:
                filled[names] = _filled(scales, whole, general, names)
            if not filled[names].hopeless:
                candidates.append(_on_press(scales, filled[names], press, remembered))
    possible: list[Candidate] = []
    others: list[Candidate] = []
    for candidate in candidates:
        (possible if candidate.possible else others).append(candidate)
    possible.sort(key=rank_key)
    hopeless = tuple(way for way in filled.values() if way.hopeless)
    return Search(whole, tuple(possible), tuple(others), hopeless, complete)


def presses_of(order: Order, shop: Shop) -> tuple[Press, ...]:
    """The presses to judge on: the one named or described, else all of the shop's."""
    if isinstance(order.press, Press):
        return (order.press,)
    if isinstance(order.press, str):
        named = shop.press(order.press)
        return (named,) if named is not None else ()
    return shop.presses


def _transfers(decoration: Decoration, shop: Shop, scales: Scales) -> tuple[str, ...]:
    """What may fill the decoration: what it names, or the stocked products of the family, or all that is stocked."""
    name, products = decoration.transfer, scales.book.catalogue["products"]
    if name is None:
        return shop.stock.products
    if name in products:
        return (name,)
    stocked = tuple(product for product in shop.stock.products if products[product].family == name)
    return stocked or (name,)


def _only(whole: Case, index: int, name: str) -> Case:
    """The decoration with this transfer as if it and those it is piled with were all there is: what lies under it is
    its ground, and a film that dye lies on is pressed otherwise than by itself."""
    every = whole.order.decorations
    pile = _pile(every, index)
    places = {old: new for new, old in enumerate(pile)}
    decorations = tuple(replace(every[old], over=places.get(every[old].over)) for old in pile)  # type: ignore[arg-type]
    own = places[index]
    filled = (*decorations[:own], replace(decorations[own], transfer=name), *decorations[own + 1 :])
    return whole.with_order(replace(whole.order, decorations=filled)).decoration_case(own)


def _pile(decorations: Sequence[Decoration], index: int) -> tuple[int, ...]:
    """The decorations that lie on each other with this one, itself among them."""
    pile = {index}
    for _ in decorations:
        pile |= {i for i, one in enumerate(decorations) if one.over in pile}
        pile |= {over for i in pile if (over := decorations[i].over) is not None}
    return tuple(sorted(pile))


def _choice(scales: Scales, whole: Case, index: int, names: Sequence[str], most: int) -> tuple[Sequence[str], bool]:
    """The transfers that are weighed on presses for a decoration, and whether they are all that could do.

    Where there are more than may be, those that a rule blocks whatever the press are left out first.
    """
    if len(names) <= most:
        return names, True
    hopeful = [name for name in names if not scales.weigh(_only(whole, index, name)).at("blocks")]
    return _best(scales, hopeful or names, most), len(hopeful) <= most


_Alone = Mapping[tuple[str, str], bool]


def _alone(
    scales: Scales,
    whole: Case,
    index: int,
    names: Sequence[str],
    presses: Sequence[Press],
    may_go_on: Callable[[], bool],
) -> _Alone:
    """For orders of several decorations: whether each (press, transfer) could do for this decoration by itself.

    A combination with one that cannot is hopeless, so that only the hopeful ones are multiplied out. What there was no
    leave to weigh may do.
    """
    hopeful: dict[tuple[str, str], bool] = {}
    for name in names if len(whole.order.decorations) > 1 else ():
        decoration = _only(whole, index, name)
        own = scales.weigh(decoration)
        for press in presses:
            blocked = own.at("blocks") or (may_go_on() and scales.on_press([decoration], press).weighed.at("blocks"))
            hopeful[press.id, name] = not blocked
    return hopeful


def _combinations(
    scales: Scales, press: Press, choices: Sequence[Sequence[str]], alone: Sequence[_Alone], most: int
) -> tuple[Iterable[tuple[str, ...]], bool]:
    """Hopeful combinations for one press, and whether they are all there are. ``most`` is how many may be.

    Where a decoration has no hopeful transfer, each of its transfers is there once. Many open decorations would
    multiply without end: of each only the best few are combined then.
    """
    hopeful = [
        [name for name in names if not could_do or could_do[press.id, name]]
        for names, could_do in zip(choices, alone, strict=True)
    ]
    if all(hopeful):
        widest = max(map(len, hopeful))
        best = next((few for few in range(widest, 1, -1) if _product(hopeful, few) <= most), 1)
        return product(*(_best(scales, names, best) for names in hopeful)), best == widest
    return _once_each(choices, hopeful), True


def _once_each(choices: Sequence[Sequence[str]], hopeful: Sequence[Sequence[str]]) -> Iterator[tuple[str, ...]]:
    first = [(good or names)[0] for good, names in zip(hopeful, choices, strict=True) if good or names]
    if len(first) < len(choices):
        return
    for index, (good, names) in enumerate(zip(hopeful, choices, strict=True)):
        if not good:
            yield from ((*first[:index], name, *first[index + 1 :]) for name in names)


def _product(hopeful: Sequence[Sequence[str]], few: int) -> int:
    return prod(min(few, len(names)) for names in hopeful)


def _best(scales: Scales, names: Sequence[str], few: int) -> Sequence[str]:
    """The transfers with the best marks, in the order they had."""
    if len(names) <= few:
        return names

    def worth(name: str) -> tuple[int, int, str]:
        transfer = scales.book.transfer(name)
        if transfer is None:
            return 0, 0, name
        return -(transfer.look == "plain"), -(transfer.durability + transfer.hand + transfer.cost), name

    best = set(sorted(names, key=worth)[:few])
    return [name for name in names if name in best]


@dataclass(frozen=True, slots=True)
class Filled:
    """An order with its transfers filled in, its decorations' cases, and what the rules say before any press."""

    order: Order
    decorations: tuple[Case, ...]
    weighed: Weighed

    @property
    def transfers(self) -> tuple[str, ...]:
        return transfers_of(self.order)

    @property
    def hopeless(self) -> bool:
        """Whether no press can make it possible."""
        return bool(self.weighed.at("blocks"))


def _filled(scales: Scales, whole: Case, general: Weighed, names: tuple[str, ...]) -> Filled:
    pairs = zip(whole.order.decorations, names, strict=True)
    order = replace(whole.order, decorations=tuple(replace(d, transfer=name) for d, name in pairs))
    case = whole.with_order(order)
    decorations = tuple(map(case.decoration_case, range(len(names))))
    return Filled(order, decorations, sum(map(scales.weigh, decorations), general))


def _on_press(scales: Scales, filled: Filled, press: Press, remembered: Remembered) -> Candidate:
    on_press = scales.on_press(filled.decorations, press, remembered)
    order = replace(filled.order, press=filled.order.press or press.id)
    return Candidate(order, on_press, filled.weighed + on_press.weighed)


# -- ranking ---------------------------------------------------------------------------------------------------------


def _scores(candidate: Candidate) -> Mapping[str, float]:
    """What a plan is good for, 1 to 5 each: the transfers' marks averaged; speed from the time a piece takes."""
    transfers = [transfer for case in candidate.on_press.cases if (transfer := case.transfer) is not None]
    seconds = _seconds_each(candidate)
    return {
        "durability": _mean([t.durability for t in transfers]),
        "hand": _mean([t.hand for t in transfers]),
        "cost": _mean([t.cost for t in transfers]),
        "speed": max(1.0, 5.0 - seconds / 60.0),
    }


def _mean(marks: Sequence[int]) -> float:
    return sum(marks) / len(marks)


def _experienced(candidate: Candidate, experiences: Experiences) -> Mapping[str, Experience | None]:
    """Each transfer of a plan, and what is known of pieces pressed like this."""
    return {
        str(case.decoration.transfer): experiences.get(
            (str(case.known["transfer.family"]), str(case.known["item.substrate"]), str(case.known["press.type"]))
        )
        for case in candidate.on_press.cases
    }


def rank_key(candidate: Candidate, experiences: Experiences = NO_EXPERIENCE) -> tuple[Any, ...]:
    """Windows that hold, plain looks before special ones, accepted before conditional, then the wishes; names last.

    What pieces pressed like this came to counts with the wishes: the worst decoration's, since it spoils the piece.
    """
    badness = candidate.weighed.badness
    scores, wishes = _scores(candidate), candidate.wishes
    wish = sum(scores[wished] * _FALL_OFF**rank for rank, wished in enumerate(wishes))
    wish -= _MARKS_A_CAUTION * candidate.weighed.count("cautions")
    if experiences:
        known = _experienced(candidate, experiences).values()
        wish += min((experience.marks if experience else 0.0 for experience in known), default=0.0)
    robust = all(case.known["window.robust"] for case in candidate.on_press.cases)
    fancy = sum(case.known["transfer.look"] != "plain" for case in candidate.on_press.cases)
    return (
        not robust,
        fancy,
        badness[0],
        badness[2],
        -round(wish, 6),
        badness[3],
        candidate.on_press.press.id,
        candidate.transfers,
    )


def reasons(candidate: Candidate, put_back: Weighed, experiences: Experiences = NO_EXPERIENCE) -> tuple[str, ...]:
    """Why the plan stands where it stands, in words."""
    scores, sentences = _scores(candidate), []
    for wish in candidate.wishes:
        sentences.append(f"{wish} {scores[wish]:.1f} of 5")
    robust = all(case.known["window.robust"] for case in candidate.on_press.cases)
    spread = max(case.known["window.spread_k"] for case in candidate.on_press.cases)
    shown = candidate.on_press.cases[0].show(units.TEMPERATURE_DIFFERENCE, spread)
    sentences.append(
        f"the window {'holds' if robust else 'is too narrow to hold'} over the press's spread of ± {shown}"
    )
    musts, cautions = (put_back.count(level) for level in ("requires", "cautions"))
    sentences.append(f"{musts} to be done, {cautions} caution{'' if cautions == 1 else 's'}")
    sentences += [
        f"{experience.good} of {experience.good + experience.failed} reported pieces came out good with {transfer} on"
        f" this kind of press and material: a share between {experience.low:.0%} and {experience.high:.0%}"
        for transfer, experience in _experienced(candidate, experiences).items()
        if experience is not None
    ]
    return tuple(sentences)


def _seconds_each(candidate: Candidate) -> float:
    quantity = candidate.on_press.cases[0]["order.quantity"]
    return float(sum(case.known["job.total_s"] or 0.0 for case in candidate.on_press.cases) / quantity)


def estimate(candidate: Candidate) -> Mapping[str, float]:
    """Minutes a piece, hours, loads and kWh for the quantity.

    The energy is the press's full power over all that time: at most, since its controller cuts the heater out most of
    a pressing. What it takes to heat the press up is in neither figure.
    """
    cases = candidate.on_press.cases
    minutes, case = _seconds_each(candidate) / 60, cases[0]
    hours = minutes / 60 * case.known["order.quantity"]
    power_w = case.press.power if case.press.power is not None else case.press_type.power
    return {
        "minutes_each": round(minutes, 2),
        "hours_total": round(hours, 2),
        "loads_total": sum(pressing.known["job.loads"] or 0.0 for pressing in cases),
        "kwh_total_at_most": round(hours * power_w / 1000, 2),
    }


# -- plans -----------------------------------------------------------------------------------------------------------


def plan(
    candidate: Candidate,
    put_back: Weighed,
    rank: int,
    verdict_id: str,
    unsaid: str | None,
    samples: tuple[SampleLeanedOn, ...] = (),
    experiences: Experiences = NO_EXPERIENCE,
    *,
    curve: bool,
) -> Plan:
    """A candidate as a plan an operator can follow; ``put_back`` is what the rules say of the plan as an order.

    ``unsaid``: what it takes to hold and could hurt somebody. ``samples``: those on record that it leans on. ``curve``:
    whether its heat is given to draw.
    """
    case = candidate.on_press.cases[0]
    told = [finding for finding in findings(put_back.fired, case.book) if finding.level in ("requires", "cautions")]
    shown = with_last_word(told, case.book.rules)
    return Plan(
        rank=rank,
        unsaid=unsaid,
        press=candidate.on_press.press.id,
        press_title=case["press.title"],
        piece_title=case["item.title"],
        order=written(planned_order(candidate), case.shop.units),
        decorations=tuple(_planned(pressing, put_back, curve) for pressing in candidate.on_press.cases),
        sequence=candidate.on_press.sequence.order,
        cautions=tuple(f"{finding.because} {finding.fix}" for finding in shown if finding.level == "cautions"),
        conditions=tuple(f"{finding.because} {finding.fix}" for finding in shown if finding.level == "requires"),
        samples=samples,
        reasons=reasons(candidate, put_back, experiences),
        estimate=estimate(candidate),
        first_wash=case.show(units.TIME, case["care.first_wash_s"]) if case["care.washable"] else None,
        verdict=put_back.verdict,
        verdict_id=verdict_id,
    )


def planned_order(candidate: Candidate) -> Order:
    """The plan put back as an order: press, transfers and settings filled in, wishes taken out."""
    pairs = zip(candidate.order.decorations, candidate.on_press.cases, strict=True)
    decorations = tuple(replace(d, settings=as_settings(case)) for d, case in pairs)
    return replace(candidate.order, decorations=decorations, prefer=None)


def as_settings(case: Case) -> Settings:
    """The pressing's complete settings, as the order would say them."""
    return read(Settings, order_settings(_chosen(case), case.shop.units))


def _chosen(case: Case) -> Chosen:
    if case.chosen is None:
        raise ValueError("a plan has settings for every pressing")
    return case.chosen


def _planned(case: Case, put_back: Weighed, curve: bool) -> PlannedDecoration:
    chosen, dialled = _chosen(case), with_settings_told(case, put_back)
    return PlannedDecoration(
        str(case.decoration.transfer),
        case["transfer.title"],
        case["place.size_words"],
        str(case.known["transfer.family"]),
        order_settings(chosen, case.shop.units),
        _explained(case, dialled, told_instead(case, put_back), curve),
        stacks(case),
        steps(case, put_back),
        dialled["touch.wait_words"],
        dialled["touch.stack_words"],
    )


def _explained(ordered: Case, case: Case, instead: Mapping[str, float], curve: bool) -> ExplainedSettings:
    """The settings with the windows they lie in and what binds each side.

    ``ordered``: as they are set, ``case``: as they are dialled, with ``instead`` in place of what conditions replace.
    """
    low, high = case.known["transfer.lower"], case.known["window.uppers"][0]
    chosen, is_set = _chosen(case), _chosen(ordered)
    display_c, time_s, surface_c = is_set.display_c or 0.0, is_set.time_s or 0.0, chosen.surface_c or 0.0
    display_instead_c, dwell_instead_s = instead.get("set.display_c"), instead.get("set.time_s")
    on_print_kpa = None if case.known["press.closing"] == "enclosed" else chosen.pressure_kpa  # an oven has none
    shown, on_display = partial(quantity, preferences=case.shop.units), partial(_displayed, case)
    return ExplainedSettings(
        temperature=shown(units.TEMPERATURE, display_c),
        temperature_c=display_c,
        temperature_instead=None if display_instead_c is None else shown(units.TEMPERATURE, display_instead_c),
        temperature_instead_c=display_instead_c,
        window=_window(case, low, high),
        surface=shown(units.TEMPERATURE, round(surface_c, 1)),
        surface_c=surface_c,
        surface_window=TemperatureRange(
            shown(units.TEMPERATURE, low.value_c), low.value_c, shown(units.TEMPERATURE, high.value_c), high.value_c
        ),
        spread_k=chosen.spread_k,
        widest_window=on_display(low.value_c, high.value_c),
        spots=on_display(surface_c - chosen.spread_k, surface_c + chosen.spread_k),
        ceilings=tuple(_ceilings(case)),
        time=shown(units.TIME, time_s),
        time_s=time_s,
        time_instead=None if dwell_instead_s is None else shown(units.TIME, dwell_instead_s),
        time_instead_s=dwell_instead_s,
        time_window=dwells(*_dwells_that_do(ordered, dwell_instead_s)),
        pressure=shown(units.PRESSURE, chosen.pressure) if isinstance(chosen.pressure, float) else chosen.pressure,
        pressure_shown=case.known["set.pressure_shown"],
        on_print_shown=None if on_print_kpa is None else case.show(units.PRESSURE, on_print_kpa),
        on_print_kpa=on_print_kpa,
        peel=chosen.peel,
        cover=chosen.cover or NONE,
        cover_title=case["set.cover_title"],
        pad=chosen.pad or NONE,
        pad_title=case["set.pad_title"],
        tape=chosen.tape or NONE,
        tape_title=case["set.tape_title"],
        pre_press=shown(units.TIME, chosen.pre_press_s),
        pre_press_s=chosen.pre_press_s,
        second_press=shown(units.TIME, chosen.second_press_s),
        second_press_s=chosen.second_press_s,
        pressings=explained(case),
        main=case.known["main.done"],
        heat=heat_estimate(case, chosen, curve=curve),
    )


def _dwells_that_do(case: Case, instead_s: float | None) -> tuple[float, float]:
    """The dwells of the window, from what a condition asks for on where what is set lies in it and is too short."""
    low_s, high_s, set_s = case.known["window.time_low_s"], case.known["window.time_high_s"], case["set.time_s"]
    is_short = instead_s is not None and low_s <= set_s < instead_s
    return (instead_s if is_short and instead_s is not None else low_s), high_s


def _displayed(case: Case, least_c: float, most_c: float) -> TemperatureRange:
    """Temperatures of the surface as the display shows them, °C: the nearest whole degrees of the shop's unit."""
    unit = case.shop.units.unit(units.TEMPERATURE)
    ends = (
        unit.inside(round(unit.outside(case.known["press.calibration"].display_c(end)))) for end in (least_c, most_c)
    )
    least, most = (round(end_c, 9) for end_c in ends)
    least_shown, most_shown = (quantity(units.TEMPERATURE, end_c, case.shop.units) for end_c in (least, most))
    return TemperatureRange(least_shown, least, most_shown, most)


def _ceilings(case: Case) -> Iterator[Ceiling]:
    """Every bound from above, lowest first."""
    for bound in case.known["window.uppers"]:
        shown = _displayed(case, bound.value_c, bound.value_c)
        yield Ceiling(bound.what, shown.most, shown.most_c, bound.text)


def _window(case: Case, low: Any, high: Any) -> Window:
    """Display settings that will do, and what sets each end."""
    least_c, most_c = map(case.known["press.calibration"].display_c, case.known["window.room"])
    ends = temperatures(least_c, most_c, case.shop.units)
    bound_by, because = (low.what, high.what), (low.text, high.text)
    return Window(ends.least, ends.least_c, ends.most, ends.most_c, bound_by, because)


def ruled_out(searched: Search, book: Book, *, observed: bool = False) -> tuple[tuple[RuledOut, ...], int]:
    """What will not do and why: first what no press can help, then press by press; and how many entries more there
    are.

    One entry a set of blocking findings, naming all the transfers that it stops. ``observed``: see ``findings``.
    """
    groups: dict[tuple[str | None, frozenset[str], str], list[Filled | Candidate]] = {}
    for filled in searched.hopeless:
        groups.setdefault((None, _blocking(filled.weighed), ""), []).append(filled)
    for candidate in searched.others:
        if candidate.weighed.verdict == "rejected":
            # Which decorations clash is told in the finding, so that those with other clashes stand apart.
            key = (candidate.on_press.press.id, _blocking(candidate.weighed), candidate.on_press.sequence.clash)
            groups.setdefault(key, []).append(candidate)
    shown = list(islice(groups.items(), RULED_OUT_MOST))
    told = [findings(members[0].weighed.at("blocks"), book, observed=observed) for _, members in shown]
    worded = iter(with_last_word(tuple(chain.from_iterable(told)), book.rules))
    entries = tuple(
        RuledOut(
            press,
            tuple(" + ".join(member.transfers) for member in members),
            tuple(" + ".join(_titles(member.transfers, book)) for member in members),
            tuple(islice(worded, len(blocks))),
        )
        for ((press, *_), members), blocks in zip(shown, told, strict=True)
    )
    return entries, len(groups) - len(entries)


def _titles(names: Iterable[str], book: Book) -> Iterator[str]:
    """Transfers as people say them; one that the book does not have by its name."""
    for name in names:
        transfer = book.transfer(name)
        yield name if transfer is None else in_a_sentence(transfer.title)


def _blocking(weighed: Weighed) -> frozenset[str]:
    return frozenset(block.rule.id for block in weighed.at("blocks"))
