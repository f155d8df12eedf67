"""Orders at the edges of thresholds: made from rules' own examples by moving the one field that drives the fact.

No table says which field drives which fact. A field of the fact's dimension is set, the fact is worked out, and the
field is corrected by what the fact missed its target by; where the fact follows, the field drives it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import Any

from accord_rules.derive import FACTS
from accord_rules.derive.fibres import ACETATES
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.sources import Part
from accord_rules.documents import units
from accord_rules.documents.colour import read_colour
from accord_rules.documents.reading import DocumentError, read
from accord_rules.documents.writing import written
from accord_rules.governance.limits import derived_with
from accord_rules.load.examples import case_of, example_order, step
from accord_rules.load.mutants import LITERAL_STEP
from accord_rules.orders.order import Artwork, Order, Press, Settings, Size, Use
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.condition import Compare, LimitName, comparisons
from accord_rules.revision.facts import Scope
from accord_rules.revision.names import resolve
from accord_rules.revision.rule import Rule
from accord_rules.revision.step import Step

Question = tuple[Order, Shop]
Driver = Callable[[Order, float], Order]
FIBRE_LEAST = 0.1  # percent; what an order may say at least
BLIND_MOST = 300
_TRIES = 4
_EXAMPLES_MOST = 6


def of_examples(book: Book, rules: Iterable[str] | None = None) -> Iterator[tuple[str, Order, Shop]]:
    """Every rule's examples that are orders, each with a name: ``rule/fires/0``."""
    yield from _examples_of(book, book.rules, book.rules if rules is None else rules)


def of_steps(book: Book, steps: Iterable[str]) -> Iterator[tuple[str, Order, Shop]]:
    """The same of steps."""
    yield from _examples_of(book, book.steps, steps)


def _examples_of(
    book: Book, entries: Mapping[str, Rule] | Mapping[str, Step], names: Iterable[str]
) -> Iterator[tuple[str, Order, Shop]]:
    for name in names:
        for kind in ("fires", "silent"):
            for index, example in enumerate(getattr(entries[name], kind)):
                if "facts" not in example:
                    yield f"{name}/{kind}/{index}", *example_order(example, book)


def around_limit(book: Book, name: str, moved: float) -> Iterator[Question]:
    """Orders on both sides of a limit's value and of another value for it, and between the two."""
    near = step(book, name)
    values = targets(book.limit_values[name], moved, near)
    naming = [rule for rule in book.rules.values() if name in rule.condition.limits]
    for rule in naming:
        facts = {atom.left.name for atom in comparisons(rule.condition) if _limit_of(atom) == name}
        for fact in sorted(facts):
            yield from around(book, rule, fact, values, near)
    if derived_with(name):
        yield from _driven_blindly(book, name, values)


def around_rule(book: Book, rule: Rule, counterpart: Rule | None) -> Iterator[Question]:
    """Orders on both sides of the limits and plain numbers that the rule compares with and ``counterpart`` does not."""
    counterpart_atoms = set(comparisons(counterpart.condition)) if counterpart is not None else set()
    for atom in comparisons(rule.condition):
        limit = _limit_of(atom)
        if atom in counterpart_atoms:
            continue
        if limit is not None:
            value, near = book.limit_values[limit], step(book, limit)
            yield from around(book, rule, atom.left.name, targets(value, value, near), near)
        elif isinstance(atom.right, float):
            yield from around(book, rule, atom.left.name, targets(atom.right, atom.right, LITERAL_STEP), LITERAL_STEP)


def targets(first: float, second: float, near: float) -> tuple[float, ...]:
    """Both values, a step to either side of each, and the middle."""
    values = {round(value + side * near, 9) for value in (first, second) for side in (-1, 0, 1)}
    return tuple(sorted(values | {round((first + second) / 2, 9)}))


