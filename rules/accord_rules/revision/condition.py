"""The one grammar of conditions: what a rule's ``when`` may say, checked against the declared facts.

The grammar is a small subset of Python's expression syntax. It is parsed with ``ast``, and its text is never run::

    transfer.dye == 'sublimation' and item.textile and item.polyester_share < limit('dye.polyester_share_least')
    not press.has_gauge or 'zip' in item.features
    transfer.carrier in ('paper', 'film') and 20 <= item.polyester_share < 50

A condition is true, false or unknown. A fact that is not known makes the comparisons that use it unknown, and
``and``, ``or`` and ``not`` follow Kleene's strong three-valued logic (S. C. Kleene, "On notation for ordinal
numbers", 1938, and "Introduction to Metamathematics", 1952, section 64).
"""

from __future__ import annotations

import ast
import math
import re
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import LeafError
from accord_rules.revision.facts import FactType, Kind

MOST_CHARACTERS = 2000
MOST_DEPTH = 20
MOST_BRANCHES = 64

# Plain numbers at the edge too, so a bare number cannot be read in the wrong unit.
UNITLESS = (units.COUNT, units.RATIO, units.PERCENT, units.LIGHTNESS)

NEGATED: Mapping[str, str] = MappingProxyType({"==": "!=", "!=": "==", "<": ">=", ">=": "<", "<=": ">", ">": "<="})
MIRRORED: Mapping[str, str] = MappingProxyType({"==": "==", "!=": "!=", "<": ">", ">": "<", "<=": ">=", ">=": "<="})
_OPERATORS: Mapping[type[ast.cmpop], str] = MappingProxyType(
    {ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}
)
# Comments would vanish unread, backslashes hide what a word says, and look-alike letters hide what a name is.
_FOREIGN = re.compile(r"[^\x20-\x7e]|[#\\]")


class ConditionError(LeafError):
    """A condition that cannot be taken: its message says what is wrong and what would be right."""


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What conditions may name: facts by name, each limit's dimension, and the words of each named domain."""

    facts: Mapping[str, FactType]
    limits: Mapping[str, units.Dimension] = field(default_factory=dict)
    domains: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def words(self, type_: FactType) -> frozenset[str]:
        """The words an enum or set fact may hold; ``"transfers|products"`` is the union of two named domains.

        Raises KeyError for a domain that is not in the vocabulary.
        """
        if isinstance(type_.domain, tuple):
            return frozenset(type_.domain)
        names = [name.strip() for name in type_.domain.split("|")]
        return frozenset().union(*(self.domains[name] for name in names))


@dataclass(frozen=True, slots=True)
class FactName:
    """A declared fact as a condition names it, with its dimension (numbers) or its words (enums and sets)."""

    name: str
    kind: Kind
    dimension: units.Dimension | None = None
    words: frozenset[str] = frozenset()

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True, slots=True)
class LimitName:
    """A threshold of the book, or a shop's stricter one."""

    name: str
    dimension: units.Dimension

    def __str__(self) -> str:
        return f"limit('{self.name}')"


@dataclass(frozen=True, slots=True)
class Truth:
    """A true/false fact that is as wanted."""

    fact: FactName
    wanted: bool = True

    def __str__(self) -> str:
        return self.fact.name if self.wanted else f"not {self.fact.name}"


@dataclass(frozen=True, slots=True)
class Compare:
    """``left op right``: numbers of one dimension (any of the six signs), or words (``==`` and ``!=``)."""

    left: FactName
    op: str
    right: FactName | LimitName | float | str

    def __str__(self) -> str:
        return f"{self.left} {self.op} {_show(self.right)}"


@dataclass(frozen=True, slots=True)
class Within:
    """An enum fact that is one of the words, or none of them."""

    fact: FactName
    words: tuple[str, ...]
    inside: bool = True

    def __str__(self) -> str:
        listed = ", ".join(repr(word) for word in self.words) + ("," if len(self.words) == 1 else "")
        return f"{self.fact} {'in' if self.inside else 'not in'} ({listed})"


