"""Remedies: the smallest changes that turn a rejected order into one that can be done.

Single changes are tried in the order of their cost (``costs``), then, only if none works, pairs of them. Whatever is
offered has been judged like an order; at equal cost an accepted one comes before a conditional one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from accord_rules.advise.moves import Move, Rejected, moves
from accord_rules.advise.written import changes
from accord_rules.order import Order, Settings
from accord_rules.reading import read
from accord_rules.verdict import VERDICTS, Remedy
from accord_rules.weigh import Fired, OnPress, Weighed
from accord_rules.wording import order_settings

REMEDIES_MOST = 3
OF_A_KIND_MOST = 2
# Decorations judged before the search gives up, first for singles, then for pairs: what keeps a rejection quick.
TRIALS_MOST = 48
_WORKABLE = ("accepted", "conditional")
_FIELD_WORDS = {
    "temperature": "temperature",
    "time": "dwell",
    "pressure": "pressure",
    "peel": "peel",
    "cover": "cover sheet",
    "pad": "pad",
    "tape": "tape",
    "pre_press": "pre-press",
    "second_press": "second press",
}


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of a changed order: what the rules say, and where its pressings were judged, if they were.

    ``ways`` holds what blocks on each press, or what blocks whatever the press.
    """

    weighed: Weighed
    on_press: OnPress | None
    ways: tuple[tuple[Fired, ...], ...]


@dataclass(frozen=True, slots=True)
class _Works:
    """A change that works: the changed order, its moves, and what the rules say of it."""

    order: Order
    moves: tuple[Move, ...]
    text: str
    weighed: Weighed

    @property
    def cost(self) -> float:
        return _cost(self.moves)

    @property
    def ideas(self) -> tuple[tuple[str, int | None, str], ...]:
        return _ideas(self.moves)


def _cost(tried: tuple[Move, ...]) -> float:
    return round(float(sum(move.cost for move in tried)), 6)


def _ideas(tried: tuple[Move, ...]) -> tuple[tuple[str, int | None, str], ...]:
    return tuple((move.kind, move.index, move.idea or move.text) for move in tried)


def _kinds(tried: tuple[Move, ...]) -> tuple[str, ...]:
    return tuple(move.kind for move in tried)


def remedies(
    rejected: Rejected, judge: Callable[[Order], Tried], confirm: Callable[[Order], Weighed]
) -> tuple[Remedy, ...]:
    """Up to three remedies, cheapest first.

    ``judge`` says what the rules make of a changed order, as shortly as it can; ``confirm`` judges one in full before
    it is offered.
    """
    singles = moves(rejected)
    search = _Search(rejected, judge, confirm)
    found = search.best((move,) for move in singles if _alone(rejected, move))
    if not found:
        search.left = TRIALS_MOST
        found = search.best(_pairs(rejected, singles, search))
    units = rejected.whole.shop.units
    return tuple(
        Remedy(changes(rejected.order, each.order, units), each.weighed.verdict, each.text, each.cost) for each in found
    )


def _alone(rejected: Rejected, move: Move) -> bool:
    """Whether it reaches every block, and was not made for another press than the one judged on."""
    elsewhere = move.kind == "size" and move.press not in (None, rejected.on_press.press.id)
    return not (elsewhere and rejected.order.press is not None) and _reach(rejected.ways, move)


def _reach(ways: Sequence[Sequence[Fired]], *moves: Move) -> bool:
    """Whether the moves between them reach all that blocks on one of the presses."""
    return any(all(any(move.reaches(block) for move in moves) for block in blocks) for blocks in ways)


def _pairs(rejected: Rejected, singles: Sequence[Move], search: _Search) -> Iterator[tuple[Move, ...]]:
    """Pairs by what they cost together, that reach every block between them."""
    pairs = [
        (first, second)
        for index, first in enumerate(singles)
        for second in singles[index + 1 :]
        if first.place != second.place and _agree(rejected, first, second)
    ]
    for pair in sorted(pairs, key=lambda pair: pair[0].cost + pair[1].cost):
        if search.may_work(*pair):
            yield pair


