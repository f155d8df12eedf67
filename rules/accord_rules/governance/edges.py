"""Orders at the edges of thresholds: made from rules' own examples by moving the one field that drives the fact.

No table says which field drives which fact. A field of the fact's dimension is set, the fact is worked out, and the
field is corrected by what the fact missed its target by; where the fact follows, the field drives it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Any

from accord_rules import units
from accord_rules.derive.case import Case
from accord_rules.derive.colour import read_colour
from accord_rules.examples import example_order, pressing_cases, step
from accord_rules.facts import Scope
from accord_rules.governance.limits import derived_with
from accord_rules.infer.condition import Compare, LimitName, comparisons
from accord_rules.order import Artwork, Decoration, Item, Order, Press, Settings as AskedSettings, Size, Use
from accord_rules.rule import Rule
from accord_rules.settings import Settings
from accord_rules.shop import Shop

Question = tuple[Order, Shop]
Driver = Callable[[Order, float], Order]
_TRIES = 4
_EXAMPLES_MOST = 6


def of_examples(settings: Settings, rules: Iterable[str] | None = None) -> Iterator[tuple[str, Order, Shop]]:
    """Every rule's examples that are orders, each with a name: ``rule/fires/0``."""
    for name in settings.rules if rules is None else rules:
        rule = settings.rules[name]
        for kind in ("fires", "silent"):
            for index, example in enumerate(getattr(rule, kind)):
                if "facts" not in example:
                    yield f"{name}/{kind}/{index}", *example_order(example, settings)


def around_limit(settings: Settings, name: str, other: float) -> Iterator[Question]:
    """Orders on both sides of a limit's value and of another value for it, and between the two."""
    near = step(settings, name)
    values = targets(settings.limit_values[name], other, near)
    naming = [rule for rule in settings.rules.values() if name in rule.condition.limits]
    for rule in naming:
        facts = {atom.left.name for atom in comparisons(rule.condition) if _limit_of(atom) == name}
        for fact in sorted(facts):
            yield from around(settings, rule, fact, values, near)
    if derived_with(name):
        yield from _driven_blindly(settings, settings.limit_dimension(name), values)


def around_literals(settings: Settings, rule: Rule, other: Rule) -> Iterator[Question]:
    """Orders on both sides of the plain numbers that two readings of a rule do not have in common."""
    mine, others = _literals(rule), _literals(other)
    for fact, value in sorted(mine ^ others):
        yield from around(settings, rule, fact, targets(value, value, 1.0), 1.0)


def targets(one: float, other: float, near: float) -> tuple[float, ...]:
    """Both values, a step to either side of each, and the middle."""
    found = {round(value + side * near, 9) for value in (one, other) for side in (-1, 0, 1)}
    return tuple(sorted(found | {round((one + other) / 2, 9)}))


def around(settings: Settings, rule: Rule, fact: str, values: Sequence[float], near: float) -> Iterator[Question]:
    """The rule's firing examples with the fact brought to each of the values, as far as some field drives it."""
    examples = [example for example in (*rule.fires, *rule.silent) if "facts" not in example][:_EXAMPLES_MOST]
    dimension = _dimension(settings, fact)
    for example in examples:
        order, shop = example_order(example, settings)
        driver = _driver(settings, order, shop, fact, dimension, values, near)
        if driver is None:
            continue
        for value in values:
            driven = _driven(settings, order, shop, fact, value, driver, near)
            if driven is not None:
                yield driven, shop


def _limit_of(atom: Compare) -> str | None:
    return atom.right.name if isinstance(atom.right, LimitName) else None


def _literals(rule: Rule) -> set[tuple[str, float]]:
    return {(atom.left.name, atom.right) for atom in comparisons(rule.condition) if isinstance(atom.right, float)}


def _dimension(settings: Settings, fact: str) -> units.Dimension:
    dimension = settings.vocabulary.facts[fact].dimension
    if dimension is None:
        raise ValueError(f"{fact} is no number")
    return dimension


# -- driving a fact by a field ----------------------------------------------------------------------------------------


def _driver(
    settings: Settings,
    order: Order,
    shop: Shop,
    fact: str,
    dimension: units.Dimension,
    values: Sequence[float],
    near: float,
) -> Driver | None:
    """The first field that brings the fact to any of the values."""
    for driver in drivers(settings)[dimension.name]:
        if any(_driven(settings, order, shop, fact, value, driver, near) is not None for value in values):
            return driver
    return None


def _driven(
    settings: Settings, order: Order, shop: Shop, fact: str, value: float, driver: Driver, near: float
) -> Order | None:
    """The order with the fact brought to the value, or as near as the field can be set; None if it does not follow."""
    put = value
    found: Order | None = None
    for _ in range(_TRIES):
        try:
            trial = driver(order, put)
        except _CannotBe:
            return found
        now = fact_of(settings, trial, shop, fact)
        if now is None:
            return None
        if abs(now - value) <= 1e-9:
            return trial
        if abs(now - value) < near / 2:
            found = trial
        put = put + value - now
    return found


def fact_of(settings: Settings, order: Order, shop: Shop, fact: str) -> float | None:
    """A number fact of an order's first decoration, on the press it names or the shop's first."""
    whole = Case(settings, shop, order)
    scope = next(each.scope for each in whole.declared_facts() if each.name == fact)
    case = whole
    if scope is Scope.DECORATION:
        case = whole.decoration_case(0)
    elif scope is Scope.PRESSING:
        named = shop.press(order.press) if isinstance(order.press, str) else order.press
        case = pressing_cases(whole, named or shop.presses[0])[0]
    value = case[fact]
    return None if value is None else float(value)


