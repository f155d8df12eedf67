"""Small slips in a condition (mutants), which of them a rule's examples tell from it, and which no facts could.

An author slips by writing < for <= or ``and`` for ``or``, by forgetting a clause, a "not" or a word of a list, or by
being one step off. A rule whose examples answer alike with such a slip in it was not tried where it counts (mutation
analysis: R. A. DeMillo, R. J. Lipton and F. G. Sayward, "Hints on test data selection", Computer 11 (4), 1978).

A mutant that no facts at all could tell from its condition is no mistake. Whether that is so is found out by trying
each fact at every value that some comparison tells from its neighbours, within its words or its dimension's bounds;
there are finitely many.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import reduce
from itertools import combinations, pairwise, product
from operator import and_, or_
from types import MappingProxyType
from typing import Any

from accord_rules.infer.compiled import Facts, Limits, holds
from accord_rules.revision.condition import (
    And,
    Atom,
    Compare,
    Contains,
    FactName,
    LimitName,
    Node,
    Not,
    Or,
    Truth,
    Within,
    facts_of,
    negated,
)
from accord_rules.revision.facts import Kind

# Conditions write plain numbers only where they have no unit: percent, counts, lightness and ratios.
LITERAL_STEP = 1.0
_OTHER_EDGE: Mapping[str, str] = MappingProxyType({"<": "<=", "<=": "<", ">": ">=", ">=": ">"})
# The sets of facts, one bit each, in which a condition is true, and those in which it is false.
_Bits = tuple[int, int]


class Slip(Enum):
    """What was done to one clause of a condition."""

    EDGE = "edge flipped"
    SHIFTED = "a step off"
    NEGATED = "negated"
    WORD = "word left out"
    DROPPED = "left out"
    SWAPPED = "and for or"


@dataclass(frozen=True, slots=True)
class Mutant:
    """A condition with one slip in it: ``clause`` as it was written, and the ``word`` left out of its list."""

    tree: Node
    slip: Slip
    clause: Node
    word: str = ""


def mutants(tree: Node, limits: Limits, steps: Mapping[str, float]) -> Iterator[Mutant]:
    """Every condition that is one slip away. ``limits`` and their ``steps`` in inside units; KeyError if one lacks."""
    match tree:
        case Not(part):
            if isinstance(part, And | Or | Not):
                yield Mutant(part, Slip.NEGATED, tree)
            for mutant in mutants(part, limits, steps):
                yield Mutant(Not(mutant.tree), mutant.slip, mutant.clause, mutant.word)
        case And(parts) | Or(parts):
            yield Mutant(Or(parts) if isinstance(tree, And) else And(parts), Slip.SWAPPED, tree)
            for place, part in enumerate(parts):
                before, after = parts[:place], parts[place + 1 :]
                rest = before + after
                yield Mutant(rest[0] if len(rest) == 1 else type(tree)(rest), Slip.DROPPED, part)
                for mutant in mutants(part, limits, steps):
                    changed = type(tree)((*before, mutant.tree, *after))
                    yield Mutant(changed, mutant.slip, mutant.clause, mutant.word)
        case _:
            yield from _of_atom(tree, limits, steps)


def _of_atom(atom: Atom, limits: Limits, steps: Mapping[str, float]) -> Iterator[Mutant]:
    yield Mutant(negated(atom), Slip.NEGATED, atom)
    if isinstance(atom, Within) and len(atom.words) > 1:
        for word in atom.words:
            words = tuple(kept_word for kept_word in atom.words if kept_word != word)
            yield Mutant(Within(atom.fact, words, atom.inside), Slip.WORD, atom, word)
    if isinstance(atom, Compare) and atom.left.kind is Kind.NUMBER:
        if atom.op in _OTHER_EDGE:
            yield Mutant(Compare(atom.left, _OTHER_EDGE[atom.op], atom.right), Slip.EDGE, atom)
        for value in _a_step_off(atom.right, limits, steps):
            yield Mutant(Compare(atom.left, atom.op, value), Slip.SHIFTED, atom)


def _a_step_off(right: FactName | LimitName | float | str, limits: Limits, steps: Mapping[str, float]) -> list[float]:
    if isinstance(right, LimitName):
        value, step = limits[right.name], steps[right.name]
    elif isinstance(right, float):
        value, step = right, LITERAL_STEP
    else:
        return []
    return [round(value - step, 9), round(value + step, 9)]


def survivors(tree: Node, samples: Sequence[Facts], limits: Limits, steps: Mapping[str, float]) -> tuple[Mutant, ...]:
    """The mutants that answer as the condition does in every set of facts tried."""
    table = _Table(tree, samples, limits)
    wanted = table.answer(tree)
    return tuple(mutant for mutant in mutants(tree, limits, steps) if table.answer(mutant.tree) == wanted)


class _Table:
    """What conditions answer over several sets of facts at once; the clauses of one condition are asked only once."""

    def __init__(self, tree: Node, samples: Sequence[Facts], limits: Limits) -> None:
        self._samples, self._limits = samples, limits
        self._all = (1 << len(samples)) - 1
        # By identity, which is quicker than comparing; the condition outlives the table.
        self._bits: dict[int, _Bits] = {}
        self._remember(tree)

    def _remember(self, node: Node) -> None:
        for part in _parts(node):
            self._remember(part)
        self._bits[id(node)] = self.answer(node)

    def answer(self, node: Node) -> _Bits:
        answer = self._bits.get(id(node))
        if answer is not None:
            return answer
        match node:
            case Not(part):
                true, false = self.answer(part)
                return false, true
            case And(parts):
                answers = [self.answer(part) for part in parts]
                return reduce(and_, [a[0] for a in answers], self._all), reduce(or_, [a[1] for a in answers])
            case Or(parts):
                answers = [self.answer(part) for part in parts]
                return reduce(or_, [a[0] for a in answers]), reduce(and_, [a[1] for a in answers], self._all)
        return self._of_atom(node)

    def _of_atom(self, atom: Atom) -> _Bits:
        true = false = 0
        for place, facts in enumerate(self._samples):
            answer = _atom_holds(atom, facts, self._limits)
            if answer is True:
                true |= 1 << place
            elif answer is False:
                false |= 1 << place
        return true, false


def _parts(node: Node) -> tuple[Node, ...]:
    match node:
        case Not(part):
            return (part,)
        case And(parts) | Or(parts):
            return parts
    return ()


def _atom_holds(atom: Atom, facts: Facts, limits: Limits) -> bool | None:
    """As the judge would say, without the time that making code of an atom takes."""
    match atom:
        case Compare(left, op, right):
            value: Any = facts.get(left.name)
            operand: Any = right
            if isinstance(right, FactName):
                operand = facts.get(right.name)
            elif isinstance(right, LimitName):
                operand = limits[right.name]
            # NaN is the one value unequal to itself: nothing was found out.
            if value is None or operand is None or value != value or operand != operand:
                return None
            return _is(value, op, operand)
        case Truth(fact, wanted):
            value = facts.get(fact.name)
            return None if value is None else value is wanted
        case Within(fact, words, inside):
            value = facts.get(fact.name)
            return None if value is None else (value in words) is inside
        case Contains(fact, word, inside):
            value = facts.get(fact.name)
            return None if value is None else (word in value) is inside


def _is(value: Any, op: str, operand: Any) -> bool:
    if op in ("==", "!="):
        return bool(value == operand) is (op == "==")
    if op in ("<", ">="):
        return bool(value < operand) is (op == "<")
    return bool(value > operand) is (op == ">")


# -- facts that tell a mutant from its condition ----------------------------------------------------------------------


def telling_facts(tree: Node, counterpart: Node, samples: Sequence[Facts], limits: Limits) -> dict[str, Any] | None:
    """Facts in which the two conditions differ, as near to those tried as can be; None where no facts could.

    All facts are known in it. Facts are taken to be independent of each other, whatever they are derived from.
    """
    values = _values((tree, counterpart), limits)
    return _near(tree, counterpart, values, samples, limits) or _anywhere(tree, counterpart, values, {}, limits)


def _near(
    tree: Node, counterpart: Node, values: Mapping[str, Sequence[Any]], samples: Sequence[Facts], limits: Limits
) -> dict[str, Any] | None:
    """Like facts that were tried, but for one or two of them."""
    whole = [{name: facts[name] for name in values} for facts in samples if all(facts[n] is not None for n in values)]
    for count in (1, 2):
        for facts in whole:
            for names in combinations(values, count):
                for changes in product(*(values[name] for name in names)):
                    changed = facts | dict(zip(names, changes, strict=True))
                    if holds(tree, changed, limits) is not holds(counterpart, changed, limits):
                        return changed
    return None


def _anywhere(
    tree: Node, counterpart: Node, values: Mapping[str, Sequence[Any]], facts: dict[str, Any], limits: Limits
) -> dict[str, Any] | None:
    """A search through all facts, one after the other, left where both conditions are settled and agree."""
    answers = holds(tree, facts, limits), holds(counterpart, facts, limits)
    if None not in answers and answers[0] is answers[1]:
        return None
    left = [name for name in values if name not in facts]
    if not left:
        return facts
    for value in values[left[0]]:
        state = _anywhere(tree, counterpart, values, facts | {left[0]: value}, limits)
        if state is not None:
            return state
    return None


def _values(nodes: Iterable[Node], limits: Limits) -> dict[str, Sequence[Any]]:
    """For each fact the values that stand for all it may have."""
    atoms = [atom for node in nodes for atom in _atoms(node)]
    facts = {fact.name: fact for atom in atoms for fact in facts_of(atom)}
    return {name: _values_of(fact, atoms, limits) for name, fact in facts.items()}


def _atoms(node: Node) -> Iterator[Atom]:
    if isinstance(node, Truth | Compare | Within | Contains):
        yield node
    for part in _parts(node):
        yield from _atoms(part)


def _values_of(fact: FactName, atoms: Sequence[Atom], limits: Limits) -> Sequence[Any]:
    match fact.kind:
        case Kind.BOOL:
            return (True, False)
        case Kind.SET:
            words = dict.fromkeys(atom.word for atom in atoms if isinstance(atom, Contains) and atom.fact == fact)
            presences = product((True, False), repeat=len(words))
            return [tuple(word for word, there in zip(words, present, strict=True) if there) for present in presences]
        case Kind.ENUM:
            return _words_of(fact, atoms)
    return _numbers_of(fact, atoms, limits)


def _words_of(fact: FactName, atoms: Sequence[Atom]) -> Sequence[str]:
    own = [atom for atom in atoms if fact in facts_of(atom)]
    if any(len(facts_of(atom)) > 1 for atom in own):
        return sorted(fact.words)
    named = {atom.right for atom in own if isinstance(atom, Compare) and isinstance(atom.right, str)}
    named |= {word for atom in own if isinstance(atom, Within) for word in atom.words}
    # Words that no comparison names are all alike.
    return sorted(named) + sorted(fact.words - named)[:1]


def _numbers_of(fact: FactName, atoms: Sequence[Atom], limits: Limits) -> Sequence[float]:
    dimension = fact.dimension
    assert dimension is not None, "a parsed number has a dimension"
    together = _compared_with(fact, atoms)
    marks = {dimension.least, dimension.most}
    for atom in atoms:
        if isinstance(atom, Compare) and atom.left in together:
            if isinstance(atom.right, LimitName):
                marks.add(limits[atom.right.name])
            elif isinstance(atom.right, float):
                marks.add(atom.right)
    # Between two marks numbers are all alike, but for the order of facts that are compared with each other.
    between = [
        low + (high - low) * share / (len(together) + 1)
        for low, high in pairwise(sorted(marks))
        for share in range(1, len(together) + 1)
    ]
    barred = {dimension.least} if dimension.least_open else set()
    allowed = {mark for mark in marks if dimension.least <= mark <= dimension.most} - barred
    # The marks first, since an example on one says more than one beside it.
    return [*sorted(allowed), *between]


def _compared_with(fact: FactName, atoms: Sequence[Atom]) -> set[FactName]:
    """The fact and all that it is compared with, directly or by way of others."""
    together = {fact}
    pairs = [set(facts_of(atom)) for atom in atoms if len(facts_of(atom)) > 1]
    for _ in pairs:
        together.update(*(pair for pair in pairs if pair & together))
    return together
