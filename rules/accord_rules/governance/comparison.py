"""Orders judged under two states of the book, and what differs, added up.

What differs is kept as a sum that is the same however the orders are divided and in whichever order the parts are put
together (``Differences``): so many workers can each judge some, and what they come to is what one would have come to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from accord_rules.advise.steps import steps
from accord_rules.authority import Authority, Judged
from accord_rules.documents.answers import INTEGER, STRING, STRING_OR_NULL, Free
from accord_rules.documents.canonical import digest
from accord_rules.documents.reading import Choice, DocumentError, Object, Text, optional, read, required
from accord_rules.documents.writing import Documented, written
from accord_rules.governance.fitting import fitting
from accord_rules.governance.limits import FIRM, LOOSER, STRICTER
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_rules.revision.rule import Rule
from accord_rules.verdict import LEVELS, VERDICTS, WORKABLE, PlannedStep
from accord_rules.weigh.scales import Fired, worded

UNREADABLE = "unreadable"  # the book does not know what the order names
# An order the book cannot read is an order it does not let pass.
REPLAYED_VERDICTS = (*VERDICTS, UNREADABLE)
_BOOK = "(book)"
SOURCES = RECORDED, EDGE = ("recorded", "edge")
DIRECTIONS = (STRICTER, LOOSER)
_SENTENCE = Text(2000)
# Of each shop, rule and direction; all are counted.
LISTED_MOST = 25
# Orders whose difference is remembered, since the same one is often recorded again; about 1 kB each.
_REMEMBERED = 5_000


@dataclass(frozen=True, slots=True)
class RecordedOrder:
    """An order that some shop recorded, with the shop as it was then, both as documents. ``id`` is the record's."""

    id: str
    shop_id: str
    shop: Mapping[str, Any]
    order: Mapping[str, Any]

    @classmethod
    def of(cls, id_: str, shop_id: str, shop: Shop, order: Order) -> RecordedOrder:
        """Of an order and a shop that were read. What identifies the job for the shop is no part of it."""
        return cls(id_, shop_id, written(shop), written(replace(order, reference=None)))


@dataclass(frozen=True, slots=True)
class EdgeOrder:
    """An order made at the edge of a threshold; ``name`` says at which."""

    name: str
    shop: Shop
    order: Order


@dataclass(frozen=True, slots=True, kw_only=True)
class Flip(Documented):
    """One order that one rule says something else about."""

    source: str = required(Choice(SOURCES), "recorded: a record of a shop's; edge: made at the edge of a threshold")
    shop_id: str = required(STRING, "the shop")
    record_id: str | None = required(STRING_OR_NULL, "the record; null for an order made at an edge")
    edge: str | None = required(STRING_OR_NULL, "which order made at an edge; null for a record")
    rule: str = required(STRING, "the rule")
    direction: str = required(Choice(DIRECTIONS), "which way")
    before: str = required(Choice(REPLAYED_VERDICTS), "verdict under the base")
    after: str = required(Choice(REPLAYED_VERDICTS), "verdict with the changes")

    @property
    def order_id(self) -> str:
        """The record, or which order made at an edge."""
        return self.record_id or self.edge or ""

    @property
    def turns(self) -> bool:
        """Whether the verdict differs, and not only a finding."""
        return self.before != self.after


@dataclass(frozen=True, slots=True, kw_only=True)
class FlipCount(Documented):
    """How many orders of a shop one rule turns one way."""

    source: str = required(Choice(SOURCES), "recorded: a record of a shop's; edge: made at the edge of a threshold")
    shop_id: str = required(STRING, "the shop")
    rule: str = required(STRING, "the rule")
    direction: str = required(Choice(DIRECTIONS), "which way")
    orders: int = required(INTEGER, "orders it says something else about")
    verdicts: int = required(INTEGER, "those of them whose verdict differs")


@dataclass(frozen=True, slots=True)
class FlipWitness(Documented):
    """An order that shows a flip: it can be sent as it is."""

    flip: Flip = required(Object(Flip), "the flip", spread=True)
    document_of_order: Mapping[str, Any] = required(Free((Order,)), "the order", name="asked")
    said_before: str | None = optional(_SENTENCE, about="what the rule says of it under the base; left out: nothing")
    said_after: str | None = optional(_SENTENCE, about="what it says with the changes; left out: nothing")


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDifference(Documented):
    """In how many of the orders' plans a step differs, each on the press that its verdict speaks of."""

    step: str = required(STRING, "the step")
    comes: int = required(INTEGER, "orders whose plan has it with the changes only")
    goes: int = required(INTEGER, "orders whose plan has it under the base only")
    reworded: int = required(INTEGER, "orders whose plan has it under both, in other words or of another stage")


