"""What inference costs beside a plain list of Python lambdas and a general-purpose engine, on the same rules.

Run ``python tests/bench/bench_inference.py`` (the general-purpose engine, CEL, is the pip package
``common-expression-language``; without it that line is left out and said to be). All contestants answer the same
samples in one process, taking turns, and every answer is asserted before anything is timed. Reported is the median
over the rounds of CPU time per question, and its ratio to the plain list.

The engine is asked anew each time, and so is the judge; the inference that puts every question to both remembers the
engine's answers by record, as in service, and samples come again from round to round.

The plain list is what a careful programmer would write by hand, one lambda a rule. Where a sample leaves facts out,
the lambdas and the CEL programs get the guards they then need; where all facts are known they have none.
"""

from __future__ import annotations

import json
import math
import random
import statistics
import sys
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "rules"))

import random_orders

from accord_rules.advise.plans import presses_of
from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.infer.engine import Engine
from accord_rules.infer.inference import Inference
from accord_rules.infer.judge import Judge
from accord_rules.load.examples import pressing_cases
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.condition import (
    And,
    Compare,
    Condition,
    Contains,
    FactName,
    LimitName,
    Node,
    Not,
    Or,
    Truth,
    Vocabulary,
    Within,
    facts_of,
    negated,
    parse,
)
from accord_rules.revision.facts import BOOL, FactType, Kind, Scope, number, one_of, set_of
from accord_rules.revision.names import resolve

Sample = tuple[Mapping[str, Any], Mapping[str, float]]
Contestant = Callable[[Sample], tuple[str, ...]]


# --- the same conditions in other languages ----------------------------------------------------------------------


class PythonText:
    """A condition as Python source over ``f`` (facts) and ``l`` (limits)."""

    conjunction, disjunction = " and ", " or "

    def __init__(self, guarded: bool) -> None:
        self._guarded = guarded

    def of(self, node: Node, positive: bool = True) -> str:
        match node:
            case Not(part):
                return self.of(part, not positive)
            case And(parts) | Or(parts):
                joint = self.conjunction if isinstance(node, And) is positive else self.disjunction
                return "(" + joint.join(self.of(part, positive) for part in parts) + ")"
        atom = node if positive else negated(node)
        guards = [self.known(fact) for fact in facts_of(atom)] if self._guarded else []
        return "(" + self.conjunction.join([*guards, self.atom(atom)]) + ")"

    def known(self, fact: FactName) -> str:
        return f"{self.fact(fact.name)} is not None"

    def fact(self, name: str) -> str:
        return f"f[{name!r}]"

    def limit(self, name: str) -> str:
        return f"l[{name!r}]"

    def atom(self, atom: Truth | Compare | Within | Contains) -> str:
        match atom:
            case Truth(fact, wanted):
                return self.fact(fact.name) if wanted else f"not {self.fact(fact.name)}"
            case Within(fact, words, inside):
                return f"{self.fact(fact.name)} {'in' if inside else 'not in'} {words!r}"
            case Contains(fact, word, inside):
                return f"{word!r} {'in' if inside else 'not in'} {self.fact(fact.name)}"
            case Compare(left, sign, right):
                return f"{self.fact(left.name)} {sign} {self.operand(right)}"

    def operand(self, right: FactName | LimitName | float | str) -> str:
        if isinstance(right, FactName):
            return self.fact(right.name)
        return self.limit(right.name) if isinstance(right, LimitName) else repr(right)


class CelText(PythonText):
    """A condition in CEL over flat variables; limits are variables too, so that one program serves every shop."""

    conjunction, disjunction = " && ", " || "

    def known(self, fact: FactName) -> str:
        return f"{self.fact(fact.name)} != null"

    def fact(self, name: str) -> str:
        return "f_" + name.replace(".", "_").replace("-", "_")

    def limit(self, name: str) -> str:
        return "l_" + name.replace(".", "_").replace("-", "_")

    def atom(self, atom: Truth | Compare | Within | Contains) -> str:
        match atom:
            case Truth(fact, wanted):
                return self.fact(fact.name) if wanted else f"!{self.fact(fact.name)}"
            case Within(fact, words, inside):
                return f"{'' if inside else '!'}({self.fact(fact.name)} in {list(words)!r})"
            case Contains(fact, word, inside):
                return f"{'' if inside else '!'}({word!r} in {self.fact(fact.name)})"
        return super().atom(atom)


