"""What a change of the book does: recorded orders and orders at the edges of thresholds, judged under old and new.

Every order whose verdict or findings differ is a flip, listed by shop, rule and direction, with one witness order for
each rule and direction. How a change is classed is decided exactly where it can be (``governance.limits``), and by the
replay otherwise; the effect says which.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any

from accord_rules.advise.steps import steps
from accord_rules.authority import Authority, Judged, code_digest
from accord_rules.documents import units
from accord_rules.documents.answers import INTEGER, STRING, STRING_OR_NULL, STRINGS, Free, listed, mapped
from accord_rules.documents.canonical import digest
from accord_rules.documents.reading import Choice, DocumentError, Object, required
from accord_rules.documents.writing import Documented, written
from accord_rules.governance import edges
from accord_rules.governance.changes import CHANGEABLE, EntryChange, difference
from accord_rules.governance.fitting import fitting
from accord_rules.governance.limits import (
    EQUAL,
    FIRM,
    LOOSER,
    MIXED,
    OPPOSITE,
    STRICTER,
    derived_with,
    direction,
    move,
    settles_before_settings,
)
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_rules.revision.rule import Rule
from accord_rules.verdict import LEVELS, VERDICTS, WORKABLE, PlannedStep

UNREADABLE = "unreadable"  # the book does not know what the order names
# An order the book cannot read is an order it does not let pass.
REPLAYED_VERDICTS = (*VERDICTS, UNREADABLE)
_BOOK = "(book)"
SOURCES = RECORDED, EDGE = ("recorded", "edge")
DIRECTIONS = (STRICTER, LOOSER)
WAYS = (*DIRECTIONS, EQUAL, MIXED)
EXACTLY, BY_REPLAY = "exactly", "by replay"
EVERY_ORDER = "every order"
SAID_SETTINGS = "orders that say press and settings"
TRIED = "the orders that were tried"


@dataclass(frozen=True, slots=True)
class RecordedOrder:
    """An order that some shop recorded, with the shop as it was then. ``id`` is the record's."""

    id: str
    shop_id: str
    shop: Shop
    order: Order


@dataclass(frozen=True, slots=True)
class Budget:
    """How many orders to judge at most; what is left out is counted. A judgement takes some milliseconds."""

    recorded: int = 2_000
    edges: int = 4_000


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


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDifference(Documented):
    """In how many of the orders' plans a step differs, each on the press that its verdict speaks of."""

    step: str = required(STRING, "the step")
    comes: int = required(INTEGER, "orders whose plan has it with the changes only")
    goes: int = required(INTEGER, "orders whose plan has it under the base only")
    reworded: int = required(INTEGER, "orders whose plan has it under both, in other words or of another stage")


@dataclass(frozen=True, slots=True)
class Decision(Documented):
    """What a change does as a whole."""

    kind: str = required(Choice(WAYS), "which way")
    decided: str = required(
        Choice((EXACTLY, BY_REPLAY)), "exactly: from the rules' conditions; by replay: on the orders tried"
    )
    holds_for: str = required(STRING, "for which orders that holds")
    because: tuple[str, ...] = required(STRINGS, "why, in sentences")

    @property
    def exact(self) -> bool:
        """Whether it was decided from the rules alone, and so holds for orders that nobody tried."""
        return self.decided == EXACTLY


@dataclass(frozen=True, slots=True)
class EntryName(Documented):
    """An entry of the book."""

    kind: str = required(Choice(CHANGEABLE), "the kind of entry")
    id: str = required(STRING, "its name")


@dataclass(frozen=True, slots=True)
class ReplayedCount(Documented):
    """How many orders were judged under both."""

    recorded: int = required(INTEGER, "recorded orders")
    recorded_left_out: int = required(INTEGER, "recorded orders left out for their number; 1 may stand for more")
    edges: int = required(INTEGER, "orders at edges")
    edges_left_out: int = required(INTEGER, "1 where there were more")


