"""The order of pressings: each later pressing must leave unharmed what was pressed before it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from accord_rules import units
from accord_rules.derive.case import Case, Sequenced

# Heat goes through cloth: a print on the back is pressed through when the front is.
_OPPOSITE = frozenset({frozenset({"front", "back"}), frozenset({"face", "reverse"}), frozenset({"left-chest", "back"})})


def find_sequence(pressings: Sequence[Case]) -> Sequenced:
    """The order of pressings for an order's decorations: under before over, and none re-heated above its limit.

    Each clash makes a "must come before"; the order is the first, by index, that respects all of them. Where they
    form a ring there is none, and the ring is told in words.
    """
    before = _must_come_before(pressings)
    times = [pressing["job.total_s"] for pressing in pressings]
    total_s = None if None in times else sum(times)
    left, order = set(range(len(pressings))), []
    while left:
        free = [index for index in sorted(left) if not before[index].keys() & left]
        if not free:
            return Sequenced((), _ring(before, left), total_s)
        order.append(free[0])
        left.remove(free[0])
    return Sequenced(tuple(order), total_s=total_s)


def _must_come_before(pressings: Sequence[Case]) -> list[dict[int, str]]:
    """For each decoration: those that must be pressed before it, and why."""
    before: list[dict[int, str]] = [{} for _ in pressings]
    for index, pressing in enumerate(pressings):
        below = pressing.decoration.over
        if below is not None:
            before[index].setdefault(below, f"{_title(pressing)} lies on {_title(pressings[below])}")
        for other, later in enumerate(pressings):
            if other != index and _reheats(later, pressing):
                before[index].setdefault(other, _harm(later, pressing))
    return before


def _title(pressing: Case) -> str:
    return str(pressing["transfer.title"] or "a decoration")


def _surface_c(pressing: Case) -> float | None:
    chosen = pressing.chosen
    return None if chosen is None or chosen.surface_c is None else chosen.surface_c + chosen.spread_k


def _reheats(later: Case, earlier: Case) -> bool:
    """Whether pressing ``later`` after ``earlier`` would heat ``earlier``'s print above its re-heating limit."""
    limit = earlier.transfer.reheat_limit if earlier.transfer is not None else None
    heat = _surface_c(later)
    if limit is None or heat is None or heat <= limit:
        return False
    here, there = earlier["place.placement"], later["place.placement"]
    lies_on = earlier.index == later.decoration.over
    return bool(lies_on or here == there or (earlier["item.textile"] and frozenset({here, there}) in _OPPOSITE))


def _harm(later: Case, earlier: Case) -> str:
    limit, heat = earlier.transfer.reheat_limit if earlier.transfer else None, _surface_c(later)
    if limit is None or heat is None:
        raise ValueError("no harm without a limit and a temperature")
    return (
        f"pressing {_title(later)} at up to {later.show(units.TEMPERATURE, heat)} would harm {_title(earlier)},"
        f" which bears {earlier.show(units.TEMPERATURE, limit)} once applied"
    )


def _ring(before: list[dict[int, str]], left: set[int]) -> str:
    """The reasons along one ring of "must come before" among ``left``."""
    path, index = [], min(left)
    while index not in path:
        path.append(index)
        index = min(before[index].keys() & left)
    ring = [*path[path.index(index) :], index]
    return "; and ".join(before[here][there] for here, there in itertools.pairwise(ring))
