"""The order of pressings: each later pressing must leave unharmed what was pressed before it.

What a pressing does to an earlier print depends on those two alone, so an order is a walk through a graph of "must come
before", not one of twelve factorial sequences. Where the wished-for temperatures leave no order, some are lowered.
Decorations the piece carries from before are no part of the search: they bound every pressing's window already.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.documents import units
from accord_rules.weigh.choice import cooled, least_heat_c

# One platen covers all of a garment's body, and heat goes through cloth: whatever is pressed there heats the others,
# unless the piece can be laid so that they hang free, which nobody promises.
_BODY = frozenset({"front", "back", "left-chest", "yoke"})
_FACES = frozenset({"face", "reverse"})
_EVERYWHERE = "all-round"
_TOLD_MOST = 3


@dataclass(frozen=True, slots=True)
class Print:
    """One decoration as the search sees it, °C.

    ``hot_c`` is the hottest spot while it is pressed, ``least_c`` the same at the least heat it can be pressed with,
    ``bears_c`` what it bears once applied (infinite: any heat), ``heats`` which others its pressing heats.
    """

    hot_c: float
    least_c: float
    bears_c: float = inf
    heats: frozenset[int] = frozenset()
    over: int | None = None


@dataclass(frozen=True, slots=True)
class Arrangement:
    """First to last, and the hottest spot of each pressing (by decoration), never above what was wished."""

    order: tuple[int, ...]
    hot_c: tuple[float, ...]


# -- the search ------------------------------------------------------------------------------------------------------


def arrange(prints: Sequence[Print]) -> Arrangement | None:
    """An order in which no pressing harms an earlier print; None if there is none at any heat.

    The one that has to be lowered farthest is lowered as little as possible; within that no decoration is lowered that
    need not be, those that would be lowered least being spared first. Among orders that then hold, the first by index.
    """
    first = _levels(prints, inf)
    if first is None:
        return None
    levels = first
    spared, most_k = list(prints), max(map(_lowering, prints, levels))
    for index in sorted(range(len(prints)), key=lambda index: (_lowering(prints[index], first[index]), index)):
        if levels[index] < prints[index].hot_c:
            trial = [*spared[:index], replace(spared[index], least_c=spared[index].hot_c), *spared[index + 1 :]]
            if (without := _levels(trial, most_k)) is not None:
                spared, levels = trial, without
    return Arrangement(_first_order(prints, levels), levels)


def _levels(prints: Sequence[Print], most_k: float) -> tuple[float, ...] | None:
    """The hottest spots of an order whose farthest lowering is least, and at most ``most_k``; None if there is none.

    From the last pressing back, whichever can go last at the least lowering does: what it costs to press one late
    depends only on which are left to come before it, and never falls when more are (E. L. Lawler, Management Science
    19, 1973, for the greatest of monotone costs under "must come before").
    """
    left, levels = set(range(len(prints))), [print_.hot_c for print_ in prints]
    while left:
        under = {prints[index].over for index in left}
        last = None
        for index in sorted(left - under, reverse=True):
            level = _level(prints, index, left)
            lowering = _lowering(prints[index], level)
            if lowering < inf and lowering <= most_k and (last is None or lowering < last[0]):
                last = (lowering, index, level)
        if last is None:
            return None
        levels[last[1]] = last[2]
        left.remove(last[1])
    return tuple(levels)


def _level(prints: Sequence[Print], index: int, before: Iterable[int]) -> float:
    """The hottest spot a pressing may have when these come before it; minus infinity if that is too little for it."""
    mine = prints[index]
    borne_c = min((prints[earlier].bears_c for earlier in before if earlier in mine.heats), default=inf)
    if mine.hot_c <= borne_c:
        return mine.hot_c
    return borne_c if mine.least_c <= borne_c else -inf


def _lowering(wished: Print, level_c: float) -> float:
    """How far a pressing is lowered, K."""
    return 0.0 if level_c == wished.hot_c else wished.hot_c - level_c


def _must_come_before(prints: Sequence[Print], heat_c: Sequence[float]) -> list[set[int]]:
    """For each decoration, those that must be pressed before it: what lies under it, and what would harm it."""
    before = [{print_.over} if print_.over is not None else set() for print_ in prints]
    for index, print_ in enumerate(prints):
        for harmed in print_.heats:
            if heat_c[index] > prints[harmed].bears_c:
                before[harmed].add(index)
    return before


def _first_order(prints: Sequence[Print], heat_c: Sequence[float]) -> tuple[int, ...]:
    """The first order by index that holds at these temperatures; they leave at least one."""
    before, left, order = _must_come_before(prints, heat_c), set(range(len(prints))), []
    while left:
        free = min(index for index in left if not before[index] & left)
        order.append(free)
        left.remove(free)
    return tuple(order)


def conflicts(prints: Sequence[Print]) -> tuple[tuple[int, ...], ...]:
    """The smallest sets of decorations that have no order at any heat, each as a ring: every one before the next.

    Where all are pressed with the least heat, who must come before whom is fixed; a set has no order if it holds a
    ring, so the smallest sets are the shortest rings.
    """
    before = _must_come_before(prints, [print_.least_c for print_ in prints])
    back = [_steps_back(before, start) for start in range(len(prints))]
    shortest = min((steps[start] for start, steps in enumerate(back) if start in steps), default=0)
    rings = (ring for start, steps in enumerate(back) if steps.get(start) == shortest for ring in _rings(before, steps))
    return tuple(sorted(rings))


def _steps_back(before: Sequence[set[int]], start: int) -> dict[int, int]:
    """From where ``start`` can be reached, through higher indices only, and in how many steps at least; of ``start``
    itself the length of its shortest ring. It comes first where it is there."""
    steps: dict[int, int] = {}
    reached, count = {start}, 0
    while reached:
        count += 1
        reached = {index for index in range(start, len(before)) if index not in steps and before[index] & reached}
        steps |= dict.fromkeys(reached, count)
        reached.discard(start)
    return dict(sorted(steps.items()))


def _rings(before: Sequence[set[int]], steps: Mapping[int, int]) -> list[tuple[int, ...]]:
    """The shortest rings through the first of ``steps`` and what leads back to it.

    Only what still leads back in time is walked: of all ways through twelve prints that harm each other there are
    millions. Where no ring is shorter none of these meets itself.
    """
    start, length = next(iter(steps.items()))
    paths: list[tuple[int, ...]] = [(start,)]
    for left in range(length - 1, 0, -1):
        paths = [
            (*path, following)
            for path in paths
            for following in sorted(before[path[-1]])
            if following > start and steps.get(following, inf) <= left
        ]
    return paths


# -- cases -----------------------------------------------------------------------------------------------------------


def find_sequence(pressings: Sequence[Case]) -> tuple[Sequenced, tuple[Chosen | None, ...]]:
    """The order of pressings for an order's decorations, and their settings, lowered where only that leaves an order.

    What holds over the press's spread is tried first, then all of the window. Where there is no order, the smallest
    conflicts are told in words.
    """
    times = [pressing["job.total_s"] for pressing in pressings]
    total_s = None if None in times else sum(times)
    unchanged = tuple(pressing.chosen for pressing in pressings)
    for least in (_as_chosen, _within_room, _within_window):
        prints = _prints(pressings, least)
        if (arrangement := arrange(prints)) is not None:
            lowered = zip(pressings, prints, arrangement.hot_c, strict=True)
            return Sequenced(arrangement.order, total_s=total_s), tuple(_lowered(*triple) for triple in lowered)
    rings = conflicts(prints)
    return Sequenced((), _clash(pressings, prints, rings), total_s, rings), unchanged


def _prints(pressings: Sequence[Case], least: Callable[[Case, Chosen], float]) -> list[Print]:
    return [_print(pressing, pressings, least) for pressing in pressings]


def _print(pressing: Case, pressings: Sequence[Case], least: Callable[[Case, Chosen], float]) -> Print:
    chosen, limit = pressing.chosen, pressing.transfer.reheat_limit if pressing.transfer is not None else None
    bears_c, over = inf if limit is None else limit, pressing.decoration.over
    if chosen is None or chosen.surface_c is None:
        return Print(-inf, -inf, bears_c, frozenset(), over)
    heats = frozenset(heated.index for heated in pressings if heated is not pressing and _reaches(pressing, heated))
    return Print(_as_chosen(pressing, chosen), least(pressing, chosen), bears_c, heats, over)


def _as_chosen(pressing: Case, chosen: Chosen) -> float:
    """The hottest spot with the settings as they are."""
    return -inf if chosen.surface_c is None else round(chosen.surface_c + chosen.spread_k, 6)


def _within_room(pressing: Case, chosen: Chosen) -> float:
    return least_heat_c(pressing, chosen, robust=True)


def _within_window(pressing: Case, chosen: Chosen) -> float:
    return least_heat_c(pressing, chosen, robust=False)


def _lowered(pressing: Case, wished: Print, hot_c: float) -> Chosen | None:
    chosen = pressing.chosen
    return chosen if chosen is None or hot_c == wished.hot_c else cooled(pressing, chosen, hot_c)


def _reaches(pressing: Case, other: Case) -> bool:
    """Whether the platen's heat, while one is pressed, is taken to reach the other's print in full."""
    here, there = pressing["place.placement"], other["place.placement"]
    if pressing.decoration.over == other.index or here == there or _EVERYWHERE in (here, there):
        return True
    if pressing["press.closing"] == "enclosed":
        return True
    cloth, conducts = pressing["item.textile"], pressing["item.family"] == "metal"
    if pressing["press.heated"] == "both" or cloth or conducts:
        return {here, there} <= _FACES or {here, there} <= _BODY
    return False


# -- words -----------------------------------------------------------------------------------------------------------


def _clash(pressings: Sequence[Case], prints: Sequence[Print], rings: Sequence[tuple[int, ...]]) -> str:
    why = [". ".join(_why(pressings, prints, a, b) for a, b in pairwise((*r, r[0]))) for r in rings[:_TOLD_MOST]]
    more = len(rings) - len(why)
    return ". Likewise: ".join(why) + (f". There are {more} more such sets" if more > 0 else "")


def _why(pressings: Sequence[Case], prints: Sequence[Print], later: int, earlier: int) -> str:
    """Why ``earlier`` must be pressed before ``later``."""
    first, second = pressings[earlier], pressings[later]
    if prints[later].over == earlier:
        return f"The print {_name(second)} lies on {_name(first)}"
    heat, bears = (
        second.show(units.TEMPERATURE, value_c) for value_c in (prints[earlier].least_c, prints[later].bears_c)
    )
    return f"Pressing {_name(first)} at {heat} or more would harm {_name(second)}, which bears {bears} once applied"


def _name(pressing: Case) -> str:
    title, where = pressing["transfer.title"] or "a decoration", pressing["place.placement"]
    return f"decoration {pressing.index + 1} ({title}, {where})"