@dataclass(frozen=True, kw_only=True)
class Effect(Documented):
    """What changes between two states of the book."""

    old_digest: str = required(STRING, "digest of the base", name="old")
    new_digest: str = required(STRING, "digest of the book with the changes", name="new")
    code: str = required(STRING, "digest of the code that judged")
    changes: tuple[EntryName, ...] = required(listed(Object(EntryName)), "what is changed")
    decision: Decision = required(Object(Decision), "what it does as a whole")
    loosens_safety: tuple[str, ...] = required(
        STRINGS, "each safety limit, row of a market or safety rule that is loosened"
    )
    counts: tuple[FlipCount, ...] = required(listed(Object(FlipCount)), "flips by shop, rule and direction")
    flips: tuple[Flip, ...] = required(listed(Object(Flip)), "every flip")
    witnesses: tuple[FlipWitness, ...] = required(listed(Object(FlipWitness)), "one order for each rule and direction")
    steps: tuple[StepDifference, ...] = required(
        listed(Object(StepDifference)), "plans' steps that differ, where a change touches steps"
    )
    watched: Mapping[str, int] = required(
        mapped(INTEGER), "watched rule to the recorded orders it holds for; it is only counted, and turns no verdict"
    )
    replayed: ReplayedCount = required(Object(ReplayedCount), "how many orders were judged under both")

    @cached_property
    def replay_digest(self) -> str:
        """SHA-256 over the document: the same orders under the same books and code give the same."""
        return digest(self.document())


def effect(old: Book, new: Book, orders: Iterable[RecordedOrder], budget: Budget = Budget()) -> Effect:
    """Replay and classify. The order in which ``orders`` come makes no difference.

    Raises changes.ChangeError where the two differ in what no proposal can change.
    """
    changes = difference(old.documents, new.documents)
    recorded = list(orders)
    questions = [
        _Question(RECORDED, record.shop_id, record.id, record.shop, record.order)
        for record in _chosen(recorded, budget.recorded)
    ]
    at_edges = list(itertools.islice(_edges(old, new, changes), budget.edges + 1))
    replayed = ReplayedCount(
        recorded=len(questions),
        recorded_left_out=len(recorded) - len(questions),
        edges=min(len(at_edges), budget.edges),
        edges_left_out=int(len(at_edges) > budget.edges),
    )
    before, after = Authority(old), Authority(new)
    planned = any(_touches_steps(old, new, change) for change in changes)
    try:
        answered = [
            (question, _answer(before, question, planned), _answer(after, question, planned))
            for question in (*questions, *at_edges[: budget.edges])
        ]
        flipped = [(flip, question) for question, *answers in answered for flip in _flips(question, *answers)]
        watched = _watched(after, questions)
    finally:
        before.close()
        after.close()
    flips = tuple(sorted((flip for flip, _ in flipped), key=_flip_key))
    return Effect(
        old_digest=old.digest,
        new_digest=new.digest,
        code=code_digest(),
        changes=tuple(EntryName(change.kind, change.id) for change in changes),
        decision=_with_watched(_decision(old, new, changes, flips, replayed), new, changes, watched, replayed),
        loosens_safety=loosens_safety(old, new),
        counts=_counts(flips),
        flips=flips,
        witnesses=_witnesses(flipped),
        steps=_step_differences((was.steps, is_.steps) for _, was, is_ in answered),
        watched=MappingProxyType(watched),
        replayed=replayed,
    )


def _chosen(recorded: Sequence[RecordedOrder], most: int) -> list[RecordedOrder]:
    """As many as the budget allows, spread over shops and times by the digest of their ids, so always the same ones."""
    spread = sorted(recorded, key=lambda record: digest([record.shop_id, record.id]))
    return sorted(spread[:most], key=lambda record: (record.shop_id, record.id))


# -- replay -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Question:
    source: str
    shop_id: str
    order_id: str
    shop: Shop
    order: Order


@dataclass(frozen=True, slots=True)
class _Answer:
    """A verdict, and for each rule and place how firmly something is said, or may be."""

    verdict: str
    firmness: Mapping[tuple[str, str], int]
    steps: Mapping[str, tuple[PlannedStep, ...]]  # of its plan, by id, once a pressing


def _answer(authority: Authority, question: _Question, planned: bool) -> _Answer:
    """``planned``: with the steps of its plan."""
    shop = fitting(authority.book, question.shop)
    try:
        judged = None if shop is None else authority.judged(resolve(question.order, authority.book, shop), shop)
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
    in_plan = planned and weighed.verdict in WORKABLE
    return _Answer(weighed.verdict, firmness, _by_step(judged) if in_plan else {})