def _agree(rejected: Rejected, *pair: Move) -> bool:
    """Whether both are for one press, and between them may lift all that blocks there."""
    presses = {move.press for move in pair if move.press is not None}
    return len(presses) <= 1 and _reach(rejected.ways, *pair)


class _Search:
    """Tries changes until enough work or the trials are used up; remembers what still blocked after each."""

    def __init__(
        self, rejected: Rejected, judge: Callable[[Order], Tried], confirm: Callable[[Order], Weighed]
    ) -> None:
        self._rejected, self._judge, self._confirm, self.left = rejected, judge, confirm, TRIALS_MOST
        self._after: dict[int, tuple[tuple[Fired, ...], ...]] = {}

    def best(self, tries: Iterator[tuple[Move, ...]]) -> list[_Works]:
        """The cheapest that work; all of one cost are tried before they are put in order."""
        found: list[_Works] = []
        for _, equal in groupby(tries, key=_cost):
            working = []
            for tried in equal:
                if self.left > 0 and _ideas(tried) not in {each.ideas for each in found}:
                    working += self._trial(tried)
            working.sort(key=lambda each: (VERDICTS.index(each.weighed.verdict), each.weighed.badness, each.text))
            for each in working:
                same_kind = sum(_kinds(other.moves) == _kinds(each.moves) for other in found)
                known = any(each.ideas == other.ideas for other in found)
                if len(found) == REMEDIES_MOST or same_kind == OF_A_KIND_MOST or known:
                    continue
                confirmed = replace(each, weighed=self._confirm(each.order))
                if confirmed.weighed.verdict in _WORKABLE:
                    found.append(confirmed)
            if len(found) == REMEDIES_MOST or self.left <= 0:
                break
        return found

    def _trial(self, tried: tuple[Move, ...]) -> list[_Works]:
        order = self._rejected.order
        for move in tried:
            order = move.make(order)
        self.left -= max(1, len(order.decorations) // 2)
        result = self._judge(order)
        if len(tried) == 1:
            self._after[id(tried[0])] = result.ways
        if result.weighed.verdict not in _WORKABLE:
            return []
        text = " ".join(move.text for move in tried if move.text)
        fields = [field for move in tried for field in move.fields]
        if fields and result.on_press is not None:
            order, told = self._with_values(order, result.on_press, fields)
            text, result = f"{text} {told}".strip(), self._judge(order)
            if result.weighed.verdict not in _WORKABLE:
                return []
        return [_Works(order, tried, text, result.weighed)]

    def may_work(self, first: Move, second: Move) -> bool:
        """Whether each reaches what still blocks after the other, as far as that was tried."""
        return all(
            id(one) not in self._after or _reach(self._after[id(one)], other)
            for one, other in ((first, second), (second, first))
        )

    def _with_values(self, order: Order, on_press: OnPress, fields: Sequence[tuple[int, str]]) -> tuple[Order, str]:
        """The settings that were left to the book filled in with what it chose, so that the remedy says what to set."""
        units, told = self._rejected.whole.shop.units, []
        decorations = list(order.decorations)
        for index, name in fields:
            chosen = on_press.cases[index].chosen
            document = order_settings(chosen, units) if chosen is not None else {}
            if name in document:
                said = read(Settings, {name: document[name]})
                more = {"read_at": "display"} if name == "temperature" else {}
                settings = replace(decorations[index].settings or Settings(), **{name: getattr(said, name)} | more)
                decorations[index] = replace(decorations[index], settings=settings)
                which = f" of decoration {index + 1}" if len(decorations) > 1 else ""
                where = " on the display" if name == "temperature" else ""
                told.append(f"{_FIELD_WORDS[name]}{which} to {document[name]}{where}")
        return replace(order, decorations=tuple(decorations)), f"Set the {', the '.join(told)}."
