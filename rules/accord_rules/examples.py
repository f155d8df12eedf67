"""Trying a book's rules on their own examples when it is loaded."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from accord_rules import units
from accord_rules.advise.sequence import find_sequence
from accord_rules.derive.case import Case
from accord_rules.derive.setting import choose
from accord_rules.documents import merge
from accord_rules.facts import FactType, Kind, Scope, declared
from accord_rules.infer.compiled import holds
from accord_rules.infer.condition import Atom, Compare, LimitName, comparisons
from accord_rules.order import Order, Press
from accord_rules.reading import DocumentError, read
from accord_rules.resolve import resolve
from accord_rules.rule import Rule
from accord_rules.shop import Shop

if TYPE_CHECKING:
    from accord_rules.settings import Settings

_ON_LIMIT = re.compile(r"([a-z0-9_.-]+)(?: ([+-]) ([0-9]+) steps?)?")
_HAIR = 1e-9


class ExampleError(ValueError):
    """An example that cannot be tried; says why."""


def failures(settings: Settings) -> list[str]:
    """Why the book's examples do not hold, with file and example; empty if they all do."""
    reasons = []
    for rule in settings.rules.values():
        where = f"rules/{rule.topic}/{rule.id}.toml"
        reasons += [f"{where}: {reason}" for reason in rule_failures(rule, settings)]
    return reasons


def rule_failures(rule: Rule, settings: Settings) -> list[str]:
    """Why one rule's examples do not hold."""
    reasons: list[str] = []
    tried: list[Mapping[str, Any]] = []
    for kind, wanted in (("fires", True), ("silent", False)):
        for index, example in enumerate(getattr(rule, kind)):
            try:
                facts = example_facts(rule, example, settings)
            except (ExampleError, DocumentError) as error:
                reasons.append(f"{kind}[{index}]: {error}")
                continue
            answer = holds(rule.condition.tree, facts, settings.limit_values)
            if answer is not wanted:
                said = {True: "it fires", False: "it stays silent", None: "it is undecided"}[answer]
                shown = ", ".join(f"{name} = {facts[name]!r}" for name in sorted(rule.condition.facts))
                reasons.append(f"{kind}[{index}]: does not hold: {said} with {shown}")
            tried.append(facts)
    if not any("facts" not in example for example in rule.fires):
        reasons.append("fires: at least one example must be an order")
    return reasons or [f"when: {reason}" for reason in _edges_missing(rule, tried, settings)]


def example_facts(rule: Rule, example: Mapping[str, Any], settings: Settings) -> dict[str, Any]:
    """The facts of the rule's condition in one example. Raises ExampleError or DocumentError."""
    if "facts" in example:
        return _given_facts(rule, example["facts"], settings)
    case = example_case(rule.scope, example, settings)
    return {name: case[name] for name in rule.condition.facts}


def example_case(scope: Scope, example: Mapping[str, Any], settings: Settings) -> Case:
    """The case an order example describes, its first decoration's for the narrower scopes."""
    return case_of(scope, *example_order(example, settings), settings)


def case_of(scope: Scope, order: Order, shop: Shop, settings: Settings) -> Case:
    """The case of an order, or of its first decoration, on the press it names or the shop's first."""
    whole = Case(settings, shop, order)
    if scope is Scope.ORDER:
        return whole
    if scope is Scope.DECORATION:
        return whole.decoration_case(0)
    return pressing_cases(whole, _press(order, shop))[0]


def example_order(example: Mapping[str, Any], settings: Settings) -> tuple[Order, Shop]:
    """The quiet order and shop with the example laid on them."""
    base = settings.documents["base_example"]
    document = dict(base["order"])
    for key, value in example.items():
        if key in ("note", "shop"):
            continue
        if key == "decoration":
            first, *rest = document["decorations"]
            document["decorations"] = [merge(first, value), *rest]
        else:
            document = merge(document, {key: value})
    shop = read(Shop, merge(base["shop"], example.get("shop", {})))
    return resolve(read(Order, document), settings, shop), shop


def _press(order: Order, shop: Shop) -> Press:
    named = shop.press(order.press) if isinstance(order.press, str) else order.press
    return named or shop.presses[0]


