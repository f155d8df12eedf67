"""The judge: plain Python that says of each rule whether it is true, false or unknown, and what is still missing.

It evaluates the condition as written, not its branches, so it shares nothing with what the engine is compiled
from. Three values: True, False, and None for unknown (Kleene's strong logic). A fact that is absent or None is
unknown, and so is a number that is no number (NaN): a computation that failed has found nothing out.
"""

from __future__ import annotations

import operator
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.facts import Kind
from accord_rules.infer.condition import (
    MIRRORED,
    And,
    Atom,
    Compare,
    Condition,
    Contains,
    FactName,
    LimitName,
    Node,
    Not,
    Or,
    Truth,
    Within,
    clash,
    facts_of,
)

Facts = Mapping[str, Any]
Limits = Mapping[str, float]
Test = Callable[[Facts, Limits], bool | None]

COMPARE: Mapping[str, Callable[[Any, Any], Any]] = MappingProxyType(
    {
        "==": operator.eq,
        "!=": operator.ne,
        "<": operator.lt,
        "<=": operator.le,
        ">": operator.gt,
        ">=": operator.ge,
    }
)


@dataclass(frozen=True, slots=True)
class Judgement:
    """``fired``: rules that hold, in rule order. ``unknown``: for each open rule the facts that can still matter."""

    fired: tuple[str, ...]
    unknown: Mapping[str, frozenset[str]]


@dataclass(frozen=True, slots=True, eq=False)
class _Rule:
    """A rule ready to be judged, and its place in the book's order."""

    place: int
    test: Test
    open: _Open


class Judge:
    """All rules compiled to closures once; safe to share between threads."""

    def __init__(self, rules: Mapping[str, Condition]) -> None:
        self._names = tuple(rules)
        self._groups = tuple(
            (
                compile_node(guard),
                tuple(_Rule(place, compile_node(condition.tree), _Open(condition)) for place, condition in guarded),
            )
            for guard, guarded in _guarded(rules.values())
        )

    def judge(self, facts: Facts, limits: Limits) -> Judgement:
        """Judge every rule. ``limits`` in inside units; KeyError where a limit is missing, which is a defect."""
        fired = []
        unknown: dict[int, frozenset[str]] = {}
        for guard, guarded in self._groups:
            if guard(facts, limits) is False:
                continue
            for rule in guarded:
                answer = rule.test(facts, limits)
                if answer:
                    fired.append(rule.place)
                elif answer is None:
                    missing = rule.open.missing(facts, limits)
                    if missing:
                        unknown[rule.place] = missing
        names = self._names
        return Judgement(
            tuple([names[place] for place in sorted(fired)]),
            MappingProxyType({names[place]: unknown[place] for place in sorted(unknown)}),
        )


def _guarded(conditions: Collection[Condition]) -> list[tuple[Node, list[tuple[int, Condition]]]]:
    """The conditions with their places, in groups that one part guards: where it is false, so are they all.

    Of its parts each condition is put under the one that most of them have.
    """
    parts = [_conjuncts(condition.tree) for condition in conditions]
    shared = Counter(part for each in parts for part in dict.fromkeys(each))
    groups: dict[Node, list[tuple[int, Condition]]] = {}
    for place, (condition, each) in enumerate(zip(conditions, parts, strict=True)):
        groups.setdefault(max(each, key=lambda part: shared[part]), []).append((place, condition))
    return list(groups.items())


def _conjuncts(tree: Node) -> tuple[Node, ...]:
    return tree.parts if isinstance(tree, And) else (tree,)


def holds(condition: Condition, facts: Facts, limits: Limits) -> bool | None:
    """Whether one condition holds: True, False, or None where that is unknown."""
    return compile_node(condition.tree)(facts, limits)


class _Open:
    """What can still make one unknown condition true."""

    def __init__(self, condition: Condition) -> None:
        places: dict[Atom, int] = {}
        # Atoms are numbered, since hashing them costs more than testing them.
        branches = [tuple(places.setdefault(atom, len(places)) for atom in branch) for branch in condition.branches]
        self._atoms = tuple(places)
        self._tests = tuple(compile_node(atom) for atom in places)
        self._branches = tuple((branch, self._suspects(branch)) for branch in branches)

    def _suspects(self, branch: tuple[int, ...]) -> frozenset[int]:
        """The atoms of a branch that may turn out impossible, alone or together; the others need no looking at."""
        named = Counter(fact.name for place in branch for fact in facts_of(self._atoms[place]))
        return frozenset(
            place
            for place in branch
            if any(named[fact.name] > 1 for fact in facts_of(self._atoms[place]))
            or _depends(self._atoms[place])
            or clash([self._atoms[place]], {}) is not None
        )

    def missing(self, facts: Facts, limits: Limits) -> frozenset[str]:
        """The unknown facts of the branches that can still become true; empty where none can."""
        values = [test(facts, limits) for test in self._tests]
        open_branches = []
        for branch, suspects in self._branches:
            if any(values[place] is False for place in branch):
                continue
            unknown = frozenset([place for place in branch if values[place] is None])
            doubtful = suspects & unknown
            if doubtful and clash([_with_known(self._atoms[place], facts) for place in doubtful], limits):
                continue
            open_branches.append(unknown)
        # Absorption: where "a" alone would do, "a and b" adds nothing, so b cannot matter through it.
        needed = [one for one in open_branches if not any(other < one for other in open_branches)]
        named = [fact for one in needed for place in one for fact in facts_of(self._atoms[place])]
        return frozenset([fact.name for fact in named if _value(fact, facts) is None])


