"""Conditions as straight Python code, which runs several times faster than a walk through their trees.

The code is put together from the few fixed pieces below. What a book says (names of facts and limits, words, numbers)
is in it only by number, as constants and variables, so that no text of a book is ever run.

Three values: a condition is true, or false, or neither, which is unknown (Kleene's strong logic). So each condition is
written twice, as what makes it true and as what makes it false: ``and`` is true if all parts are, and false if any is.
A fact that is absent or None is unknown, and so is a number that is no number (NaN): a computation that failed has
found nothing out.

Conditions that have a part in common are asked together, under a test that it is not false: where it is, all of them
are. So most conditions of a large book are never looked at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from accord_rules.revision.condition import (
    NEGATED,
    And,
    Compare,
    Contains,
    FactName,
    LimitName,
    Node,
    Not,
    Or,
    Truth,
    Within,
)
from accord_rules.revision.facts import Kind

Facts = Mapping[str, Any]
Limits = Mapping[str, float]
# The places of the conditions that are true, and of those that are unknown.
Ask = Callable[[Facts, Limits], tuple[list[int], list[int]]]


def compile_all(nodes: Sequence[Node]) -> Ask:
    """One function that asks all of them. Limits are in inside units; it raises KeyError where one is missing."""
    code = _Code()
    tests = code.asked(list(enumerate(nodes)))
    lines = ["def ask(facts, limits):", " get, true, unknown = facts.get, [], []", *code.beginning(), *tests]
    lines += [" true.sort()", " unknown.sort()", " return true, unknown"]
    namespace: dict[str, Any] = dict(code.constants)
    exec(compile("\n".join(lines), "<conditions>", "exec"), namespace)
    ask: Ask = namespace["ask"]
    return ask


# Conditions come with proposals and house rules too. A book has some 600, comparisons alone and rules whole; one as
# long as may be takes some 16 kB.
@lru_cache(maxsize=2048)
def _alone(node: Node) -> Ask:
    return compile_all([node])


def holds(node: Node, facts: Facts, limits: Limits) -> bool | None:
    """Whether one condition holds: True, False, or None where that is unknown."""
    true, unknown = _alone(node)(facts, limits)
    return True if true else None if unknown else False


# So many conditions are asked under a test of what they have in common, and so deep.
_TOGETHER_LEAST, _WITHIN_MOST = 3, 4


def _parts(node: Node) -> frozenset[Node]:
    """What a condition is false without."""
    return frozenset(node.parts) if isinstance(node, And) else frozenset()


class _Code:
    """Writes conditions, and numbers what they name."""

    def __init__(self) -> None:
        self.constants: dict[str, Any] = {}
        self._numbered: dict[tuple[type, Any], str] = {}
        self._facts: dict[str, FactName] = {}
        self._limits: dict[str, str] = {}

    def beginning(self) -> list[str]:
        """The lines that look up each fact and each limit once."""
        lines = []
        for variable, fact in self._facts.items():
            lines.append(f" {variable} = get({self._constant(fact.name)})")
            if fact.kind is Kind.NUMBER:
                lines.append(f" if {variable} != {variable}: {variable} = None")
        lines += [f" {variable} = limits[{self._constant(name)}]" for name, variable in self._limits.items()]
        return lines

    def asked(self, conditions: Sequence[tuple[int, Node]], within: frozenset[Node] = frozenset()) -> list[str]:
        """The lines that ask these conditions, each with its place; ``within``: parts known not to be false."""
        shared = Counter(part for _, node in conditions for part in _parts(node) - within)
        groups: dict[Node | None, list[tuple[int, Node]]] = {}
        for place, node in conditions:
            parts = sorted(_parts(node) - within, key=lambda part: (-shared[part], str(part)))
            joint = parts[0] if parts and shared[parts[0]] >= _TOGETHER_LEAST and len(within) < _WITHIN_MOST else None
            groups.setdefault(joint, []).append((place, node))
        indent, lines = " " * (len(within) + 1), []
        for joint, together in groups.items():
            if joint is not None:
                lines += [f"{indent}if not {self.holds(joint, False)}:", *self.asked(together, within | {joint})]
                continue
            for place, node in together:
                lines.append(f"{indent}if {self.holds(node, True)}: true.append({place})")
                lines.append(f"{indent}elif not {self.holds(node, False)}: unknown.append({place})")
        return lines

    def holds(self, node: Node, answer: bool) -> str:
        """An expression that is true just when the condition's answer is ``answer``; it tells nothing of the other."""
        match node:
            case And(parts) | Or(parts):
                joined = " and " if isinstance(node, And) is answer else " or "
                return f"({joined.join(self.holds(part, answer) for part in parts)})"
            case Not(part):
                return self.holds(part, not answer)
            case Truth(fact, wanted):
                return self._where_known(f"{'' if wanted is answer else 'not '}{self._fact(fact)}", fact)
            case Within(fact, words, inside):
                listed = self._constant(frozenset(words))
                return self._where_known(f"{self._fact(fact)} {_in(inside is answer)} {listed}", fact)
            case Contains(fact, word, inside):
                return self._where_known(f"{self._constant(word)} {_in(inside is answer)} {self._fact(fact)}", fact)
            case Compare(left, sign, right):
                others = [right] if isinstance(right, FactName) else []
                comparison = sign if answer else NEGATED[sign]
                return self._where_known(f"{self._fact(left)} {comparison} {self._right(right)}", left, *others)
        raise TypeError(f"not a condition: {node!r}")

    def _where_known(self, test: str, *facts: FactName) -> str:
        return f"({''.join(f'{self._fact(fact)} is not None and ' for fact in facts)}{test})"

    def _right(self, right: FactName | LimitName | float | str) -> str:
        if isinstance(right, FactName):
            return self._fact(right)
        if isinstance(right, LimitName):
            return self._limits.setdefault(right.name, f"l{len(self._limits)}")
        return self._constant(right)

    def _fact(self, fact: FactName) -> str:
        variable = self._numbered.setdefault((FactName, fact.name), f"f{len(self._facts)}")
        self._facts.setdefault(variable, fact)
        return variable

    def _constant(self, value: Any) -> str:
        name = self._numbered.setdefault((type(value), value), f"c{len(self.constants)}")
        self.constants.setdefault(name, value)
        return name


def _in(inside: bool) -> str:
    return "in" if inside else "not in"