def python_list(rules: Mapping[str, Condition], guarded: bool) -> Contestant:
    text = PythonText(guarded)
    listed = [(rule, eval(f"lambda f, l: {text.of(condition.tree)}")) for rule, condition in rules.items()]

    def answer(sample: Sample) -> tuple[str, ...]:
        facts, limits = sample
        return tuple([rule for rule, holds in listed if holds(facts, limits)])

    return answer


def cel_programs(rules: Mapping[str, Condition], facts: Mapping[str, FactType], guarded: bool) -> Contestant | None:
    try:
        import cel
    except ImportError:
        return None
    text = CelText(guarded)
    programs = [(rule, cel.compile(text.of(condition.tree)).execute) for rule, condition in rules.items()]
    names = {name: text.fact(name) for condition in rules.values() for name in condition.facts}
    limit_names = {name: text.limit(name) for condition in rules.values() for name in condition.limits}
    numbers = {name for name in names if facts[name].kind is Kind.NUMBER}

    def answer(sample: Sample) -> tuple[str, ...]:
        known, limits = sample
        variables = {
            to: float(known[name]) if name in numbers and known[name] is not None else known[name]
            for name, to in names.items()
        }
        context = cel.Context(variables | {to: limits[name] for name, to in limit_names.items()})
        return tuple([rule for rule, holds in programs if holds(context)])

    return answer


SHORT = {
    "plain list of lambdas": "plain",
    "judge": "judge",
    "engine": "engine",
    "inference (both; engine remembers)": "inference",
    "CEL": "CEL",
}


# --- measuring ---------------------------------------------------------------------------------------------------


def compare(
    rules: Mapping[str, Condition], vocabulary: Vocabulary, samples: Sequence[Sample], rounds: int = 9
) -> dict[str, float]:
    """Microseconds of CPU per question for each contestant; prints them with their ratios to the plain list."""
    names = {name for condition in rules.values() for name in condition.facts}
    samples = [({name: _known(facts.get(name)) for name in names}, limits) for facts, limits in samples]
    guarded = any(value is None for facts, _ in samples for value in facts.values())
    with Engine(rules, vocabulary.facts, 1) as engine, Inference(rules, vocabulary.facts, 1) as inference:
        judge = Judge(rules)
        contestants: dict[str, Contestant | None] = {
            "plain list of lambdas": python_list(rules, guarded),
            "judge": lambda sample: judge.judge(*sample).fired,
            "engine": lambda sample: engine.decide(*sample),
            "inference (both; engine remembers)": lambda sample: inference.infer(*sample).fired,
            "CEL": cel_programs(rules, vocabulary.facts, guarded),
        }
        running = {name: contestant for name, contestant in contestants.items() if contestant}
        _assert_same(running, samples)
        medians = _medians(running, samples, rounds)
        networks = engine.networks
    fired = statistics.mean(len(running["judge"](sample)) for sample in samples)
    print(
        f"{len(rules)} rules, {len(names)} facts, {len(samples)} samples, {fired:.1f} rules fire on average,"
        f" {networks} network{'s' if networks > 1 else ''}, {'some' if guarded else 'no'} facts left out"
    )
    floor = medians["plain list of lambdas"]
    for name in contestants:
        line = f"{medians[name]:8.1f} us  {medians[name] / floor:5.2f} x plain" if name in medians else "not installed"
        print(f"  {name:30} {line}")
    return medians


def _known(value: Any) -> Any:
    """NaN is unknown to the judge and the engine; hand-written lambdas can only be told so with None."""
    return None if isinstance(value, float) and math.isnan(value) else value


def _assert_same(contestants: Mapping[str, Contestant], samples: Sequence[Sample]) -> None:
    for sample in samples:
        answers = {name: contestant(sample) for name, contestant in contestants.items()}
        assert len(set(answers.values())) == 1, answers