def _by_step(judged: Judged) -> Mapping[str, tuple[PlannedStep, ...]]:
    in_plan: dict[str, tuple[PlannedStep, ...]] = {}
    for case in judged.best.cases:
        for step in steps(case, judged.weighed):
            in_plan[step.id] = (*in_plan.get(step.id, ()), step)
    return in_plan


def _step_differences(
    answered: Iterable[tuple[Mapping[str, tuple[PlannedStep, ...]], Mapping[str, tuple[PlannedStep, ...]]]],
) -> tuple[StepDifference, ...]:
    counts: Counter[tuple[str, str]] = Counter()
    for was, is_ in answered:
        for name in {*was, *is_}:
            if was.get(name) != is_.get(name):
                counts[name, "comes" if name not in was else "goes" if name not in is_ else "reworded"] += 1
    ways = ("comes", "goes", "reworded")
    return tuple(
        StepDifference(step=name, **{way: counts[name, way] for way in ways})
        for name in sorted({name for name, _ in counts})
    )


def _touches_steps(old: Book, new: Book, change: EntryChange) -> bool:
    """Whether plans may have other steps after a change: of a step, of a rule that names one, of a limit in either."""
    match change.kind:
        case "steps":
            return True
        case "rules":
            return any(book.rules[change.id].step for book in (old, new) if change.id in book.rules)
        case "limits":
            of_steps = [step.limits for book in (old, new) for step in book.steps.values()]
            of_rules = [rule.limits for book in (old, new) for rule in book.rules.values() if rule.step]
            return any(change.id in limits for limits in (*of_steps, *of_rules))
    return False


def _firmness(rule: Rule) -> int:
    return len(LEVELS) - LEVELS.index(rule.level)


def _flips(question: _Question, before: _Answer, after: _Answer) -> Iterator[Flip]:
    """One flip for each rule and direction in which the order's outcome differs."""
    changed = {
        (rule, STRICTER if after.firmness.get((rule, about), 0) > before.firmness.get((rule, about), 0) else LOOSER)
        for rule, about in {*before.firmness, *after.firmness}
        if before.firmness.get((rule, about), 0) != after.firmness.get((rule, about), 0)
    }
    if before.verdict != after.verdict and not changed:
        stricter = REPLAYED_VERDICTS.index(after.verdict) > REPLAYED_VERDICTS.index(before.verdict)
        changed = {(_BOOK, STRICTER if stricter else LOOSER)}
    for rule, way in sorted(changed):
        yield Flip(
            source=question.source,
            shop_id=question.shop_id,
            record_id=question.order_id if question.source == RECORDED else None,
            edge=question.order_id if question.source == EDGE else None,
            rule=rule,
            direction=way,
            before=before.verdict,
            after=after.verdict,
        )


def _flip_key(flip: Flip) -> tuple[str, ...]:
    return (flip.source, flip.shop_id, flip.rule, flip.direction, flip.record_id or "", flip.edge or "")


def _counts(flips: Iterable[Flip]) -> tuple[FlipCount, ...]:
    orders: Counter[tuple[str, str, str, str]] = Counter()
    verdicts: Counter[tuple[str, str, str, str]] = Counter()
    for flip in flips:
        row = (flip.source, flip.shop_id, flip.rule, flip.direction)
        orders[row] += 1
        verdicts[row] += flip.before != flip.after
    return tuple(
        FlipCount(
            source=source,
            shop_id=shop,
            rule=rule,
            direction=way,
            orders=count,
            verdicts=verdicts[source, shop, rule, way],
        )
        for (source, shop, rule, way), count in sorted(orders.items())
    )


def _witnesses(flipped: Iterable[tuple[Flip, _Question]]) -> tuple[FlipWitness, ...]:
    """For each rule and direction the most telling order: one whose verdict differs, made at an edge if there is one.

    Recorded orders are shown without the shop's reference.
    """
    best: dict[tuple[str, str], tuple[tuple[Any, ...], Flip, _Question]] = {}
    for flip, question in flipped:
        key = (flip.before == flip.after, flip.source, flip.shop_id, question.order_id)
        now = best.get((flip.rule, flip.direction))
        if now is None or key < now[0]:
            best[flip.rule, flip.direction] = (key, flip, question)
    return tuple(
        FlipWitness(flip, MappingProxyType(written(replace(question.order, reference=None))))
        for _, (_, flip, question) in sorted(best.items(), key=lambda item: item[0])
    )