def around(book: Book, rule: Rule, fact: str, values: Sequence[float], near: float) -> Iterator[Question]:
    """The rule's firing examples with the fact brought to each of the values, as far as some field drives it."""
    examples = [example for example in (*rule.fires, *rule.silent) if "facts" not in example][:_EXAMPLES_MOST]
    dimension = _dimension(book, fact)
    for example in examples:
        order, shop = example_order(example, book)
        driver = _driver(book, order, shop, fact, dimension, values, near)
        if driver is None:
            if FACTS[fact].scope is Scope.DECORATION and Part.TRANSFER in GRAPH.parts[fact]:
                yield from ((variant, shop) for variant in _by_transfer(book, order, shop, fact, values))
            continue
        for value in values:
            driven = _driven(book, order, shop, fact, value, driver, near)
            if driven is not None:
                yield driven, shop


def _limit_of(atom: Compare) -> str | None:
    return atom.right.name if isinstance(atom.right, LimitName) else None


def _dimension(book: Book, fact: str) -> units.Dimension:
    dimension = book.vocabulary.facts[fact].dimension
    if dimension is None:
        raise ValueError(f"{fact} is no number")
    return dimension


# -- driving a fact by a field ----------------------------------------------------------------------------------------


def _driver(
    book: Book,
    order: Order,
    shop: Shop,
    fact: str,
    dimension: units.Dimension,
    values: Sequence[float],
    near: float,
) -> Driver | None:
    """The first field that brings the fact to one of the values."""
    values_tried = dict.fromkeys((values[len(values) // 2], values[0], values[-1]))
    for driver in drivers(book)[dimension.name]:
        if any(_driven(book, order, shop, fact, value, driver, near) is not None for value in values_tried):
            return driver
    return None


def _driven(book: Book, order: Order, shop: Shop, fact: str, value: float, driver: Driver, near: float) -> Order | None:
    """The order with the fact brought to the value, or as near as the field can be set; None if it does not follow."""
    put, slope = value, 1.0
    before: tuple[float, float] | None = None
    nearest: Order | None = None
    for _ in range(_TRIES):
        trial = sound(book, driver, order, put, shop)
        if trial is None:
            return nearest
        now = fact_of(book, trial, shop, fact)
        if now is None:
            return None
        if abs(now - value) <= 1e-9:
            return trial
        if abs(now - value) < near / 2:
            nearest = trial
        if before is not None and put != before[0] and now != before[1]:
            slope = (now - before[1]) / (put - before[0])
        before = (put, now)
        put = round(put + (value - now) / slope, 6)
    return nearest


def fact_of(book: Book, order: Order, shop: Shop, fact: str) -> float | None:
    """A number fact of an order's first decoration, on the press it names or the shop's first."""
    value = case_of(FACTS[fact].scope, order, shop, book)[fact]
    return None if value is None else float(value)


def _driven_blindly(book: Book, name: str, values: Sequence[float]) -> Iterator[Question]:
    """Examples whose facts are worked out with the limit, with each field of its dimension at each value."""
    dimension = book.limit_dimension(name)
    drawn = 0
    for rule in book.rules.values():
        example = next((example for example in rule.fires if "facts" not in example), None)
        if example is None:
            continue
        order, shop = example_order(example, book)
        if not reads(book, rule, order, shop, name):
            continue
        yield order, shop
        for driver in drivers(book)[dimension.name]:
            for value in (values[0], values[len(values) // 2], values[-1]):
                trial = sound(book, driver, order, value, shop)
                if trial is not None:
                    drawn += 1
                    yield trial, shop
        if drawn >= BLIND_MOST:
            return


class _Noting(Mapping[str, float]):
    """Limits that note which of them are read."""

    def __init__(self, values: Mapping[str, float]) -> None:
        self._values = values
        self.read: set[str] = set()

    def __getitem__(self, name: str) -> float:
        self.read.add(name)
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)


def reads(book: Book, rule: Rule, order: Order, shop: Shop, name: str) -> bool:
    """Whether working out the facts of the rule's condition reads the limit."""
    noting = _Noting(book.limit_values)
    case = case_of(rule.scope, order, shop, replace(book, limit_values=noting), one_by_one=True)
    case.facts(tuple(rule.condition.facts))
    return name in noting.read


def sound(book: Book, driver: Driver, order: Order, value: float, shop: Shop) -> Order | None:
    """The driven order as its document says it, None where no document can: a witness must be one that can be sent."""
    try:
        return resolve(read(Order, written(driver(order, value))), book, shop)
    except (CannotBe, DocumentError):
        return None


class CannotBe(Exception):
    """The field cannot hold this value."""


def drivers(book: Book) -> Mapping[str, Sequence[Driver]]:
    """The fields of an order that hold a number, by the dimension of the facts they may drive."""
    of_dimension: dict[str, list[Driver]] = {name: [] for name in units.DIMENSIONS}
    of_dimension["temperature"] = [_set_to("temperature", units.TEMPERATURE), _set_at_surface]
    of_dimension["time"] = [
        *(_set_to(field, units.TIME) for field in ("time", "pre_press", "second_press")),
        _of_order("due_in", units.TIME),
    ]
    of_dimension["pressure"] = [_set_to("pressure", units.PRESSURE)]
    of_dimension["length"] = [
        _sized("width"),
        _sized("height"),
        _of_item("thickness", units.LENGTH),
        _of_decoration("rim_distance", units.LENGTH),
        _finest_line,
    ]
    of_dimension["area_density"] = [_of_item("mass_per_area", units.AREA_DENSITY)]
    of_dimension["count"] = [_of_order_whole("quantity"), _age("age_from"), _age("age_to"), _decorations]
    of_dimension["lightness"] = [_ground, _palette]
    of_dimension["percent"] = [*(_fibre(code) for code in _fibre_codes(book)), power]
    of_dimension["ratio"] = [_chroma]
    return MappingProxyType({name: tuple(drivers_of_it) for name, drivers_of_it in of_dimension.items()})


def within(dimension: units.Dimension, value: float) -> float:
    """The value as a field may hold it, in the inside unit. Raises CannotBe outside the dimension's bounds."""
    low = value <= dimension.least if dimension.least_open else value < dimension.least
    if low or value > dimension.most:
        raise CannotBe
    return round(value, 9)


def _field(name: str, value: Any) -> dict[str, Any]:
    return {name: value}


def _set_to(field: str, dimension: units.Dimension) -> Driver:
    def drive(order: Order, value: float) -> Order:
        settings = order.decorations[0].settings or Settings()
        allowed = 0.0 if value == 0 and field in ("pre_press", "second_press") else within(dimension, value)
        return order.with_decoration(0, settings=replace(settings, **_field(field, allowed)))

    return drive


def _set_at_surface(order: Order, value: float) -> Order:
    settings = order.decorations[0].settings or Settings()
    return order.with_decoration(
        0, settings=replace(settings, temperature=within(units.TEMPERATURE, value), read_at="surface")
    )


def _of_order(field: str, dimension: units.Dimension) -> Driver:
    return lambda order, value: replace(order, **_field(field, within(dimension, value)))


def _whole(value: float, least: int, most: int) -> int:
    if value != int(value) or not least <= value <= most:
        raise CannotBe
    return int(value)


def _of_order_whole(field: str) -> Driver:
    return lambda order, value: replace(order, **_field(field, _whole(value, 1, 1_000_000)))


def _of_item(field: str, dimension: units.Dimension) -> Driver:
    return lambda order, value: replace(order, item=replace(order.item, **_field(field, within(dimension, value))))


def _of_decoration(field: str, dimension: units.Dimension) -> Driver:
    return lambda order, value: order.with_decoration(0, **{field: within(dimension, value)})


def _sized(side: str) -> Driver:
    def drive(order: Order, value: float) -> Order:
        size = order.decorations[0].size or Size(100.0, 100.0)
        return order.with_decoration(0, size=replace(size, **_field(side, within(units.LENGTH, value))))

    return drive


def _finest_line(order: Order, value: float) -> Order:
    artwork = order.decorations[0].artwork or Artwork()
    return order.with_decoration(0, artwork=replace(artwork, finest_line=within(units.LENGTH, value)))


def _age(field: str) -> Driver:
    def drive(order: Order, value: float) -> Order:
        if not 0 <= value <= 120:
            raise CannotBe
        use = replace(order.use or Use(), **_field(field, float(value)))
        if use.age_from is not None and use.age_to is not None and use.age_from > use.age_to:
            use = replace(use, age_from=float(value), age_to=float(value))
        return replace(order, use=use)

    return drive


def of_press(order: Order) -> Press:
    """The press an order describes. Raises CannotBe where it names one or none."""
    if not isinstance(order.press, Press):
        raise CannotBe
    return order.press


def power(order: Order, value: float) -> Order:
    """A described press's power, W; what a fact in percent makes of it is found by trying."""
    return replace(order, press=replace(of_press(order), power=within(units.POWER, value)))


def _decorations(order: Order, value: float) -> Order:
    """As many decorations as asked: the order's own, and its first beside them again."""
    count = _whole(value, 1, 12)
    more = (replace(order.decorations[0], over=None),) * count
    return replace(order, decorations=(*order.decorations, *more)[:count])


# -- colours and fibres -----------------------------------------------------------------------------------------------


@cache
def _shades(pattern: str, measure: str) -> tuple[tuple[float, str], ...]:
    """The 256 colours of a pattern with one free level, each with its CIELAB lightness or chroma."""
    names = [pattern.replace("??", f"{level:02X}") for level in range(256)]
    return tuple((getattr(colour, measure), name) for name in names if (colour := read_colour(name)) is not None)


def _shade(pattern: str, measure: str, value: float) -> str:
    shades = _shades(pattern, measure)
    if not min(shades)[0] - 1 <= value <= max(shades)[0] + 1:
        raise CannotBe
    return min(shades, key=lambda shade: abs(shade[0] - value))[1]


def _grey(value: float) -> str:
    return _shade("#??????", "lightness", value)


def _ground(order: Order, value: float) -> Order:
    return replace(order, item=replace(order.item, colour=_grey(value)))


def _palette(order: Order, value: float) -> Order:
    artwork = order.decorations[0].artwork or Artwork()
    return order.with_decoration(0, artwork=replace(artwork, palette=(_grey(value),)))


def _chroma(order: Order, value: float) -> Order:
    """A ground from white to yellow: hardly darker, and as coloured as asked."""
    return replace(order, item=replace(order.item, colour=_shade("#FFFF??", "chroma", value)))


def _fibre_codes(book: Book) -> tuple[str, ...]:
    """One fibre of each group, and those that rules single out."""
    first: dict[str, str] = {}
    for code, fibre in book.catalogue["fibres"].items():
        first.setdefault(fibre.group, code)
    return tuple(sorted({*first.values(), *(code for code in ACETATES if code in book.catalogue["fibres"])}))


def _fibre(code: str, fillers: tuple[str, str] = ("CO", "PES")) -> Driver:
    """A share of one fibre, the others of the piece making up the rest as they were to each other."""

    def drive(order: Order, value: float) -> Order:
        if not 0 <= value <= 100:
            raise CannotBe
        mix = dict(order.item.fibres or {})
        mix.pop(code, None)
        others = mix or {next(filler for filler in fillers if filler != code): 100.0}
        scale = (100 - value) / sum(others.values())
        shares = {code: round(value, 9), **{filler: round(share * scale, 9) for filler, share in others.items()}}
        blend = {fibre: share for fibre, share in sorted(shares.items()) if share >= FIBRE_LEAST}
        return replace(order, item=replace(order.item, fibres=MappingProxyType(blend)))

    return drive


def _by_transfer(book: Book, order: Order, shop: Shop, fact: str, values: Sequence[float]) -> Iterator[Order]:
    """For what no field drives: the order with each transfer that brings the fact near them, or just past."""
    transfers: list[tuple[float, str]] = []
    for name in (*book.catalogue["transfers"], *book.catalogue["products"]):
        now = fact_of(book, order.with_decoration(0, transfer=name), shop, fact)
        if now is not None:
            transfers.append((now, name))
    low, high = min(values), max(values)
    below = [transfer for transfer in transfers if transfer[0] < low]
    above = [transfer for transfer in transfers if transfer[0] > high]
    chosen = [transfer for transfer in transfers if low <= transfer[0] <= high]
    chosen += [max(below)] if below else []
    chosen += [min(above)] if above else []
    for _, name in sorted(chosen):
        yield order.with_decoration(0, transfer=name)