def _medians(contestants: Mapping[str, Contestant], samples: Sequence[Sample], rounds: int) -> dict[str, float]:
    times: dict[str, list[float]] = {name: [] for name in contestants}
    for _ in range(rounds):
        for name, contestant in contestants.items():
            start = time.process_time()
            for sample in samples:
                contestant(sample)
            times[name].append((time.process_time() - start) / len(samples) * 1e6)
    return {name: statistics.median(values) for name, values in times.items()}


# --- a made-up book: 60 rules over 25 facts, about five of which fire ---------------------------------------------

KINDS = tuple(f"kind-{place}" for place in range(10))
PARTS = ("zip", "seam", "collar", "button", "rivet")


def made_up_book(seed: int = 7, count: int = 60) -> tuple[dict[str, Condition], Vocabulary, dict[str, float]]:
    rng = random.Random(seed)
    facts: dict[str, FactType] = {"transfer.kind": one_of(KINDS), "item.parts": set_of(PARTS)}
    facts |= {f"item.e{place}": one_of(KINDS[:5]) for place in range(5)}
    facts |= {f"item.b{place}": BOOL for place in range(8)}
    facts |= {f"item.p{place}": number(units.PERCENT) for place in range(5)}
    facts |= {f"press.t{place}_c": number(units.TEMPERATURE) for place in range(5)}
    limits: dict[str, units.Dimension] = {f"heat.l{place}": units.TEMPERATURE for place in range(8)}
    vocabulary = Vocabulary(facts, limits)
    rules = {}
    for place in range(count):
        tests = [
            f"transfer.kind == '{rng.choice(KINDS)}'"
            if rng.random() < 0.8
            else f"item.e{rng.randrange(5)} == 'kind-1'",
            rng.choice((f"item.b{rng.randrange(8)}", f"not item.b{rng.randrange(8)}")),
            rng.choice(
                (
                    f"item.p{rng.randrange(5)} {rng.choice(('<', '>='))} {rng.randrange(10, 90, 5)}",
                    f"press.t{rng.randrange(5)}_c {rng.choice(('<', '>'))} limit('heat.l{rng.randrange(8)}')",
                    f"press.t{rng.randrange(5)}_c {rng.choice(('<', '>'))} limit('heat.l{rng.randrange(8)}')",
                    f"item.e{rng.randrange(5)} in ('kind-0', 'kind-2', 'kind-3')",
                    f"'{rng.choice(PARTS)}' in item.parts",
                )
            ),
        ]
        # A few that most orders meet, so that about five fire.
        rules[f"rule-{place:02}"] = parse(" and ".join(tests if place % 12 else tests[2:]), vocabulary)
    return rules, vocabulary, {name: 120.0 + 10 * place for place, name in enumerate(limits)}


def made_up_samples(vocabulary: Vocabulary, limits: Mapping[str, float], count: int = 1000) -> list[Sample]:
    rng = random.Random(11)
    samples: list[Sample] = []
    for _ in range(count):
        facts: dict[str, Any] = {}
        for name, type_ in vocabulary.facts.items():
            match type_.kind:
                case Kind.BOOL:
                    facts[name] = rng.random() < 0.5
                case Kind.ENUM:
                    facts[name] = rng.choice(type_.domain)
                case Kind.SET:
                    facts[name] = tuple(rng.sample(PARTS, rng.randint(0, 3)))
                case _:
                    facts[name] = rng.uniform(0, 100) if type_.dimension is units.PERCENT else rng.uniform(100, 220)
        samples.append((facts, limits))
    return samples


# --- which books to measure --------------------------------------------------------------------------------------

RuleSet = tuple[Mapping[str, Condition], Vocabulary, Sequence[Sample]]


def sixty_rules() -> RuleSet:
    rules, vocabulary, limits = made_up_book()
    return rules, vocabulary, made_up_samples(vocabulary, limits)