def pressing_cases(whole: Case, press: Press) -> tuple[Case, ...]:
    """Every decoration on one press with its settings chosen and the order of pressings found."""
    planned = []
    for index in range(len(whole.order.decorations)):
        decoration = whole.decoration_case(index)
        chosen = choose(decoration.pressing_case(press))
        planned.append((decoration, chosen))
    sequence, settings = find_sequence([decoration.pressing_case(press, chosen) for decoration, chosen in planned])
    pairs = zip(planned, settings, strict=True)
    return tuple(decoration.pressing_case(press, chosen, sequence) for (decoration, _), chosen in pairs)


def _given_facts(rule: Rule, given: Any, settings: Settings) -> dict[str, Any]:
    if not isinstance(given, Mapping):
        raise ExampleError("facts must be a table")
    stray = sorted(set(given) - rule.condition.facts)
    lacking = sorted(rule.condition.facts - set(given))
    if stray or lacking:
        raise ExampleError(f"facts must be those of the condition; not in it: {stray}; left out: {lacking}")
    facts = declared()
    return {name: read_fact(facts[name].type, value, settings) for name, value in given.items()}


def read_fact(type_: FactType, value: Any, settings: Settings) -> Any:
    """A fact's value as an example writes it. Raises ExampleError."""
    if type_.kind is Kind.NUMBER and type_.dimension is not None:
        return _number(type_.dimension, value, settings)
    if type_.kind is Kind.BOOL and isinstance(value, bool):
        return value
    if type_.kind is Kind.SET and isinstance(value, list):
        return tuple(_word(type_, each, settings) for each in value)
    if type_.kind is Kind.ENUM:
        return _word(type_, value, settings)
    raise ExampleError(f"{value!r} is not {type_.kind.value}")


def _word(type_: FactType, value: Any, settings: Settings) -> str:
    if not isinstance(value, str) or value not in settings.vocabulary.words(type_):
        raise ExampleError(f"{value!r} is not one of the allowed words")
    return value


def _number(dimension: units.Dimension, value: Any, settings: Settings) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if len(dimension.units) > 1:
            raise ExampleError(f"{value!r} has no unit")
        return float(value)
    match = _ON_LIMIT.fullmatch(value) if isinstance(value, str) else None
    if match is not None and match.group(1) in settings.limits:
        if settings.limit_dimension(match.group(1)) is not dimension:
            raise ExampleError(f"{value!r} is no {dimension.name.replace('_', ' ')}")
        steps = int(match.group(3) or 0) * (-1 if match.group(2) == "-" else 1)
        return round(settings.limit_values[match.group(1)] + steps * step(settings, match.group(1)), 9)
    try:
        return units.parse(dimension, value)
    except units.UnitError as error:
        raise ExampleError(f"{value!r}: {error}") from None


def step(settings: Settings, name: str) -> float:
    """The smallest change of a limit that matters, inside unit."""
    limit = settings.limits[name]
    if isinstance(limit.step, float):
        return limit.step
    return units.parse(settings.limit_dimension(name), limit.step)


def _edges_missing(rule: Rule, tried: list[Mapping[str, Any]], settings: Settings) -> Iterator[str]:
    """Comparisons that no example shows turning the rule, on either side."""
    for atom in comparisons(rule.condition):
        for side in (True, False):
            if not any(_shows(rule, atom, side, facts, settings) for facts in tried):
                near = "within one step of the limit " if isinstance(atom.right, LimitName) else ""
                yield f"no example {near}where {atom} is {str(side).lower()} and decides"


def _shows(rule: Rule, atom: Compare, side: bool, facts: Mapping[str, Any], settings: Settings) -> bool:
    limits = settings.limit_values
    if holds(atom, facts, limits) is not side:
        return False
    if isinstance(atom.right, LimitName):
        distance = abs(facts[atom.left.name] - limits[atom.right.name])
        if distance > step(settings, atom.right.name) + _HAIR:
            return False
    return _branches(rule, facts, limits, atom, True) and not _branches(rule, facts, limits, atom, False)


def _branches(rule: Rule, facts: Any, limits: Any, forced: Atom, value: bool) -> bool:
    """Whether the rule would hold with one comparison forced."""
    return any(
        all(value if atom == forced else holds(atom, facts, limits) is True for atom in branch)
        for branch in rule.condition.branches
    )