def _watched(authority: Authority, questions: Iterable[_Question]) -> dict[str, int]:
    counts = dict.fromkeys(authority.scales.watched(), 0)
    for question in questions if counts else ():
        shop = fitting(authority.book, question.shop)
        try:
            fired = frozenset() if shop is None else authority.watch(question.order, shop)
        except DocumentError:
            continue  # counted as unreadable already
        for name in fired:
            counts[name] += 1
    return counts


# -- the orders at the edges ------------------------------------------------------------------------------------------


def _edges(old: Book, new: Book, changes: Sequence[EntryChange]) -> Iterator[_Question]:
    """Orders around every changed threshold, examples of changed rules, then all other rules' examples, each once."""
    seen: set[str] = set()
    for name, order, shop in itertools.chain(
        _around_changes(old, new, changes), edges.of_examples(old), edges.of_examples(new)
    ):
        document = written(order)
        key = digest([document, written(shop)])
        if key not in seen:
            seen.add(key)
            yield _Question(EDGE, shop.id, name, shop, order)


def _around_changes(old: Book, new: Book, changes: Sequence[EntryChange]) -> Iterator[tuple[str, Order, Shop]]:
    limits = [c.id for c in changes if c.kind == "limits" and c.id in old.limits and c.id in new.limits]
    for name in limits:
        if old.limits[name].dimension != new.limits[name].dimension:
            continue
        for book, against in ((old, new), (new, old)):
            orders = edges.around_limit(book, name, against.limit_values[name])
            yield from ((f"limit/{name}/{n}", *question) for n, question in enumerate(orders))
    for book in (old, new):
        yield from edges.of_steps(book, [c.id for c in changes if c.kind == "steps" and c.id in book.steps])
    rules = [c.id for c in changes if c.kind == "rules"]
    for name in rules:
        for book, against in ((old, new), (new, old)):
            if name in book.rules:
                rule, counterpart = book.rules[name], against.rules.get(name)
                yield from edges.of_examples(book, [name])
                orders = edges.around_rule(book, rule, counterpart)
                yield from ((f"rule/{name}/{n}", *question) for n, question in enumerate(orders))


# -- classing ---------------------------------------------------------------------------------------------------------


def _decision(
    old: Book, new: Book, changes: Sequence[EntryChange], flips: Sequence[Flip], replayed: ReplayedCount
) -> Decision:
    seen = _of_flips(flips)
    decisions = [_exactly(old, new, change) for change in changes]
    ways = {decision.kind for decision in decisions}
    if all(decision.exact for decision in decisions) and (MIXED not in ways) and not {STRICTER, LOOSER} <= ways:
        kind = (ways - {EQUAL} or {EQUAL}).pop()
        holds_for = EVERY_ORDER if all(decision.holds_for == EVERY_ORDER for decision in decisions) else SAID_SETTINGS
        because = tuple(decision.because[0] for decision in decisions if decision.because)
        against = [flip for flip in flips if flip.before != flip.after and _way(flip) == OPPOSITE[kind]]
        if kind in (STRICTER, LOOSER) and against:
            because += (f"Where settings are left open, others are chosen: {len(against)} flips go the other way.",)
            return Decision(MIXED, BY_REPLAY, TRIED, because)
        return Decision(kind, EXACTLY, holds_for, because)
    total = replayed.recorded + replayed.edges
    reasons = tuple(
        decision.because[0]
        for decision in decisions
        if decision.because and (not decision.exact or decision.kind != EQUAL)
    )
    by_replay = f"Seen on {replayed.recorded} recorded orders and {replayed.edges} at edges ({total} in all)."
    return Decision(seen, BY_REPLAY, TRIED, (*reasons, by_replay))