@dataclass(frozen=True, slots=True)
class Contains:
    """A set fact that holds the word, or does not."""

    fact: FactName
    word: str
    inside: bool = True

    def __str__(self) -> str:
        return f"{self.word!r} {'in' if self.inside else 'not in'} {self.fact}"


Atom = Truth | Compare | Within | Contains


@dataclass(frozen=True, slots=True)
class And:
    parts: tuple[Node, ...]

    def __str__(self) -> str:
        return " and ".join(f"({part})" if isinstance(part, Or) else str(part) for part in self.parts)


@dataclass(frozen=True, slots=True)
class Or:
    parts: tuple[Node, ...]

    def __str__(self) -> str:
        return " or ".join(f"({part})" if isinstance(part, And) else str(part) for part in self.parts)


@dataclass(frozen=True, slots=True)
class Not:
    part: Node

    def __str__(self) -> str:
        return f"not {self.part}" if isinstance(self.part, Truth) else f"not ({self.part})"


Node = And | Or | Not | Truth | Compare | Within | Contains
Branch = tuple[Atom, ...]


@dataclass(frozen=True, slots=True)
class Condition:
    """A parsed condition: as written, as a tree, and as branches.

    ``branches`` is the disjunctive normal form: the condition is definitely true exactly when every atom of some
    branch is definitely true. Negation is pushed into the atoms and nothing is simplified away (``a or not a`` is
    unknown while ``a`` is), so three-valued logic is kept.
    """

    text: str
    tree: Node
    facts: frozenset[str]
    limits: frozenset[str]
    branches: tuple[Branch, ...]


def parse(text: str, vocabulary: Vocabulary) -> Condition:
    """Read a condition. Raises ConditionError for anything outside the grammar or the vocabulary."""
    tree = _Parser(vocabulary).node(_expression(text), 1)
    count = _count_branches(tree, True)
    if count > MOST_BRANCHES:
        raise ConditionError(
            f"{count} ways to hold are too many (most is {MOST_BRANCHES}): split it into several rules"
        )
    # Repeated atoms and branches say nothing new, in three-valued logic too.
    branches = tuple(dict.fromkeys(tuple(dict.fromkeys(branch)) for branch in _branches(tree, True)))
    atoms = [atom for branch in branches for atom in branch]
    return Condition(
        text,
        tree,
        frozenset(fact.name for atom in atoms for fact in facts_of(atom)),
        frozenset(atom.right.name for atom in atoms if isinstance(atom, Compare) and isinstance(atom.right, LimitName)),
        branches,
    )


def facts_of(atom: Atom) -> tuple[FactName, ...]:
    """The facts an atom needs: one, or two where a fact is compared with a fact."""
    if isinstance(atom, Compare):
        return (atom.left, atom.right) if isinstance(atom.right, FactName) else (atom.left,)
    return (atom.fact,)


def negated(atom: Atom) -> Atom:
    """The atom that is true where this one is false; both are unknown together."""
    match atom:
        case Truth(fact, wanted):
            return Truth(fact, not wanted)
        case Compare(left, op, right):
            return Compare(left, NEGATED[op], right)
        case Within(fact, words, inside):
            return Within(fact, words, not inside)
        case Contains(fact, word, inside):
            return Contains(fact, word, not inside)


def comparisons(condition: Condition) -> tuple[Compare, ...]:
    """The numeric comparisons as they count once negation is pushed inwards, each once, in the order written."""
    return tuple(
        dict.fromkeys(
            atom
            for branch in condition.branches
            for atom in branch
            if isinstance(atom, Compare) and atom.left.kind is Kind.NUMBER
        )
    )


def contradiction(condition: Condition, limit_values: Mapping[str, float]) -> str | None:
    """Why the condition can never hold, or None. ``limit_values`` in inside units; KeyError if one is missing."""
    reasons = []
    for branch in condition.branches:
        reason = clash(branch, limit_values)
        if reason is None:
            return None
        reasons.append(reason)
    return "it can never hold: " + "; or ".join(dict.fromkeys(reasons))


# --- reading ---------------------------------------------------------------------------------------------------


