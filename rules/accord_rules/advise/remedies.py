"""Remedies: the smallest changes that turn a rejected order into one that can be done.

Single changes are tried in the order of their cost (``costs``), then, only if none works, pairs of them. Whatever is
offered has been judged like an order; at equal cost an accepted one comes before a conditional one. What an order says
is never taken back: it stays, or it is said anew with another value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, groupby

from accord_rules.advise.differences import changes
from accord_rules.advise.moves import Move, Rejected, left_open, moves
from accord_rules.advise.wording import order_settings, setting_words
from accord_rules.derive.case import Case
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.sources import ARRANGEMENT, SOURCES
from accord_rules.documents.reading import read
from accord_rules.orders.order import PRINTER_WORDS, Order, Settings
from accord_rules.verdict import VERDICTS, WORKABLE, Remedy
from accord_rules.weigh.scales import Fired, OnPress, Weighed

REMEDIES_MOST = 5
OF_A_KIND_MOST = 2
# Changed orders judged before the search gives up, first for singles, then for pairs: what keeps a rejection quick.
TRIALS_MOST = 48
# Changes that are paired with each other: each pair takes some microseconds to be looked at.
PAIRED_MOST = 200
# Facts with which heat that harms is told: how hot it gets, and whether there is a window at all.
_SEQUENCE = tuple(source.name for source in SOURCES.values() if source.part in ARRANGEMENT)
_CHOSEN = tuple(source.name for source in SOURCES.values() if source.subject == "chosen")
_HEAT = GRAPH.downstream(("chosen/display_c", "chosen/surface_c", "chosen/spread_k"), _SEQUENCE) | GRAPH.downstream(
    ("window.low_c", "window.high_c"), _CHOSEN
)


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of a changed order: what the rules say, and where its pressings were judged, if they were.

    ``ways`` holds what blocks on each press, or what blocks whatever the press.
    """

    weighed: Weighed
    on_press: OnPress | None
    ways: tuple[tuple[Fired, ...], ...]


@dataclass(frozen=True, slots=True)
class Remedied:
    """The remedies found; ``complete``: whether all changes were tried, so that there is no other one."""

    remedies: tuple[Remedy, ...] = ()
    complete: bool = True


@dataclass(frozen=True, slots=True)
class _Works:
    """A change that works: the changed order, its moves, and what the rules say of it.

    ``verdict``: what the whole answer to it says, once that is known.
    """

    order: Order
    moves: tuple[Move, ...]
    text: str
    weighed: Weighed
    verdict: str = ""

    @property
    def cost(self) -> float:
        return _cost(self.moves)

    @property
    def ideas(self) -> tuple[tuple[str, int | None, str], ...]:
        return _ideas(self.moves)


def _cost(moves: tuple[Move, ...]) -> float:
    return round(float(sum(move.cost for move in moves)), 6)


def _ideas(moves: tuple[Move, ...]) -> tuple[tuple[str, int | None, str], ...]:
    return tuple((move.kind, move.index, move.idea or move.text) for move in moves)


def _kinds(moves: tuple[Move, ...]) -> tuple[str, ...]:
    return tuple(move.kind for move in moves)


def remedies(
    rejected: Rejected,
    judge: Callable[[Order], Tried],
    confirm: Callable[[Order], str],
    may_go_on: Callable[[], bool],
) -> Remedied:
    """Up to five remedies, cheapest first.

    ``judge`` says what the rules make of a changed order, as shortly as it can; ``confirm`` gives the verdict
    of one in full before it is offered; ``may_go_on`` says whether the question may take more weighings.
    """
    singles, complete = moves(rejected)
    search = _Search(rejected, judge, confirm, may_go_on)
    working = search.best((move,) for move in singles if _alone(rejected, move))
    if not working:
        search.trials_left = TRIALS_MOST
        # No more than two changes are tried together, so that more may do, but for a block that none of them reaches.
        complete = complete and len(singles) <= PAIRED_MOST and not _reach(rejected.ways, *singles)
        working = search.best(_pairs(rejected, _to_pair(rejected, singles), search))
    units = rejected.whole.shop.units
    return Remedied(
        tuple(
            Remedy(changes(rejected.order, works.order, units), works.verdict, works.text, works.cost)
            for works in working
        ),
        len(working) == REMEDIES_MOST or (complete and not search.cut),
    )