def sixty_rules_with_facts_left_out() -> RuleSet:
    rules, vocabulary, samples = sixty_rules()
    rng = random.Random(3)
    return rules, vocabulary, [({n: v for n, v in facts.items() if rng.random() < 0.8}, of) for facts, of in samples]


def many_rules() -> RuleSet:
    rules, vocabulary, limits = made_up_book(count=150)
    return rules, vocabulary, made_up_samples(vocabulary, limits)


# --- the shipped book: the rules of each scope, facts of random and of the demo's orders ---------------------------

DEMO = Path(__file__).parents[2] / "demo"
RANDOM_ORDERS = 250


@cache
def shipped_book() -> Book:
    return load_book()


@cache
def shipped_cases() -> tuple[Case, ...]:
    """Every case that the rules are asked about for a day's orders and for as many random ones again and more."""
    return tuple(case for order, shop in (*_demo_orders(), *_random_orders()) for case in _cases(order, shop))


def _demo_orders() -> Iterator[tuple[Order, Shop]]:
    expected = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    for name, wanted in expected.items():
        shop = read(Shop, tomllib.loads((DEMO / "shops" / f"{wanted['shop']}.toml").read_text(encoding="utf-8")))
        document = json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8"))
        yield resolve(read(Order, document), shipped_book(), shop), shop


def _random_orders() -> Iterator[tuple[Order, Shop]]:
    rng = random.Random(5)
    for _ in range(RANDOM_ORDERS):
        shop = read(Shop, random_orders.shop(rng, shipped_book()))
        yield resolve(read(Order, random_orders.order(rng, shipped_book(), odd=0.3)), shipped_book(), shop), shop


def _cases(order: Order, shop: Shop) -> Iterator[Case]:
    whole = Case(shipped_book(), shop, order)
    yield whole
    yield from (whole.decoration_case(index) for index in range(len(order.decorations)))
    for press in presses_of(order, shop)[:1]:
        yield from pressing_cases(whole, press)


def _of_scope(scope: Scope) -> RuleSet:
    book = shipped_book()
    rules = {rule.id: rule.condition for rule in book.rules.values() if rule.scope is scope}
    names = {name for condition in rules.values() for name in condition.facts}
    samples = [(case.facts(names), book.limit_values) for case in shipped_cases() if case.scope is scope]
    return rules, book.vocabulary, samples


def shipped_rules_about_the_order() -> RuleSet:
    return _of_scope(Scope.ORDER)


def shipped_rules_about_a_decoration() -> RuleSet:
    return _of_scope(Scope.DECORATION)


def shipped_rules_about_a_pressing() -> RuleSet:
    return _of_scope(Scope.PRESSING)


# Another book to measure is one more function here: its rules, its vocabulary, and facts with limits.
BOOKS: tuple[Callable[[], RuleSet], ...] = (
    sixty_rules,
    sixty_rules_with_facts_left_out,
    many_rules,
    shipped_rules_about_the_order,
    shipped_rules_about_a_decoration,
    shipped_rules_about_a_pressing,
)
TARGET = 5.0  # times a plain list; and ahead of the general-purpose engine


def main() -> None:
    table = {}
    for book in BOOKS:
        name = book.__name__.replace("_", " ")
        print(name)
        table[name] = compare(*book())
    print(f"\n{'times a plain list':36}" + "".join(f"{name:>11}" for name in SHORT.values()))
    for name, medians in table.items():
        floor = medians["plain list of lambdas"]
        cells = [f"{medians[subject] / floor:.2f}" if subject in medians else "-" for subject in SHORT]
        print(f"{name:36}" + "".join(f"{cell:>11}" for cell in cells))
    for who in ("engine", "inference (both; engine remembers)"):
        worst = max(medians[who] / medians["plain list of lambdas"] for medians in table.values())
        print(f"{who}: at most {worst:.1f} times a plain list (wanted of the engine: {TARGET:g})")
        ahead = [medians["CEL"] / medians[who] for medians in table.values() if "CEL" in medians]
        if ahead:
            print(f"{who}: CEL takes at least {min(ahead):.1f} times as long (wanted of the engine: more than 1)")


if __name__ == "__main__":
    main()