# Up to Python 3.11 the parser counts its depth once for all threads, so that two at once may end in a SystemError
# (https://github.com/python/cpython/issues/106905).
_one_parser = threading.RLock()


def _expression(text: str) -> ast.expr:
    if not isinstance(text, str) or not text.strip():
        raise ConditionError("a condition is a text such as \"item.textile and transfer.kind == 'paper'\"")
    if len(text) > MOST_CHARACTERS:
        raise ConditionError(f"{len(text)} characters are too many (most is {MOST_CHARACTERS})")
    line = " ".join(text.split())
    foreign = _FOREIGN.search(line)
    if foreign:
        raise ConditionError(f"{foreign.group()!r} has no place in a condition")
    try:
        with _one_parser:
            return ast.parse(line, mode="eval").body
    except (SyntaxError, RecursionError, MemoryError, ValueError) as error:
        why = getattr(error, "msg", None) or "nested too deeply"
        # Python counts columns from 1; some errors have none.
        column = getattr(error, "offset", None) or 1
        raise ConditionError(f"cannot be read at {line[column - 1 :][:40]!r}: {why}") from error


Operand = FactName | LimitName | float | str


class _Parser:
    """Walks the syntax tree, allowing only what the grammar names."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary

    def node(self, expression: ast.expr, depth: int) -> Node:
        if depth > MOST_DEPTH:
            raise ConditionError(f"nested deeper than {MOST_DEPTH}: split it into several rules")
        match expression:
            case ast.BoolOp(op=ast.And(), values=values):
                return And(tuple(self.node(value, depth + 1) for value in values))
            case ast.BoolOp(op=ast.Or(), values=values):
                return Or(tuple(self.node(value, depth + 1) for value in values))
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return Not(self.node(operand, depth + 1))
            case ast.Compare():
                return self._comparison(expression)
            case ast.Name() | ast.Attribute():
                return self._truth(expression)
        raise ConditionError(f"{_source(expression)} is not something that holds or does not hold{_hint(expression)}")

    def _truth(self, expression: ast.Name | ast.Attribute) -> Truth:
        fact = self._fact(expression)
        if fact.kind is not Kind.BOOL:
            raise ConditionError(f"{fact} is not true or false by itself ({fact.kind.value}): compare it")
        return Truth(fact)

    def _comparison(self, expression: ast.Compare) -> Node:
        if any(isinstance(op, ast.In | ast.NotIn) for op in expression.ops):
            if len(expression.ops) > 1:
                raise ConditionError(f"{_source(expression)}: 'in' cannot be part of a chain of comparisons")
            inside = isinstance(expression.ops[0], ast.In)
            return self._membership(expression.left, expression.comparators[0], inside)
        sides = [expression.left, *expression.comparators]
        operands = [self._operand(side) for side in sides]
        parts = [
            _compare(left, _operator(op), right)
            for left, op, right in zip(operands, expression.ops, operands[1:], strict=False)
        ]
        return parts[0] if len(parts) == 1 else And(tuple(parts))

    def _membership(self, left: ast.expr, right: ast.expr, inside: bool) -> Within | Contains:
        match left, right:
            case ((ast.Name() | ast.Attribute()), (ast.Tuple(elts=elements) | ast.List(elts=elements))):
                fact = self._fact(left)
                if fact.kind is not Kind.ENUM:
                    raise ConditionError(f"{fact} is {fact.kind.value}: only one-of facts can be 'in' a list of words")
                return Within(fact, _listed_words(fact, elements), inside)
            case ast.Constant(value=str(word)), (ast.Name() | ast.Attribute()):
                fact = self._fact(right)
                if fact.kind is not Kind.SET:
                    raise ConditionError(f"{fact} is {fact.kind.value}: a word can only be 'in' a set-of fact")
                return Contains(fact, _known_word(fact, word), inside)
        raise ConditionError(f"{_source(left)} in {_source(right)}: write fact in ('word', 'word') or 'word' in fact")

    def _operand(self, expression: ast.expr) -> Operand:
        match expression:
            case ast.Name() | ast.Attribute():
                return self._fact(expression)
            case ast.Call():
                return self._limit(expression)
            case ast.Constant(value=bool()):
                raise ConditionError(
                    "write the fact by itself, or not and the fact, instead of comparing with true/false"
                )
            case ast.Constant(value=str(word)):
                return word
            case ast.Constant(value=int() | float() as number):
                return _finite(number)
        raise ConditionError(f"{_source(expression)} cannot be compared{_hint(expression)}")

    def _fact(self, expression: ast.expr) -> FactName:
        name = _dotted(expression)
        type_ = self._vocabulary.facts.get(name)
        if type_ is None:
            shown = _clipped(name)
            message = f"{shown} is not a fact; a word is written '{shown}'"
            raise ConditionError(message, sorted(self._vocabulary.facts), code="not-in-book", refused=name)
        if type_.kind in (Kind.TEXT, Kind.DATA):
            raise ConditionError(f"{name} is {type_.kind.value}")
        words = self._vocabulary.words(type_) if type_.kind in (Kind.ENUM, Kind.SET) else frozenset()
        return FactName(name, type_.kind, type_.dimension, words)

    def _limit(self, call: ast.Call) -> LimitName:
        match call:
            case ast.Call(func=ast.Name(id="limit"), args=[ast.Constant(value=str(name))], keywords=[]):
                dimension = self._vocabulary.limits.get(name)
                if dimension is None:
                    known = sorted(self._vocabulary.limits)
                    raise ConditionError(
                        f"limit {_clipped(name)!r} is not known", known, code="not-in-book", refused=name
                    )
                return LimitName(name, dimension)
        raise ConditionError(f"{_source(call)}: the only call is limit('name of a limit')")


def _operator(op: ast.cmpop) -> str:
    sign = _OPERATORS.get(type(op))
    if sign is None:
        raise ConditionError("'is' compares nothing here: use == or !=")
    return sign


def _finite(number: float) -> float:
    try:
        value = float(number)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise ConditionError("a number that large means nothing here")
    return value


def _dotted(expression: ast.expr) -> str:
    names: list[str] = []
    while isinstance(expression, ast.Attribute):
        names.append(expression.attr)
        expression = expression.value
    if not isinstance(expression, ast.Name):
        raise ConditionError(f"{_source(expression)} is not the name of a fact")
    names.append(expression.id)
    return ".".join(reversed(names))


def _source(expression: ast.expr) -> str:
    return _clipped(ast.unparse(expression))


def _clipped(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


def _hint(expression: ast.expr) -> str:
    match expression:
        case ast.Constant():
            return ": compare it with a fact"
        case ast.BinOp() | ast.UnaryOp():
            return ": there is no arithmetic in conditions; derive a fact, or put the number in the limits"
        case ast.Call():
            return ": the only call is limit('name of a limit'), and it is compared with a fact"
    return ""


def _known_word(fact: FactName, word: str) -> str:
    if word not in fact.words:
        message = f"{_clipped(word)!r} is not a word of {fact}"
        raise ConditionError(message, sorted(fact.words), code="not-allowed", refused=word)
    return word


def _listed_words(fact: FactName, elements: Sequence[ast.expr]) -> tuple[str, ...]:
    words: list[str] = []
    for element in elements:
        if not (isinstance(element, ast.Constant) and isinstance(element.value, str)):
            raise ConditionError(f"{_source(element)} is not a word: only words in quotes can be listed")
        word = _known_word(fact, element.value)
        if word in words:
            raise ConditionError(f"{word!r} is listed twice")
        words.append(word)
    if not words:
        raise ConditionError(f"the list of words for {fact} is empty")
    return tuple(words)


def _compare(left: Operand, op: str, right: Operand) -> Compare:
    """One comparison with a fact on its left side, type-checked."""
    if not isinstance(left, FactName):
        if not isinstance(right, FactName):
            raise ConditionError(f"{_show(left)} {op} {_show(right)} says nothing about the order: name a fact")
        left, op, right = right, MIRRORED[op], left
    comparison = Compare(left, op, right)
    for fact in facts_of(comparison):
        if fact.kind is Kind.BOOL:
            raise ConditionError(f"{fact} is true or false: write it by itself, or not and the fact")
        if fact.kind is Kind.SET:
            raise ConditionError(f"{fact} is a set: write 'word' in {fact}")
    if left.kind is Kind.NUMBER:
        _check_number(comparison)
    else:
        _check_word(comparison)
    return comparison


def _check_number(comparison: Compare) -> None:
    left, right = comparison.left, comparison.right
    dimension = left.dimension
    if dimension is None:
        raise ConditionError(f"{left} is a number without a dimension")
    if isinstance(right, str):
        raise ConditionError(f"{left} is a number, {right!r} is a word")
    if isinstance(right, float):
        if dimension not in UNITLESS:
            raise ConditionError(
                f"{left} is a {_title(dimension)} and {_show(right)} has no unit: put it in the limits, write limit()"
            )
        if not dimension.least <= right <= dimension.most:
            raise ConditionError(
                f"{_show(right)} is no {_title(dimension)} (from {_show(dimension.least)} to {_show(dimension.most)})"
            )
    elif right.dimension != dimension:
        title = _title(right.dimension) if right.dimension else "word"
        raise ConditionError(f"{left} is a {_title(dimension)}, {right} is a {title}")


def _check_word(comparison: Compare) -> None:
    left, op, right = comparison.left, comparison.op, comparison.right
    if op not in ("==", "!="):
        raise ConditionError(f"{left} is one of some words, which have no order: use == or != or in")
    if isinstance(right, str):
        _known_word(left, right)
    elif not isinstance(right, FactName) or right.kind is not Kind.ENUM:
        raise ConditionError(f"{left} is one of some words and cannot be compared with {_show(right)}")
    elif not left.words & right.words:
        raise ConditionError(f"{left} and {right} have no word in common")


def _title(dimension: units.Dimension) -> str:
    return dimension.name.replace("_", " ")


def _show(operand: Operand) -> str:
    if isinstance(operand, float):
        return str(int(operand)) if operand.is_integer() else repr(operand)
    return repr(operand) if isinstance(operand, str) else str(operand)


# --- disjunctive normal form -----------------------------------------------------------------------------------


def _parts(node: Node, positive: bool) -> tuple[str, tuple[tuple[Node, bool], ...]]:
    """A node's connective once its negation is pushed inwards (De Morgan), and its parts with their signs."""
    match node:
        case Not(part):
            return _parts(part, not positive)
        case And(parts):
            return ("and" if positive else "or"), tuple((part, positive) for part in parts)
        case Or(parts):
            return ("or" if positive else "and"), tuple((part, positive) for part in parts)
    return "atom", ((node, positive),)


