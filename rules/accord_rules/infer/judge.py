"""The judge: plain Python that says of each rule whether it is true, false or unknown, and what is still missing.

It evaluates the condition as written, not its branches, so it shares nothing with what the engine is compiled
from.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from accord_rules.infer.compiled import Ask, Facts, Limits, compile_all
from accord_rules.revision.condition import (
    MIRRORED,
    Atom,
    Compare,
    Condition,
    FactName,
    LimitName,
    Node,
    clash,
    facts_of,
)
from accord_rules.revision.facts import Kind


@dataclass(frozen=True, slots=True)
class Judgement:
    """``fired``: rules that hold, in rule order. ``unknown``: for each open rule the facts that can still matter."""

    fired: tuple[str, ...]
    unknown: Mapping[str, frozenset[str]]


class Judge:
    """All rules compiled once; safe to share between threads."""

    def __init__(self, rules: Mapping[str, Condition]) -> None:
        self._names = tuple(rules)
        self._conditions = tuple(rules.values())
        self._ask = _compiled_together(tuple(condition.tree for condition in self._conditions))
        self._opened: dict[int, _Open] = {}

    def judge(self, facts: Facts, limits: Limits) -> Judgement:
        """Judge every rule. ``limits`` in inside units; KeyError where a limit is missing, which is a defect."""
        names = self._names
        fired, unknown = self._ask(facts, limits)
        open_ = {names[place]: missing for place in unknown if (missing := self._missing(place, facts, limits))}
        return Judgement(tuple([names[place] for place in fired]), MappingProxyType(open_))

    def _missing(self, place: int, facts: Facts, limits: Limits) -> frozenset[str]:
        # Most rules are never open, so that what it takes is made when the first question leaves one so.
        opened = self._opened.get(place)
        if opened is None:
            opened = self._opened[place] = _open(self._conditions[place])
        return opened.missing(facts, limits)


# The same conditions come often: in each revision that moves a limit, and on both sides of a comparison of books. A
# book asks its conditions in seven lots, the largest a function of some 300 kB.
@lru_cache(maxsize=32)
def _compiled_together(nodes: tuple[Node, ...]) -> Ask:
    return compile_all(nodes)


# So many ways for a condition to be open are kept with what is missing then; most conditions have a handful.
_MOST_WAYS = 256


class _Open:
    """What can still make one unknown condition true."""

    def __init__(self, condition: Condition) -> None:
        places: dict[Atom, int] = {}
        # Atoms are numbered, since hashing them costs more than testing them.
        branches = [frozenset(places.setdefault(atom, len(places)) for atom in branch) for branch in condition.branches]
        self._atoms = tuple(places)
        self._ask = compile_all(self._atoms)
        self._branches = tuple((branch, self._suspects(branch)) for branch in branches)
        rights = [atom.right for atom in self._atoms if isinstance(atom, Compare)]
        self._limits = tuple({right.name for right in rights if isinstance(right, LimitName)})
        pairs = [atom for atom in self._atoms if isinstance(atom, Compare) and isinstance(atom.right, FactName)]
        self._paired = tuple({fact.name: fact for atom in pairs for fact in facts_of(atom)}.values())
        self._missing: dict[tuple[Any, ...], frozenset[str]] = {}

    def _suspects(self, branch: frozenset[int]) -> frozenset[int]:
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
        true, open_ = self._ask(facts, limits)
        # Beside which atoms hold and which are open, it hangs on limits, and on facts that are compared with others.
        key = (
            tuple(true),
            tuple(open_),
            tuple([limits[name] for name in self._limits]),
            tuple([_value(fact, facts) for fact in self._paired]),
        )
        names = self._missing.get(key)
        if names is None:
            if len(self._missing) >= _MOST_WAYS:
                self._missing.clear()
            names = self._missing[key] = self._work_out(frozenset(true), frozenset(open_), facts, limits)
        return names

    def _work_out(self, true: frozenset[int], open_: frozenset[int], facts: Facts, limits: Limits) -> frozenset[str]:
        open_branches = []
        for branch, suspects in self._branches:
            if not branch <= true | open_:
                continue
            unknown = branch & open_
            doubtful = suspects & unknown
            if doubtful and clash([_with_known(self._atoms[place], facts) for place in doubtful], limits):
                continue
            open_branches.append(unknown)
        # Absorption: where "a" alone would do, "a and b" adds nothing, so b cannot matter through it.
        needed = [branch for branch in open_branches if not any(smaller < branch for smaller in open_branches)]
        named = [fact for branch in needed for place in branch for fact in facts_of(self._atoms[place])]
        return frozenset([fact.name for fact in named if _value(fact, facts) is None])


# A book has some 400 conditions that are inferred.
@lru_cache(maxsize=1024)
def _open(condition: Condition) -> _Open:
    return _Open(condition)


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