def _driven_blindly(settings: Settings, dimension: units.Dimension, values: Sequence[float]) -> Iterator[Question]:
    """Every rule's first firing example with each field of the dimension at each value."""
    for rule in settings.rules.values():
        example = next((each for each in rule.fires if "facts" not in each), None)
        if example is None:
            continue
        order, shop = example_order(example, settings)
        for driver in drivers(settings)[dimension.name]:
            for value in values:
                try:
                    yield driver(order, value), shop
                except _CannotBe:
                    continue


class _CannotBe(Exception):
    """The field cannot hold this value."""


def drivers(settings: Settings) -> Mapping[str, Sequence[Driver]]:
    """The fields of an order that hold a number, by the dimension of the facts they may drive."""
    found: dict[str, list[Driver]] = {name: [] for name in units.DIMENSIONS}
    found["temperature"] = [_asked("temperature", units.TEMPERATURE), _asked_at_surface]
    found["time"] = [
        *(_asked(field, units.TIME) for field in ("time", "pre_press", "second_press")),
        _of_order("due_in", units.TIME),
    ]
    found["pressure"] = [_asked("pressure", units.PRESSURE)]
    found["length"] = [
        _sized("width"),
        _sized("height"),
        _of_item("thickness", units.LENGTH),
        _of_decoration("rim_distance", units.LENGTH),
        _finest_line,
    ]
    found["area_density"] = [_of_item("mass_per_area", units.AREA_DENSITY)]
    found["count"] = [_of_order_whole("quantity"), _age("age_from"), _age("age_to"), _decorations]
    found["lightness"] = [_ground, _palette]
    found["percent"] = [*(_fibre(code) for code in _fibre_codes(settings)), *_by_transfer(settings)]
    found["ratio"] = [_chroma]
    return MappingProxyType({name: tuple(each) for name, each in found.items()})


def _within(dimension: units.Dimension, value: float) -> float:
    low = value <= dimension.least if dimension.least_open else value < dimension.least
    if low or value > dimension.most:
        raise _CannotBe
    return round(value, 9)


def _with_first(order: Order, **fields: Any) -> Order:
    first, *rest = order.decorations
    return replace(order, decorations=(replace(first, **fields), *rest))


def _asked(field: str, dimension: units.Dimension) -> Driver:
    def drive(order: Order, value: float) -> Order:
        asked = order.decorations[0].settings or AskedSettings()
        allowed = 0.0 if value == 0 and field in ("pre_press", "second_press") else _within(dimension, value)
        return _with_first(order, settings=replace(asked, **{field: allowed}))

    return drive


def _asked_at_surface(order: Order, value: float) -> Order:
    asked = order.decorations[0].settings or AskedSettings()
    return _with_first(
        order, settings=replace(asked, temperature=_within(units.TEMPERATURE, value), read_at="surface")
    )


def _of_order(field: str, dimension: units.Dimension) -> Driver:
    return lambda order, value: replace(order, **{field: _within(dimension, value)})


def _whole(value: float, least: int, most: int) -> int:
    if value != int(value) or not least <= value <= most:
        raise _CannotBe
    return int(value)


def _of_order_whole(field: str) -> Driver:
    return lambda order, value: replace(order, **{field: _whole(value, 1, 1_000_000)})


def _of_item(field: str, dimension: units.Dimension) -> Driver:
    return lambda order, value: replace(order, item=replace(order.item, **{field: _within(dimension, value)}))


def _of_decoration(field: str, dimension: units.Dimension) -> Driver:
    return lambda order, value: _with_first(order, **{field: _within(dimension, value)})


def _sized(side: str) -> Driver:
    def drive(order: Order, value: float) -> Order:
        size = order.decorations[0].size or Size(100.0, 100.0)
        return _with_first(order, size=replace(size, **{side: _within(units.LENGTH, value)}))

    return drive


def _finest_line(order: Order, value: float) -> Order:
    artwork = order.decorations[0].artwork or Artwork()
    return _with_first(order, artwork=replace(artwork, finest_line=_within(units.LENGTH, value)))


def _age(field: str) -> Driver:
    def drive(order: Order, value: float) -> Order:
        if not 0 <= value <= 120:
            raise _CannotBe
        use = replace(order.use or Use(), **{field: float(value)})
        if use.age_from is not None and use.age_to is not None and use.age_from > use.age_to:
            use = replace(use, age_from=float(value), age_to=float(value))
        return replace(order, use=use)

    return drive


def _decorations(order: Order, value: float) -> Order:
    return replace(order, decorations=(order.decorations[0],) * _whole(value, 1, 12))


# -- colours and fibres -----------------------------------------------------------------------------------------------


@cache
def _greys() -> tuple[tuple[float, str], ...]:
    """Every grey that sRGB hex can say, by CIELAB lightness."""
    found = []
    for level in range(256):
        name = f"#{level:02X}{level:02X}{level:02X}"
        colour = read_colour(name)
        if colour is not None:
            found.append((colour.lightness, name))
    return tuple(found)


def _grey(value: float) -> str:
    if not 0 <= value <= 100:
        raise _CannotBe
    return min(_greys(), key=lambda each: abs(each[0] - value))[1]


def _ground(order: Order, value: float) -> Order:
    return replace(order, item=replace(order.item, colour=_grey(value)))


def _palette(order: Order, value: float) -> Order:
    artwork = order.decorations[0].artwork or Artwork()
    return _with_first(order, artwork=replace(artwork, palette=(_grey(value),)))