def _count_branches(node: Node, positive: bool) -> int:
    """How many branches there will be, known before any is built."""
    connective, parts = _parts(node, positive)
    if connective == "atom":
        return 1
    counts = [_count_branches(part, sign) for part, sign in parts]
    return sum(counts) if connective == "or" else math.prod(counts)


def _branches(node: Node, positive: bool) -> list[Branch]:
    connective, parts = _parts(node, positive)
    if connective == "atom":
        atom: Any = parts[0][0]
        return [(atom if parts[0][1] else negated(atom),)]
    alternatives = [_branches(part, sign) for part, sign in parts]
    if connective == "or":
        return [branch for branches in alternatives for branch in branches]
    start: list[Branch] = [()]
    return reduce(lambda done, more: [a + b for a in done for b in more], alternatives, start)


# --- what cannot hold together ---------------------------------------------------------------------------------

_RELATIONS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "==": frozenset("="),
        "!=": frozenset("<>"),
        "<": frozenset("<"),
        "<=": frozenset("<="),
        ">": frozenset(">"),
        ">=": frozenset(">="),
    }
)


def clash(atoms: Sequence[Atom], limit_values: Mapping[str, float]) -> str | None:
    """Why no order can make all the atoms true at once, or None if nothing speaks against it.

    Looks at each fact by itself (numbers within their dimension's bounds, words within their domain) and at each
    pair of facts that is compared with itself; not at chains over several facts.
    """
    by_subject: dict[tuple[str, ...], list[Atom]] = {}
    for atom in atoms:
        by_subject.setdefault(tuple(sorted(fact.name for fact in facts_of(atom))), []).append(atom)
    for together in by_subject.values():
        if not _possible(together, limit_values):
            return _why(together, limit_values)
    return None


