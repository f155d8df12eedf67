"""What a change of the book does: recorded orders and orders at the edges of thresholds, judged under old and new.

Every order whose verdict or findings differ is a flip, listed by shop, rule and direction, with one witness order for
each rule and direction. How a change is classed is decided exactly where it can be (``governance.limits``), and by the
replay otherwise; the effect says which.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from accord_rules.authority import code_digest
from accord_rules.documents import units
from accord_rules.documents.answers import INTEGER, STRING, STRINGS, listed, mapped
from accord_rules.documents.canonical import digest
from accord_rules.documents.counted import counted
from accord_rules.documents.reading import Choice, Object, required
from accord_rules.documents.writing import Documented, written
from accord_rules.governance import edges
from accord_rules.governance.changes import CHANGEABLE, EntryChange, difference
from accord_rules.governance.comparison import (
    DIRECTIONS,
    LISTED_MOST,
    Comparison,
    Differences,
    EdgeOrder,
    Flip,
    FlipCount,
    FlipWitness,
    RecordedOrder,
    StepDifference,
)
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
from accord_rules.revision.rule import Rule
from accord_rules.verdict import LEVELS

WAYS = (*DIRECTIONS, EQUAL, MIXED)
EXACTLY, BY_REPLAY = "exactly", "by replay"
EVERY_ORDER = "every order"
SAID_SETTINGS = "orders that say press and settings"
TRIED = "the orders that were tried"
# Orders at edges that are judged at most; a judgement takes some milliseconds.
EDGES_MOST = 4_000


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
    recorded_left_out: int = required(INTEGER, "recorded orders left out, since this version cannot read them")
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
    flips: tuple[Flip, ...] = required(
        listed(Object(Flip)), f"of each row of counts the {LISTED_MOST} most telling flips at most"
    )
    flips_left_out: int = required(INTEGER, "flips that are counted and not listed")
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


def effect(old: Book, new: Book, orders: Iterable[RecordedOrder], edges_most: int = EDGES_MOST) -> Effect:
    """Replay and classify, all in one go. The order in which ``orders`` come makes no difference.

    Raises changes.ChangeError where the two differ in what no proposal can change.
    """
    at_edges, left_out = edge_orders(old, new, edges_most)
    comparison = compared(old, new)
    try:
        differences = comparison.differences()
        for record in orders:
            comparison.add_recorded(record, differences)
        for edge in at_edges:
            comparison.add_edge(edge, differences)
    finally:
        comparison.close()
    return concluded(old, new, differences, left_out)


def compared(old: Book, new: Book) -> Comparison:
    """Both states, ready to judge orders; with the steps of plans where a change touches steps. Close it."""
    changes = difference(old.documents, new.documents)
    return Comparison(old, new, planned=any(_touches_steps(old, new, change) for change in changes))


def edge_orders(old: Book, new: Book, most: int = EDGES_MOST) -> tuple[tuple[EdgeOrder, ...], int]:
    """The orders at edges to be judged, always the same ones in the same order, and 1 where there were more."""
    made = tuple(itertools.islice(_edges(old, new, difference(old.documents, new.documents)), most + 1))
    return made[:most], int(len(made) > most)


def concluded(old: Book, new: Book, differences: Differences, edges_left_out: int) -> Effect:
    """What all that was judged comes to."""
    changes = difference(old.documents, new.documents)
    replayed = ReplayedCount(
        recorded=differences.recorded,
        recorded_left_out=differences.unread,
        edges=differences.edges,
        edges_left_out=edges_left_out,
    )
    decision = _decision(old, new, changes, differences, replayed)
    return Effect(
        old_digest=old.digest,
        new_digest=new.digest,
        code=code_digest(),
        changes=tuple(EntryName(change.kind, change.id) for change in changes),
        decision=_with_watched(decision, new, changes, differences.watched, replayed),
        loosens_safety=loosens_safety(old, new),
        counts=differences.counts,
        flips=differences.flips,
        flips_left_out=differences.left_out,
        witnesses=differences.witnesses,
        steps=differences.steps,
        watched=differences.watched,
        replayed=replayed,
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


# -- the orders at the edges ------------------------------------------------------------------------------------------


def _edges(old: Book, new: Book, changes: Sequence[EntryChange]) -> Iterator[EdgeOrder]:
    """Orders around every changed threshold, examples of changed rules, then all other rules' examples, each once."""
    seen: set[str] = set()
    for name, order, shop in itertools.chain(
        _around_changes(old, new, changes), edges.of_examples(old), edges.of_examples(new)
    ):
        document = written(order)
        key = digest([document, written(shop)])
        if key not in seen:
            seen.add(key)
            yield EdgeOrder(name, shop, order)


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
    old: Book, new: Book, changes: Sequence[EntryChange], differences: Differences, replayed: ReplayedCount
) -> Decision:
    decisions = [_exactly(old, new, change) for change in changes]
    ways = {decision.kind for decision in decisions}
    if all(decision.exact for decision in decisions) and (MIXED not in ways) and not {STRICTER, LOOSER} <= ways:
        kind = (ways - {EQUAL} or {EQUAL}).pop()
        holds_for = EVERY_ORDER if all(decision.holds_for == EVERY_ORDER for decision in decisions) else SAID_SETTINGS
        because = tuple(decision.because[0] for decision in decisions if decision.because)
        against = differences.turned.get(OPPOSITE[kind], 0)
        if kind in (STRICTER, LOOSER) and against:
            flips = f"{counted(against, 'flip')} {'goes' if against == 1 else 'go'}"
            because += (f"Where settings are left open, others are chosen: {flips} the other way.",)
            return Decision(MIXED, BY_REPLAY, TRIED, because)
        return Decision(kind, EXACTLY, holds_for, because)
    total = replayed.recorded + replayed.edges
    reasons = tuple(
        decision.because[0]
        for decision in decisions
        if decision.because and (not decision.exact or decision.kind != EQUAL)
    )
    by_replay = (
        f"Seen on {counted(replayed.recorded, 'recorded order')} and {replayed.edges} at edges ({total} in all)."
    )
    return Decision(_of_flips(differences), BY_REPLAY, TRIED, (*reasons, by_replay))


def _with_watched(
    decision: Decision, new: Book, changes: Sequence[EntryChange], watched: Mapping[str, int], replayed: ReplayedCount
) -> Decision:
    """The decision, with what each watched rule that the change brings would do if it were enforced."""
    names = sorted(change.id for change in changes if change.kind == "rules" and change.id in watched)
    said = tuple(
        f"Rule {name} is only watched, so it is counted, shown in no answer, and turns no verdict; enforced, it would"
        f" find something in {watched[name]} of {counted(replayed.recorded, 'recorded order')}."
        for name in names
    )
    return replace(decision, because=(*decision.because, *said))


def _of_flips(differences: Differences) -> str:
    """By the verdicts that differ; where none does, by the findings that do."""
    ways = frozenset(differences.turned) or differences.directions
    return MIXED if len(ways) > 1 else next(iter(ways), EQUAL)


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
    """A market's rows are law that keeps people safe, or this collective's choice where the book knows none."""
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
