"""What moving a limit can do: decided from the rules' conditions alone, without trying orders.

A rule holds where every atom of one of its branches does. An atom that compares with the limit comes to hold for more
orders, or for fewer, when the limit is moved. Where it comes to hold for more, the rule finds more. Where it comes
to hold for fewer, orders drop out of the rule; that loosens nothing if another rule, at least as firm, finds all of
them (the bands of a scale: a shirt that is no longer "pale at 70 %" because it is now "refused below 75 %").
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.derive.graph import GRAPH
from accord_rules.documents import units
from accord_rules.documents.reading import LeafError
from accord_rules.load.loader import amount
from accord_rules.revision.book import Book
from accord_rules.revision.condition import Atom, Compare, LimitName, negated
from accord_rules.revision.facts import Scope
from accord_rules.revision.rule import Rule
from accord_rules.verdict import LEVELS

FIRM = ("blocks", "requires")
SPLITS_MOST = 10
STRICTER, LOOSER, EQUAL, MIXED = "stricter", "looser", "equal", "mixed"
OPPOSITE: Mapping[str, str] = MappingProxyType({STRICTER: LOOSER, LOOSER: STRICTER, EQUAL: EQUAL, MIXED: MIXED})


def derived_with(name: str) -> bool:
    """Whether facts, and so plans, are worked out with the limit, besides what rules compare with it.

    What moving such a limit does, only orders show.
    """
    return name in GRAPH.limits


def direction(book: Book, name: str, value: float) -> str:
    """Whether ``value`` is stricter or looser than the limit's own, by what the book declares stricter."""
    return _way(book.limit_values[name], value, book.limits[name].stricter)


def direction_of(old: Mapping[str, Any], new: Mapping[str, Any]) -> str | None:
    """The same of two states of a limit's entry, as the book writes them; None where they measure different things, or
    ``new`` could stand in no book."""
    if old.get("dimension") != new.get("dimension"):
        return None
    dimension = units.DIMENSIONS[old["dimension"]]
    try:
        now, then = (amount(dimension, _as_read(entry.get("value"))) for entry in (old, new))
    except (LeafError, TypeError):
        return None
    return _way(now, then, old["stricter"])


def _as_read(value: Any) -> Any:
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _way(now: float, value: float, stricter: str) -> str:
    if value == now:
        return EQUAL
    return STRICTER if (value > now) is (stricter == "higher") else LOOSER


@dataclass(frozen=True, slots=True)
class LimitShift:
    """What moving a limit can do to verdicts, and to findings: stricter, looser, equal, mixed; None where undecided.

    Findings are stricter where none drops out without one at least as firm in its place.
    """

    verdicts: str | None
    findings: str | None

    @property
    def overall(self) -> str | None:
        """What it does to verdicts; where it can change none, what it does to findings."""
        return self.findings if self.verdicts == EQUAL else self.verdicts


def move(book: Book, name: str, value: float) -> LimitShift:
    """What moving one limit to ``value`` can do, for orders that say press and settings.

    ``book`` is the one before the move. Undecided are limits that facts are derived with.
    """
    now = book.limit_values[name]
    if value == now:
        return LimitShift(EQUAL, EQUAL)
    if derived_with(name):
        return LimitShift(None, None)
    every = [rule for rule in book.rules.values() if rule.enforced]
    firm = [rule for rule in every if rule.level in FIRM]
    return LimitShift(_moved(firm, name, value > now), _moved(every, name, value > now))


def _moved(rules: Sequence[Rule], name: str, rises: bool) -> str:
    loses = _loses(rules, name, rises)
    loses_back = _loses(rules, name, not rises)
    if loses:
        return MIXED if loses_back else LOOSER
    return STRICTER if loses_back else EQUAL


def _loses(rules: Sequence[Rule], name: str, rises: bool) -> bool:
    """Whether orders drop out of some rule that no rule as firm takes in."""
    return any(not _covered(rule, atom, held, rules) for rule, atom, held in _losing(rules, name, rises))


def settles_before_settings(book: Book, name: str) -> bool:
    """Whether all rules that compare with the limit are settled before press and settings are chosen."""
    naming = [rule for rule in book.rules.values() if name in rule.condition.limits]
    return all(rule.scope is not Scope.PRESSING for rule in naming)


def _compares(atom: Atom, name: str) -> bool:
    return isinstance(atom, Compare) and isinstance(atom.right, LimitName) and atom.right.name == name


def _gains(atom: Compare, rises: bool) -> bool:
    """Whether the atom holds for more once the limit has moved, whatever it held for before."""
    return atom.op in (("<", "<=") if rises else (">", ">="))


def _losing(rules: Iterable[Rule], name: str, rises: bool) -> Iterator[tuple[Rule, Compare, frozenset[Atom]]]:
    """Branches that hold for fewer orders after the move: the rule, the comparison, and what holds of the dropped."""
    for rule in rules:
        for branch in rule.condition.branches:
            held = frozenset(branch)
            if any(negated(atom) in held for atom in branch):
                continue  # holds for no order, wherever the limit is
            for atom in branch:
                if isinstance(atom, Compare) and _compares(atom, name) and not _gains(atom, rises):
                    yield rule, atom, (held - {atom}) | {negated(atom)}


def _covered(rule: Rule, lost: Compare, held: frozenset[Atom], rules: Sequence[Rule]) -> bool:
    """Whether all orders that drop out of a branch are found by rules that are at least as firm.

    A must may be taken over by several blocks together, each for some of the orders; where it is unknown for which,
    the blocks are open, and the order is undetermined. A block has to be taken over by one rule as a whole.
    """
    if lost.op not in ("<", "<=", ">", ">="):
        return False
    as_firm = [b for other in rules if _rank(other) <= _rank(rule) for b in _turned(other, lost)]
    if any(held.issuperset(branch) for branch in as_firm):
        return True
    # Blocks that say nothing of what holds here take over nothing by themselves, and each would use up a split.
    firmer = [
        b for other in rules if _rank(other) < _rank(rule) for b in _turned(other, None) if not b.isdisjoint(held)
    ]
    return rule.level != "blocks" and _implied(held, firmer, SPLITS_MOST)


def _rank(rule: Rule) -> int:
    return LEVELS.index(rule.level)


def _turned(rule: Rule, lost: Compare | None) -> Iterator[frozenset[Atom]]:
    """A rule's branches; with ``lost``, those that are about the other side of it, so that they come in its place."""
    for branch in rule.condition.branches:
        if lost is None or negated(lost) in branch:
            yield frozenset(branch)


def _implied(held: frozenset[Atom], branches: Sequence[frozenset[Atom]], splits: int) -> bool:
    """Whether one of the branches holds wherever ``held`` does, by trying both sides of what is left open."""
    against = {negated(atom) for atom in held}
    left: list[frozenset[Atom]] = [branch - held for branch in branches if branch.isdisjoint(against)]
    if any(not branch for branch in left):
        return True
    if not left or not splits:
        return False
    shortest: frozenset[Atom] = min(left, key=len)
    split = min(shortest, key=str)
    return all(_implied(held | {side}, left, splits - 1) for side in (split, negated(split)))