def _possible(atoms: Sequence[Atom], limit_values: Mapping[str, float]) -> bool:
    """Whether atoms about the same fact, or the same two facts, can all be true."""
    first = atoms[0]
    match first:
        case Truth():
            return len({atom.wanted for atom in atoms if isinstance(atom, Truth)}) == 1
        case Contains():
            demanded = {(atom.word, atom.inside) for atom in atoms if isinstance(atom, Contains)}
            return not any((word, not inside) in demanded for word, inside in demanded)
        case Compare(_, _, FactName()):
            return bool(_relation([atom for atom in atoms if isinstance(atom, Compare)]))
        case Compare(FactName(kind=Kind.NUMBER), _, _):
            return _has_number([atom for atom in atoms if isinstance(atom, Compare)], limit_values)
    return any(all(_fits(word, atom) for atom in atoms) for word in facts_of(first)[0].words)


def _fits(word: str, atom: Atom) -> bool:
    match atom:
        case Compare(_, op, right):
            return (word == right) is (op == "==")
        case Within(_, words, inside):
            return (word in words) is inside
    raise TypeError(f"{atom} is not about a word")


def _relation(atoms: Sequence[Compare]) -> frozenset[str]:
    """Which of <, = and > may hold between the two facts."""
    left, right = atoms[0].left.name, facts_of(atoms[0])[1].name
    allowed = frozenset("=") if left == right else frozenset("<=>")
    for atom in atoms:
        allowed &= _RELATIONS[atom.op if atom.left.name == left else MIRRORED[atom.op]]
    return allowed