def _with_watched(
    decision: Decision, new: Book, changes: Sequence[EntryChange], watched: Mapping[str, int], replayed: ReplayedCount
) -> Decision:
    """The decision, with what each watched rule that the change brings would do if it were enforced."""
    names = sorted(change.id for change in changes if change.kind == "rules" and change.id in watched)
    said = tuple(
        f"Rule {name} is only watched, so it is counted, shown in no answer, and turns no verdict; enforced, it would"
        f" find something in {watched[name]} of {replayed.recorded} recorded orders."
        for name in names
    )
    return replace(decision, because=(*decision.because, *said))


def _of_flips(flips: Iterable[Flip]) -> str:
    """By the verdicts that differ; where none does, by the findings that do."""
    every = list(flips)
    turned = [flip for flip in every if flip.before != flip.after]
    ways = {_way(flip) for flip in turned} or {flip.direction for flip in every}
    return MIXED if len(ways) > 1 else ways.pop() if ways else EQUAL


def _way(flip: Flip) -> str:
    return STRICTER if REPLAYED_VERDICTS.index(flip.after) > REPLAYED_VERDICTS.index(flip.before) else LOOSER


def _exactly(old: Book, new: Book, change: EntryChange) -> Decision:
    """What one change does, as far as that can be told from the book alone."""
    if change.kind == "limits" and change.id in old.limits and change.id in new.limits:
        return _limit(old, new, change.id)
    if change.kind == "limits" and not derived_with(change.id):
        return Decision(EQUAL, EXACTLY, EVERY_ORDER, ())  # no rule can name it both before and after
    if change.kind == "rules":
        return _rule(old.rules.get(change.id), new.rules.get(change.id))
    if change.kind in ("sources", "steps"):
        return Decision(EQUAL, EXACTLY, EVERY_ORDER, ())
    if (
        change.kind == "migration"
        and change.id in old.catalogue["migration"]
        and change.id in new.catalogue["migration"]
    ):
        return _migration(old, new, change.id)
    return Decision(MIXED, BY_REPLAY, TRIED, (f"What a change of {change.kind} {change.id} does, only orders show.",))


def _migration(old: Book, new: Book, name: str) -> Decision:
    """A cell of the table of dye migration: lower is stricter at each level; what it turns, only orders show."""
    before, after = (book.catalogue["migration"][name] for book in (old, new))
    moved = [level for level in ("fine", "caution", "most") if getattr(before, level) != getattr(after, level)]
    if not moved:
        return Decision(EQUAL, EXACTLY, EVERY_ORDER, ())
    shown = "; ".join(
        f"{level} goes from {units.show(units.TEMPERATURE, getattr(before, level))} to "
        f"{units.show(units.TEMPERATURE, getattr(after, level))}, which is "
        f"{STRICTER if getattr(after, level) < getattr(before, level) else LOOSER}"
        for level in moved
    )
    why = f"In the cell {name} {shown}; facts are worked out with it, so only orders show what that does."
    return Decision(MIXED, BY_REPLAY, TRIED, (why,))


def _limit(old: Book, new: Book, name: str) -> Decision:
    if old.limits[name].dimension != new.limits[name].dimension:
        return Decision(MIXED, BY_REPLAY, TRIED, (f"{name} measures something else now.",))
    value, now = new.limit_values[name], old.limit_values[name]
    if value == now:
        return Decision(EQUAL, EXACTLY, EVERY_ORDER, ())
    way = move(old, name, value).overall
    shown = " to ".join(units.show(old.limit_dimension(name), number) for number in (now, value))
    if way is None:
        why = f"{name} goes from {shown}; facts are worked out with it, so only orders show what that does."
        return Decision(MIXED, BY_REPLAY, TRIED, (why,))
    if way == MIXED:
        why = (
            f"{name} goes from {shown}; rules that compare with it find more orders on one side and fewer on the other."
        )
        return Decision(MIXED, BY_REPLAY, TRIED, (why,))
    shifts = {
        STRICTER: "no verdict can become looser",
        LOOSER: "no verdict can become stricter",
        EQUAL: "nothing turns on it",
    }
    holds_for = EVERY_ORDER if settles_before_settings(old, name) else SAID_SETTINGS
    declared = direction(old, name, value)
    why = (
        f"{name} goes from {shown}, which its entry calls {declared}; by the rules that compare with it {shifts[way]}."
    )
    return Decision(way, EXACTLY, holds_for, (why,))