def _depends(atom: Atom) -> bool:
    """Whether the atom's possibility depends on the limits or on what is known of another fact."""
    return isinstance(atom, Compare) and isinstance(atom.right, FactName | LimitName)


def _value(fact: FactName, facts: Facts) -> Any:
    value = facts.get(fact.name)
    # NaN is the one value unequal to itself.
    return None if fact.kind is Kind.NUMBER and value != value else value


def _with_known(atom: Atom, facts: Facts) -> Atom:
    """A comparison of two facts, one of them known, as a comparison of the other with that value."""
    if isinstance(atom, Compare) and isinstance(atom.right, FactName):
        left, right = _value(atom.left, facts), _value(atom.right, facts)
        literal = float if atom.left.kind is Kind.NUMBER else str
        if right is not None:
            return Compare(atom.left, atom.op, literal(right))
        if left is not None:
            return Compare(atom.right, MIRRORED[atom.op], literal(left))
    return atom


# --- compiling to closures -------------------------------------------------------------------------------------


def compile_node(node: Node) -> Test:
    """A function of (facts, limits) that answers exactly True, False or None, whatever types the facts have."""
    match node:
        case And(parts):
            return _all([compile_node(part) for part in parts])
        case Or(parts):
            return _any([compile_node(part) for part in parts])
        case Not(part):
            return _not(compile_node(part))
        case Truth(fact, wanted):
            return _truth(fact.name, wanted)
        case Within(fact, words, inside):
            return _within(fact.name, frozenset(words), inside)
        case Contains(fact, word, inside):
            return _contains(fact.name, word, inside)
        case Compare(left, op, FactName(name=right)):
            return _with_fact(left.name, COMPARE[op], right)
        case Compare(left, op, LimitName(name=right)):
            return _with_limit(left.name, COMPARE[op], right)
        case Compare(left, op, float() | str() as right):
            return _with_literal(left.name, COMPARE[op], right)
    raise TypeError(f"not a condition: {node!r}")


def _all(tests: Sequence[Test]) -> Test:
    if len(tests) == 2:
        return _both(*tests)

    def every(facts: Facts, limits: Limits) -> bool | None:
        answer: bool | None = True
        for test in tests:
            value = test(facts, limits)
            if value is False:
                return False
            if value is None:
                answer = None
        return answer

    return every


def _both(first: Test, second: Test) -> Test:
    def both(facts: Facts, limits: Limits) -> bool | None:
        one = first(facts, limits)
        if one is False:
            return False
        other = second(facts, limits)
        return other if one or other is False else None

    return both


def _any(tests: Sequence[Test]) -> Test:
    def some(facts: Facts, limits: Limits) -> bool | None:
        answer: bool | None = False
        for test in tests:
            value = test(facts, limits)
            if value:
                return True
            if value is None:
                answer = None
        return answer

    return some


def _not(inner: Test) -> Test:
    def opposite(facts: Facts, limits: Limits) -> bool | None:
        value = inner(facts, limits)
        return None if value is None else not value

    return opposite


def _truth(name: str, wanted: bool) -> Test:
    unwanted = not wanted

    def truth(facts: Facts, _: Limits) -> bool | None:
        value = facts.get(name)
        return None if value is None else wanted if value else unwanted

    return truth


def _within(name: str, words: frozenset[str], inside: bool) -> Test:
    outside = not inside

    def within(facts: Facts, _: Limits) -> bool | None:
        value = facts.get(name)
        return None if value is None else inside if value in words else outside

    return within


def _contains(name: str, word: str, inside: bool) -> Test:
    outside = not inside

    def contains(facts: Facts, _: Limits) -> bool | None:
        value = facts.get(name)
        return None if value is None else inside if word in value else outside

    return contains


def _with_literal(name: str, compare: Callable[[Any, Any], Any], literal: float | str) -> Test:
    def against_literal(facts: Facts, _: Limits) -> bool | None:
        value = facts.get(name)
        if value is None or value != value:
            return None
        return bool(compare(value, literal))

    return against_literal


def _with_limit(name: str, compare: Callable[[Any, Any], Any], limit: str) -> Test:
    def against_limit(facts: Facts, limits: Limits) -> bool | None:
        value = facts.get(name)
        if value is None or value != value:
            return None
        return bool(compare(value, limits[limit]))

    return against_limit


def _with_fact(name: str, compare: Callable[[Any, Any], Any], other: str) -> Test:
    def against_fact(facts: Facts, _: Limits) -> bool | None:
        left, right = facts.get(name), facts.get(other)
        if left is None or right is None or left != left or right != right:
            return None
        return bool(compare(left, right))

    return against_fact