def _has_number(atoms: Sequence[Compare], limit_values: Mapping[str, float]) -> bool:
    """Whether some number of the fact's dimension passes every comparison with a literal or a limit."""
    dimension = atoms[0].left.dimension
    assert dimension is not None, "a parsed number has a dimension"
    # A bound and whether the bound itself is left out; among equal bounds the open one is the tighter.
    low, high = (dimension.least, dimension.least_open), (dimension.most, False)
    barred: set[float] = set()
    for atom in atoms:
        value = limit_values[atom.right.name] if isinstance(atom.right, LimitName) else atom.right
        assert isinstance(value, int | float), "words and facts are looked at elsewhere"
        if atom.op in (">", ">=", "=="):
            low = max(low, (value, atom.op == ">"))
        if atom.op in ("<", "<=", "=="):
            high = min(high, (value, atom.op == "<"), key=lambda bound: (bound[0], not bound[1]))
        if atom.op == "!=":
            barred.add(value)
    if low[0] == high[0]:
        return not (low[1] or high[1] or low[0] in barred)
    return low[0] < high[0]


def _why(atoms: Sequence[Atom], limit_values: Mapping[str, float]) -> str:
    listed = " and ".join(dict.fromkeys(_with_value(atom, limit_values) for atom in atoms))
    if len(atoms) > 1:
        return f"{listed} cannot be true together"
    subjects = facts_of(atoms[0])
    dimension = subjects[0].dimension
    if dimension is None or len(subjects) > 1:
        return f"{listed} cannot be true"
    bounds = f"from {_show(dimension.least)} to {_show(dimension.most)} {dimension.symbol}".rstrip()
    return f"{listed} cannot be true (a {_title(dimension)} goes {bounds})"


def _with_value(atom: Atom, limit_values: Mapping[str, float]) -> str:
    if isinstance(atom, Compare) and isinstance(atom.right, LimitName):
        value = _show(float(limit_values[atom.right.name]))
        return f"{atom}, which is {value} {atom.right.dimension.symbol},".replace(" ,", ",")
    return str(atom)