def _alone(rejected: Rejected, move: Move) -> bool:
    """Whether it reaches every block, and was not made for another press than the one judged on."""
    elsewhere = move.kind == "size" and move.press not in (None, rejected.on_press.press.id)
    return not (elsewhere and rejected.order.press is not None) and _reach(rejected.ways, move)


def _reach(ways: Sequence[Sequence[Fired]], *moves: Move) -> bool:
    """Whether the moves between them reach all that blocks on one of the presses."""
    return any(all(any(move.reaches(block) for move in moves) for block in blocks) for blocks in ways)


def _to_pair(rejected: Rejected, singles: Sequence[Move]) -> Sequence[Move]:
    """Those that are paired with each other: first what reaches a block, since one of a pair has to, then the cheapest
    of the rest."""
    blocks = {(block.rule.id, block.pointer): block for blocks in rejected.ways for block in blocks}.values()
    return sorted(singles, key=lambda move: not any(map(move.reaches, blocks)))[:PAIRED_MOST]


def _pairs(rejected: Rejected, singles: Sequence[Move], search: _Search) -> Iterator[tuple[Move, ...]]:
    """Pairs by what they cost together, that reach every block between them."""
    pairs = [
        (first, second)
        for first, second in combinations(singles, 2)
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
    """Tries changes until enough work or the trials are used up; remembers what still blocked after each.

    ``cut``: whether the trials were used up with changes left to try.
    """

    def __init__(
        self,
        rejected: Rejected,
        judge: Callable[[Order], Tried],
        confirm: Callable[[Order], str],
        may_go_on: Callable[[], bool],
    ) -> None:
        self._rejected, self._judge, self._confirm, self._may_go_on = rejected, judge, confirm, may_go_on
        self._after: dict[int, tuple[tuple[Fired, ...], ...]] = {}
        self.trials_left, self.cut = TRIALS_MOST, False

    def best(self, tries: Iterable[tuple[Move, ...]]) -> list[_Works]:
        """The cheapest that work; all of one cost are tried before they are put in order."""
        chosen: list[_Works] = []
        for _, equal in groupby(tries, key=_cost):
            working = []
            for attempt in equal:
                if self._has_enough_of(attempt, chosen):
                    continue
                if not self._may_try():
                    break
                working += self._trial(attempt)
            working.sort(key=lambda works: (VERDICTS.index(works.weighed.verdict), works.weighed.badness, works.text))
            for works in working:
                if len(chosen) == REMEDIES_MOST or self._has_enough_of(works.moves, chosen):
                    continue
                confirmed = replace(works, verdict=self._confirm(works.order))
                if confirmed.verdict in WORKABLE:
                    chosen.append(confirmed)
            if len(chosen) == REMEDIES_MOST or self.cut:
                break
        return sorted(chosen, key=lambda works: (works.cost, VERDICTS.index(works.verdict)))

    @staticmethod
    def _has_enough_of(moves: tuple[Move, ...], chosen: Sequence[_Works]) -> bool:
        """Whether the idea was had already, or as many of its kind as are offered."""
        same_kind = sum(_kinds(works.moves) == _kinds(moves) for works in chosen)
        return same_kind == OF_A_KIND_MOST or any(_ideas(moves) == works.ideas for works in chosen)

    def _may_try(self) -> bool:
        if self.trials_left <= 0 or not self._may_go_on():
            self.cut = True
            return False
        self.trials_left -= 1
        return True

    def _trial(self, moves: tuple[Move, ...]) -> list[_Works]:
        order = self._applied(moves)
        result = self._judge(order)
        if len(moves) == 1:
            self._after[id(moves[0])] = result.ways
        if result.weighed.verdict not in WORKABLE:
            return []
        if len(moves) == 1 and moves[0].reducible:
            return self._reduced(moves[0])
        works = self._worded(moves, order, result)
        return [] if works is None else [works]

    def _applied(self, moves: tuple[Move, ...]) -> Order:
        order = self._rejected.order
        for move in moves:
            order = move.make(order)
        return order

    def _reduced(self, move: Move) -> list[_Works]:
        """The same with every setting that need not be changed left as it was said."""
        least = move.fields
        for field in move.fields:
            fewer = tuple(setting for setting in least if setting != field)
            if not fewer or not self._may_try():
                break
            if self._judge(left_open(fewer).make(self._rejected.order)).weighed.verdict in WORKABLE:
                least = fewer
        return self._trial((left_open(least),))

    def _worded(self, moves: tuple[Move, ...], order: Order, result: Tried) -> _Works | None:
        """What works with all that it changes said; None where it does not hold when that is said, takes back what
        the order said, or does no more than press a harmful heat on a colder press."""
        text = " ".join(move.text for move in moves if move.text)
        if result.on_press is not None and self._is_colder(moves, order, result.on_press):
            return None
        fields = tuple(dict.fromkeys(field for move in moves for field in move.fields))
        made_anew = [move.artwork for move in moves if move.artwork is not None]
        if (fields or made_anew) and result.on_press is not None:
            order, texts = self._with_values(order, result.on_press, fields)
            for index in made_anew:
                order, how = self._with_making(order, result.on_press, index)
                texts = [*texts, *how]
            text, result = " ".join(part for part in (text, *texts) if part), self._judge(order)
        changed = changes(self._rejected.order, order, self._rejected.whole.shop.units)
        left_out = {pointer for move in moves for pointer in move.leaves_out}
        taken_back = (change for change in changed if change.after is None and change.pointer not in left_out)
        if result.weighed.verdict not in WORKABLE or any(taken_back):
            return None
        return _Works(order, moves, text, result.weighed)

    def _is_colder(self, moves: tuple[Move, ...], order: Order, on_press: OnPress) -> bool:
        """Whether heat that harms is only moved to a press that falls short of what its display says."""
        ways, before = self._rejected.ways, self._rejected.on_press
        facts = (fact for blocks in ways for block in blocks for fact in block.rule.condition.facts)
        if not any(move.kind == "press" for move in moves) or _HEAT.isdisjoint(facts):
            return False
        return any(
            _said_temperature(order, index) == said_c and _surface_c(after) < _surface_c(now)
            for index, (now, after) in enumerate(zip(before.cases, on_press.cases, strict=True))
            if (said_c := _said_temperature(self._rejected.order, index)) is not None
        )

    def may_work(self, first: Move, second: Move) -> bool:
        """Whether each reaches what still blocks after the other, as far as that was tried."""
        return all(
            id(reaching) not in self._after or _reach(self._after[id(reaching)], blocked)
            for reaching, blocked in ((first, second), (second, first))
        )

    def _with_values(
        self, order: Order, on_press: OnPress, fields: Sequence[tuple[int, str]]
    ) -> tuple[Order, list[str]]:
        """The settings that were left to the book filled in with what it chose, so that the remedy says what to set."""
        units, settings = self._rejected.whole.shop.units, []
        for index, name in fields:
            chosen = on_press.cases[index].chosen
            document = order_settings(chosen, units) if chosen is not None else {}
            if name in document:
                setting = read(Settings, {name: document[name]})
                more = {"read_at": "display"} if name == "temperature" else {}
                before = order.decorations[index].settings or Settings()
                order = order.with_decoration(index, settings=replace(before, **{name: getattr(setting, name)} | more))
                which = f" of decoration {index + 1}" if len(order.decorations) > 1 else ""
                pairs = setting_words(name, document[name], self._rejected.whole.book)
                settings += [f"{what}{which} to {value}" for what, value in pairs]
        sentence = [f"Set {', '.join(settings)}."] if settings else []
        return order, sentence

    def _with_making(self, order: Order, on_press: OnPress, index: int) -> tuple[Order, list[str]]:
        """What was said of how the print is made said anew, as the transfer takes it on this piece."""
        ordered, artwork = (version.decorations[index].artwork for version in (self._rejected.order, order))
        if ordered is None or artwork is None:
            return order, []
        case, texts = on_press.cases[index], []
        mirrored, printed_by = ordered.mirrored, ordered.printed_by
        if mirrored is not None and mirrored != (mirrored := case["art.mirrored"]):
            texts.append("Print it as a mirror image." if mirrored else "Print it the right way round.")
        if printed_by is not None and printed_by != (printed_by := case["art.printed_by"]):
            texts.append(f"Have it made by {PRINTER_WORDS[printed_by]}.")
        return order.with_decoration(index, artwork=replace(artwork, mirrored=mirrored, printed_by=printed_by)), texts


def _said_temperature(order: Order, index: int) -> float | None:
    settings = order.decorations[index].settings
    return settings.temperature if settings is not None else None


def _surface_c(case: Case) -> float:
    """The mean surface temperature of a pressing; endless where nothing is set."""
    surface_c = case.chosen.surface_c if case.chosen is not None else None
    return float("inf") if surface_c is None else surface_c