_SAYS_NOTHING: tuple[str | None, str | None] = (None, None)
_STEP_WAYS = ("comes", "goes", "reworded")


# -- the sum ----------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Row:
    """Flips of one source, shop, rule and direction: how many, and the most telling of them."""

    orders: int = 0
    verdicts: int = 0
    listed: list[Flip] = field(default_factory=list)

    def add(self, orders: int, verdicts: int, listed: Iterable[Flip]) -> None:
        self.orders += orders
        self.verdicts += verdicts
        # The first of all are among the first of any part, so the parts' own lists suffice.
        self.listed = sorted((*self.listed, *listed), key=_telling)[:LISTED_MOST]


def _telling(flip: Flip) -> tuple[bool, str]:
    """Those whose verdict differs come first, then by name: ids of records say nothing, so that is a fair choice."""
    return not flip.turns, flip.order_id


def _row_of(flip: Flip) -> tuple[str, str, str, str]:
    return flip.source, flip.shop_id, flip.rule, flip.direction


class Differences:
    """What differs over some orders. ``add`` puts two together; whatever is in it may come in any order."""

    def __init__(self) -> None:
        self.recorded = self.edges = self.unread = 0
        self._rows: dict[tuple[str, str, str, str], _Row] = {}
        self._witnesses: dict[tuple[str, str], FlipWitness] = {}
        self._turned: Counter[str] = Counter()
        self._steps: Counter[tuple[str, str]] = Counter()
        self._watched: Counter[str] = Counter()

    @property
    def judged(self) -> int:
        """Orders judged under both."""
        return self.recorded + self.edges

    @property
    def counts(self) -> tuple[FlipCount, ...]:
        """Flips by source, shop, rule and direction."""
        return tuple(
            FlipCount(source=source, shop_id=shop, rule=rule, direction=way, orders=row.orders, verdicts=row.verdicts)
            for (source, shop, rule, way), row in sorted(self._rows.items())
        )

    @property
    def flips(self) -> tuple[Flip, ...]:
        """The most telling of each row, by row and name."""
        return tuple(
            flip for _, row in sorted(self._rows.items()) for flip in sorted(row.listed, key=lambda flip: flip.order_id)
        )

    @property
    def left_out(self) -> int:
        """Flips that are counted and not listed."""
        return sum(row.orders - len(row.listed) for row in self._rows.values())

    @property
    def witnesses(self) -> tuple[FlipWitness, ...]:
        """For each rule and direction the most telling order: one whose verdict differs, made at an edge if there is
        one. Recorded orders are shown without the shop's reference."""
        return tuple(sorted(self._witnesses.values(), key=_showing))

    @property
    def steps(self) -> tuple[StepDifference, ...]:
        """Steps of plans that differ."""
        return tuple(
            StepDifference(step=name, **{way: self._steps[name, way] for way in _STEP_WAYS})
            for name in sorted({name for name, _ in self._steps})
        )

    @property
    def watched(self) -> Mapping[str, int]:
        """Watched rule to the recorded orders it holds for."""
        return MappingProxyType(dict(sorted(self._watched.items())))

    @property
    def turned(self) -> Mapping[str, int]:
        """How many flips come with a verdict that is stricter, and how many with a looser one."""
        return MappingProxyType(dict(self._turned))

    @property
    def directions(self) -> frozenset[str]:
        """The ways in which rules flip, whether the verdict does or not."""
        return frozenset(way for *_, way in self._rows)

    def watch(self, names: Iterable[str]) -> None:
        """Have these rules counted, should they hold for nothing too."""
        for name in names:
            self._watched[name] += 0

    def add(self, other: Differences) -> None:
        """Add what differs over other orders."""
        self.recorded += other.recorded
        self.edges += other.edges
        self.unread += other.unread
        for row_name, row in other._rows.items():
            self._rows.setdefault(row_name, _Row()).add(row.orders, row.verdicts, row.listed)
        for witness in other._witnesses.values():
            self._take_witness(witness)
        for mine, theirs in ((self._turned, other._turned), (self._watched, other._watched)):
            for name, count in theirs.items():
                mine[name] += count
        for step, count in other._steps.items():
            self._steps[step] += count

    def add_order(self, source: str, shop_id: str, order_id: str, difference: OrderDifference) -> None:
        """Add what differs for one order."""
        if source == RECORDED:
            self.recorded += 1
            for name in difference.watched:
                self._watched[name] += 1
        else:
            self.edges += 1
        for step in difference.steps:
            self._steps[step] += 1
        for rule, way in difference.rules:
            flip = Flip(
                source=source,
                shop_id=shop_id,
                record_id=order_id if source == RECORDED else None,
                edge=order_id if source == EDGE else None,
                rule=rule,
                direction=way,
                before=difference.before,
                after=difference.after,
            )
            self._rows.setdefault(_row_of(flip), _Row()).add(1, int(flip.turns), (flip,))
            if flip.turns:
                self._turned[turned_to(flip)] += 1
            self._take_witness(FlipWitness(flip, difference.order, *difference.said.get(rule, _SAYS_NOTHING)))

    def _take_witness(self, witness: FlipWitness) -> None:
        name = witness.flip.rule, witness.flip.direction
        now = self._witnesses.get(name)
        if now is None or _showing(witness) < _showing(now):
            self._witnesses[name] = witness

    def document(self) -> dict[str, Any]:
        """Plain JSON, short enough to be kept at each step; ``read`` takes it back."""
        rows = [
            [*name, row.orders, row.verdicts, [[flip.order_id, flip.before, flip.after] for flip in row.listed]]
            for name, row in sorted(self._rows.items())
        ]
        return {
            "recorded": self.recorded,
            "edges": self.edges,
            "unread": self.unread,
            "rows": rows,
            "witnesses": [witness.document() for witness in self.witnesses],
            "turned": dict(sorted(self._turned.items())),
            "steps": [[*step, count] for step, count in sorted(self._steps.items())],
            "watched": dict(self.watched),
        }

    @classmethod
    def read(cls, document: Mapping[str, Any]) -> Differences:
        """What ``document`` wrote."""
        made = cls()
        made.recorded, made.edges, made.unread = (document[name] for name in ("recorded", "edges", "unread"))
        for *name, orders, verdicts, listed in document["rows"]:
            row = made._rows.setdefault((name[0], name[1], name[2], name[3]), _Row())
            row.add(orders, verdicts, (_flip_in(name, *flip) for flip in listed))
        for written_witness in document["witnesses"]:
            made._take_witness(read(FlipWitness, written_witness))
        made._turned.update(document["turned"])
        made._watched.update(document["watched"])
        made._steps.update({(step, way): count for step, way, count in document["steps"]})
        return made