def _rule(before: Rule | None, after: Rule | None) -> Decision:
    """A rule that comes, goes, or becomes firmer or less firm with the same condition."""
    was, is_ = _enforced(before), _enforced(after)
    rule = after or before
    if was is None and is_ is None:
        return Decision(EQUAL, EXACTLY, EVERY_ORDER, ())
    name = rule.id if rule is not None else ""
    if was is None and is_ is not None:
        return _settled(STRICTER, is_, f"Rule {name} is added: findings can only be added.")
    if is_ is None and was is not None:
        return _settled(LOOSER, was, f"Rule {name} is no longer enforced: findings can only go.")
    if was is not None and is_ is not None and was.condition.branches == is_.condition.branches:
        change = LEVELS.index(was.level) - LEVELS.index(is_.level)
        if not change:
            return Decision(EQUAL, EXACTLY, EVERY_ORDER, ())
        return _settled(STRICTER if change > 0 else LOOSER, is_, f"Rule {name} goes from {was.level} to {is_.level}.")
    return Decision(MIXED, BY_REPLAY, TRIED, (f"What the new condition of rule {name} finds, only orders show.",))


def _settled(kind: str, rule: Rule, why: str) -> Decision:
    holds_for = SAID_SETTINGS if rule.scope.value == "pressing" else EVERY_ORDER
    return Decision(kind, EXACTLY, holds_for, (why,))


def _enforced(rule: Rule | None) -> Rule | None:
    return rule if rule is not None and rule.enforced else None


# -- safety -----------------------------------------------------------------------------------------------------------


def loosens_safety(old: Book, new: Book) -> tuple[str, ...]:
    """Why two stewards are needed: one sentence for each safety limit, row of a market or safety rule that is loosened;
    none if none is."""
    return (*_loosened_limits(old, new), *_loosened_markets(old, new), *_loosened_rules(old, new))


def _loosened_limits(old: Book, new: Book) -> Iterator[str]:
    for name, before in old.limits.items():
        if not before.safety:
            continue
        after = new.limits.get(name)
        if after is None:
            yield f"Safety limit {name} is taken out."
        elif not after.safety:
            yield f"Limit {name} is no longer a safety limit."
        elif (after.stricter, after.dimension) != (before.stricter, before.dimension):
            yield f"Safety limit {name} means something else."
        elif direction(old, name, new.limit_values[name]) == LOOSER:
            now, then = (units.show(old.limit_dimension(name), book.limit_values[name]) for book in (old, new))
            yield f"Safety limit {name} goes from {now} to {then}; {before.stricter} is stricter."


def _loosened_markets(old: Book, new: Book) -> Iterator[str]:
    """A market's rows are law that keeps people safe, or this collective's choice where law is silent."""
    for name, before in old.catalogue["markets"].items():
        after = new.catalogue["markets"].get(name)
        if after is None:
            yield f"Market {name} is taken out."
            continue
        for matter, row in before.rows:
            now = getattr(after, matter)
            if now is None:
                yield f"In market {name} the row {matter} is taken out."
                continue
            for field in row.looser_in(now):
                then, value = (book.documents["markets"][name][matter].get(field, "nothing") for book in (old, new))
                yield f"In market {name}, {matter}, {field} goes from {then} to {value}, which may hold back less."


def _loosened_rules(old: Book, new: Book) -> Iterator[str]:
    for name, before in old.rules.items():
        if not before.enforced or before.level not in FIRM or not old.keeps_people_safe(before):
            continue
        after = new.rules.get(name)
        if after is None:
            yield f"Safety rule {name} is taken out."
        elif not after.enforced:
            yield f"Safety rule {name} is only watched."
        elif LEVELS.index(after.level) > LEVELS.index(before.level):
            yield f"Safety rule {name} goes from {before.level} to {after.level}."
        elif not new.keeps_people_safe(after):
            yield f"Rule {name} is no longer a safety rule."
        elif not _finds_as_much(before, after):
            yield f"Safety rule {name} has a condition that may find less."


def _finds_as_much(before: Rule, after: Rule) -> bool:
    """Whether each way for the old condition to hold is, as written, a way for the new one; in doubt it is not."""
    return all(
        any(frozenset(earlier) <= frozenset(branch) for earlier in after.condition.branches)
        for branch in before.condition.branches
    )
