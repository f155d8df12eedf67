"""Random vocabularies, conditions and facts for the differential tests; also over a book that is given.

``random_book_cases(rng)`` makes up its books; ``random_book_cases(rng, book)`` takes the rules of ``book``.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents import units
from accord_rules.revision.condition import Compare, Condition, ConditionError, Vocabulary, comparisons, parse
from accord_rules.revision.facts import BOOL, FactType, Kind, number, one_of, set_of

WORDS = ("paper", "film", "knit", "woven", "glossy", "matt", "hot", "warm", "cold", "none", "a'b", 'a"b', "~", "")
DIMENSIONS = (units.PERCENT, units.COUNT, units.TEMPERATURE, units.TIME)
# Values that an engine has been known to stumble over; none of them may change an answer.
ODD_NUMBERS = (0, -0.0, 1e-07, 5e-324, 1e15, 1e16, 1e300, math.inf, -math.inf, 2**53, 2**63, 10**30, True, 0.1 + 0.2)


@dataclass(frozen=True)
class Book:
    rules: Mapping[str, Condition]
    vocabulary: Vocabulary
    limits: Mapping[str, float]


@dataclass(frozen=True)
class Case:
    book: Book
    facts: Mapping[str, Any]
    limits: Mapping[str, float]


def random_book_cases(
    rng: random.Random, book: Book | None = None, facts_each: int = 20, most_rules: int = 40
) -> Iterator[Case]:
    """Cases without end: ``facts_each`` sets of facts and limits for each book."""
    while True:
        this = book or random_book(rng, most_rules)
        for _ in range(facts_each):
            limits = {name: random_limit(rng, value) for name, value in this.limits.items()}
            yield Case(this, random_facts(rng, this, limits, rng.choice((0.0, 0.2, 0.6))), limits)


def random_limit(rng: random.Random, value: float) -> float:
    return value if rng.random() < 0.7 else value + rng.choice((-1.0, 0.5, 5.0))


def random_book(rng: random.Random, most_rules: int = 40) -> Book:
    vocabulary = random_vocabulary(rng)
    rules: dict[str, Condition] = {}
    wanted = rng.randint(1, most_rules)
    while len(rules) < wanted:
        try:
            rules[f"rule-{len(rules)}"] = parse(random_text(rng, vocabulary, rng.randint(0, 3)), vocabulary)
        except ConditionError as error:
            # Only size may be in the way of a text made from the vocabulary.
            if "too many" not in str(error):
                raise
    limits = {name: random_number(rng, dimension) for name, dimension in vocabulary.limits.items()}
    return Book(rules, vocabulary, limits)


def random_vocabulary(rng: random.Random) -> Vocabulary:
    facts: dict[str, FactType] = {}
    for place in range(rng.randint(5, 14)):
        name = rng.choice(("item", "press", "transfer.make", "use")) + f".f{place}"
        domain = tuple(rng.sample(WORDS, rng.randint(1, 5)))
        facts[name] = rng.choice(
            (BOOL, number(rng.choice(DIMENSIONS)), one_of(domain), one_of("named|more"), set_of(domain))
        )
    limits = {f"limit.l{place}": DIMENSIONS[place % len(DIMENSIONS)] for place in range(8)}
    return Vocabulary(facts, limits, {"named": frozenset(WORDS[:3]), "more": frozenset(WORDS[4:7])})


def random_number(rng: random.Random, dimension: units.Dimension) -> float:
    return float(rng.choice((0, 1, 5, 30, 50.5, 95, 100, dimension.most)))


def random_text(rng: random.Random, vocabulary: Vocabulary, depth: int) -> str:
    if depth == 0 or rng.random() < 0.2:
        return random_atom(rng, vocabulary)
    parts = [random_text(rng, vocabulary, depth - 1) for _ in range(rng.randint(2, 3))]
    joined = f" {rng.choice(('and', 'and', 'or'))} ".join(f"({part})" for part in parts)
    return f"not ({joined})" if rng.random() < 0.25 else joined


def random_atom(rng: random.Random, vocabulary: Vocabulary) -> str:
    name, type_ = rng.choice(list(vocabulary.facts.items()))
    words = sorted(vocabulary.words(type_)) if type_.kind in (Kind.ENUM, Kind.SET) else []
    match type_.kind:
        case Kind.BOOL:
            return rng.choice((name, f"not {name}"))
        case Kind.SET:
            return f"{rng.choice(words)!r} {rng.choice(('in', 'not in'))} {name}"
        case Kind.NUMBER:
            return _random_comparison(rng, vocabulary, name, type_)
    peers = [n for n, t in vocabulary.facts.items() if t.kind is Kind.ENUM and vocabulary.words(t) & set(words)]
    if rng.random() < 0.2:
        return f"{name} {rng.choice(('==', '!='))} {rng.choice(peers)}"
    if rng.random() < 0.6:
        return f"{name} {rng.choice(('==', '!='))} {rng.choice(words)!r}"
    listed = rng.sample(words, rng.randint(1, len(words)))
    return f"{name} {rng.choice(('in', 'not in'))} {listed!r}"


def _random_comparison(rng: random.Random, vocabulary: Vocabulary, name: str, type_: FactType) -> str:
    dimension = type_.dimension
    assert dimension is not None
    limits = [f"limit({limit!r})" for limit, of in vocabulary.limits.items() if of == dimension]
    peers = [n for n, t in vocabulary.facts.items() if t.dimension == dimension]
    literals = [repr(random_number(rng, dimension))] if dimension in (units.PERCENT, units.COUNT) else []
    others = rng.choice([limits, limits, peers, literals or limits])
    sign = rng.choice(("==", "!=", "<", "<=", ">", ">="))
    compared = rng.choice(others)
    form = rng.random()
    if form < 0.15:
        return f"{compared} {sign} {name}"
    if form < 0.25:
        return f"{rng.choice(limits)} <= {name} < {compared}"
    return f"{name} {sign} {compared}"


def random_facts(
    rng: random.Random, book: Book, limits: Mapping[str, float], missing: float, odd: bool = True
) -> dict[str, Any]:
    """Facts of the book's vocabulary, each absent, None or NaN with probability ``missing``; numbers near the edges."""
    edges = _edges(book, limits)
    facts: dict[str, Any] = {}
    for name, type_ in book.vocabulary.facts.items():
        if rng.random() < missing:
            if rng.random() < 0.5:
                facts[name] = rng.choice((None, math.nan)) if type_.kind is Kind.NUMBER else None
            continue
        match type_.kind:
            case Kind.BOOL:
                facts[name] = rng.random() < 0.5
            case Kind.NUMBER:
                facts[name] = _near(rng, edges.get(name, (0.0, 50.0)), odd)
            case Kind.ENUM:
                # A word of the domain, now and then one that the domain got after the rules were read.
                new = odd and rng.random() < 0.05
                facts[name] = "a new word\0\u20ac" if new else rng.choice(sorted(book.vocabulary.words(type_)))
            case Kind.SET:
                words = sorted(book.vocabulary.words(type_))
                chosen = rng.sample(words, rng.randint(0, len(words)))
                facts[name] = rng.choice((tuple, frozenset, list))(chosen)
    return facts


def _edges(book: Book, limits: Mapping[str, float]) -> dict[str, list[float]]:
    edges: dict[str, list[float]] = {}
    for condition in book.rules.values():
        for comparison in comparisons(condition):
            edges.setdefault(comparison.left.name, []).append(_edge(comparison, limits))
    return edges


def _edge(comparison: Compare, limits: Mapping[str, float]) -> float:
    if isinstance(comparison.right, float):
        return comparison.right
    return limits.get(str(getattr(comparison.right, "name", "")), 50.0)


def _near(rng: random.Random, edges: tuple[float, ...] | list[float], odd: bool) -> Any:
    if odd and rng.random() < 0.1:
        return rng.choice(ODD_NUMBERS)
    edge = rng.choice(edges)
    return rng.choice((edge, edge, math.nextafter(edge, math.inf), math.nextafter(edge, -math.inf), edge + 1, edge - 1))