def _flip_in(row: Iterable[str], order_id: str, before: str, after: str) -> Flip:
    source, shop, rule, way = row
    return Flip(
        source=source,
        shop_id=shop,
        record_id=order_id if source == RECORDED else None,
        edge=order_id if source == EDGE else None,
        rule=rule,
        direction=way,
        before=before,
        after=after,
    )


def _showing(witness: FlipWitness) -> tuple[bool, str, str, str, str, str]:
    flip = witness.flip
    return not flip.turns, flip.source, flip.shop_id, flip.order_id, flip.rule, flip.direction


def turned_to(flip: Flip) -> str:
    """Which way the verdict goes."""
    return STRICTER if REPLAYED_VERDICTS.index(flip.after) > REPLAYED_VERDICTS.index(flip.before) else LOOSER


# -- one order under both ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OrderDifference:
    """What differs for one order: ``rules`` by (rule, direction), ``steps`` of its plan by (step, how); ``said``: rule
    to what it says of the order under the base and with the changes, None where that is nothing."""

    order: Mapping[str, Any]
    before: str
    after: str
    rules: tuple[tuple[str, str], ...]
    steps: tuple[tuple[str, str], ...]
    watched: frozenset[str]
    said: Mapping[str, tuple[str | None, str | None]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Answer:
    """A verdict, and for each rule and place how firmly something is said, or may be."""

    verdict: str
    firmness: Mapping[tuple[str, str], int]
    steps: Mapping[str, tuple[PlannedStep, ...]]  # of its plan, by id, once a pressing
    fired: tuple[Fired, ...] = ()


class Comparison:
    """Two states of the book, ready to judge orders under both. ``planned``: with the steps of their plans.

    Close it; it holds two authorities.
    """

    def __init__(self, old: Book, new: Book, *, planned: bool) -> None:
        self._planned = planned
        self._before, self._after = Authority(old), Authority(new)
        self._watching = tuple(self._after.scales.watched())
        self._known: dict[str, OrderDifference | None] = {}

    def close(self) -> None:
        """Let go of both authorities."""
        self._before.close()
        self._after.close()

    def differences(self) -> Differences:
        """Over no order yet."""
        made = Differences()
        made.watch(self._watching)
        return made

    def add_recorded(self, record: RecordedOrder, differences: Differences) -> None:
        """Add what differs for a recorded order; one that this version cannot read is counted."""
        difference = self._of_recorded(record)
        if difference is None:
            differences.unread += 1
        else:
            differences.add_order(RECORDED, record.shop_id, record.id, difference)

    def add_edge(self, edge: EdgeOrder, differences: Differences) -> None:
        """Add what differs for an order at an edge."""
        difference = self._difference(edge.order, edge.shop, watched=False)
        differences.add_order(EDGE, edge.shop.id, edge.name, difference)

    def _of_recorded(self, record: RecordedOrder) -> OrderDifference | None:
        key = digest([record.order, record.shop])
        if key in self._known:
            return self._known[key]
        try:
            order, shop = read(Order, record.order), read(Shop, record.shop)
        except DocumentError:
            difference = None  # written by code whose orders had other fields; a replay of that record says so
        else:
            difference = self._difference(replace(order, reference=None), shop, watched=True)
        if len(self._known) >= _REMEMBERED:
            del self._known[next(iter(self._known))]
        self._known[key] = difference
        return difference

    def _difference(self, order: Order, shop: Shop, *, watched: bool) -> OrderDifference:
        before, after = (self._answer(authority, order, shop) for authority in (self._before, self._after))
        apart = tuple(_rules_apart(before, after))
        return OrderDifference(
            MappingProxyType(written(replace(order, reference=None))),
            before.verdict,
            after.verdict,
            apart,
            tuple(_steps_apart(before.steps, after.steps)),
            self._watched(order, shop) if watched and self._watching else frozenset(),
            {rule: (self._said(self._before, before, rule), self._said(self._after, after, rule)) for rule, _ in apart},
        )

    def _said(self, authority: Authority, answer: _Answer, rule: str) -> str | None:
        """What a rule says first of an order; None where it says nothing."""
        fired = next((fired for fired in answer.fired if fired.rule.id == rule), None)
        return None if fired is None else worded(fired, authority.book).because

    def _answer(self, authority: Authority, order: Order, shop: Shop) -> _Answer:
        known = fitting(authority.book, shop)
        try:
            judged = None if known is None else authority.judged(resolve(order, authority.book, known), known)
        except DocumentError:
            judged = None
        if judged is None:
            return _Answer(UNREADABLE, {(_BOOK, ""): 2 * len(LEVELS)}, {})
        weighed = judged.weighed
        # Firmer is more, and a rule that may hold comes just below one that does.
        firmness = {
            (match.rule.id, match.rule.pointer(match.case.index)): 2 * _firmness(match.rule) - 1
            for match in weighed.open
            if match.rule.level in FIRM
        }
        firmness |= {(match.rule.id, match.pointer): 2 * _firmness(match.rule) for match in weighed.fired}
        in_plan = self._planned and weighed.verdict in WORKABLE
        return _Answer(weighed.verdict, firmness, _by_step(judged) if in_plan else {}, weighed.fired)

    def _watched(self, order: Order, shop: Shop) -> frozenset[str]:
        known = fitting(self._after.book, shop)
        try:
            return frozenset() if known is None else self._after.watch(order, known)
        except DocumentError:
            return frozenset()  # it is counted as unreadable under the changed book


def _by_step(judged: Judged) -> Mapping[str, tuple[PlannedStep, ...]]:
    in_plan: dict[str, tuple[PlannedStep, ...]] = {}
    for case in judged.best.cases:
        for step in steps(case, judged.weighed):
            in_plan[step.id] = (*in_plan.get(step.id, ()), step)
    return in_plan


def _steps_apart(
    was: Mapping[str, tuple[PlannedStep, ...]], is_: Mapping[str, tuple[PlannedStep, ...]]
) -> Iterator[tuple[str, str]]:
    for name in sorted({*was, *is_}):
        if was.get(name) != is_.get(name):
            yield name, "comes" if name not in was else "goes" if name not in is_ else "reworded"


def _firmness(rule: Rule) -> int:
    return len(LEVELS) - LEVELS.index(rule.level)


def _rules_apart(before: _Answer, after: _Answer) -> list[tuple[str, str]]:
    """Each (rule, direction) in which the order's outcome differs."""
    apart = {
        (rule, STRICTER if after.firmness.get((rule, about), 0) > before.firmness.get((rule, about), 0) else LOOSER)
        for rule, about in {*before.firmness, *after.firmness}
        if before.firmness.get((rule, about), 0) != after.firmness.get((rule, about), 0)
    }
    if before.verdict != after.verdict and not apart:
        stricter = REPLAYED_VERDICTS.index(after.verdict) > REPLAYED_VERDICTS.index(before.verdict)
        apart = {(_BOOK, STRICTER if stricter else LOOSER)}
    return sorted(apart)
