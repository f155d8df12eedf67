"""Orders at the very boundary of a rule: where one field decides whether it fires, found by halving.

Edges (``edges``) bring a fact to a limit's value by a field of the fact's own dimension. Here nothing is asked of the
fact: each field of an order and of a described press is set to a few usual values, and where the rule changes between
two of them the gap is halved until it is small. So limits are reached that a fact is worked out with, and facts that
several fields make up together, at the price of many questions.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from types import MappingProxyType

from accord_rules.documents import units
from accord_rules.governance.edges import CannotBe, Driver, Question, drivers, of_press, power, reads, sound, within
from accord_rules.governance.limits import derived_with
from accord_rules.infer.compiled import holds
from accord_rules.load.examples import case_of, example_order, press_of
from accord_rules.orders.order import CalibrationReading, Care, Cylinder, Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.rule import Rule

_EXAMPLES_MOST = 4
_HALVINGS = 14
# Each takes a millisecond or two; who waits for a refusal waits some seconds at most.
QUESTIONS_MOST = 2500
# Usual values of each dimension, in its inside unit; a field of it is set to each in turn.
_USUAL: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        "temperature": (90.0, 120.0, 150.0, 180.0, 205.0, 225.0),
        "temperature_difference": (0.5, 4.0, 9.0, 16.0, 30.0),
        "time": (1.0, 6.0, 20.0, 60.0, 300.0, 900.0),
        "pressure": (4.0, 15.0, 60.0, 250.0, 800.0),
        "length": (1.0, 6.0, 20.0, 90.0, 300.0, 900.0),
        "area_density": (60.0, 120.0, 200.0, 350.0, 600.0),
        "count": (1.0, 3.0, 12.0, 60.0, 400.0, 4000.0),
        "lightness": (0.0, 30.0, 60.0, 80.0, 100.0),
        "percent": (0.0, 8.0, 35.0, 65.0, 100.0),
        "ratio": (0.0, 20.0, 60.0, 100.0),
        "power": (300.0, 1200.0, 2400.0, 4800.0),
        "voltage": (100.0, 115.0, 125.0, 220.0, 240.0),
    }
)


def at_boundaries(book: Book, name: str) -> Iterator[Question]:
    """Orders on both sides of where rules that the limit has a say in change over: rules that name it first.

    Ends once ``QUESTIONS_MOST`` usual values were tried, found anything or not.
    """
    naming = [rule for rule in book.rules.values() if name in rule.condition.limits]
    others = [rule for rule in book.rules.values() if rule not in naming] if derived_with(name) else []
    questions = 0
    for rule in (*naming, *others):
        for order, shop in _starts(book, rule):
            if rule not in naming and not reads(book, rule, order, shop, name):
                continue
            for dimension, driver in _every_driver(book):
                questions += len(_USUAL[dimension])
                if questions > QUESTIONS_MOST:
                    return
                yield from ((halfway, shop) for halfway in _halved(book, rule, order, shop, driver, dimension))


def _starts(book: Book, rule: Rule) -> Iterator[Question]:
    """The rule's examples with their press described; the first also under a cylinder, and with each care label."""
    examples = [example for example in (*rule.fires, *rule.silent) if "facts" not in example]
    for example in examples[:_EXAMPLES_MOST]:
        order, shop = example_order(example, book)
        described = replace(order, press=press_of(order, shop))
        yield described, shop
        if example is examples[0]:
            yield from ((variant, shop) for variant in _varied(book, described))


def _varied(book: Book, order: Order) -> Iterator[Order]:
    """The same under the smallest press with a gauge, and with a care label of each kind."""
    gauged = [
        (entry.platen.width * entry.platen.height, name)
        for name, entry in book.catalogue["press_types"].items()
        if entry.metering == "gauge"
    ]
    if gauged:
        cylinder = Cylinder(100.0, line_least=50.0, line_most=800.0)
        yield replace(order, press=Press(min(gauged)[1], cylinder=cylinder))
    for dots in (1, 2, 3):
        for edition in (2012, 2023):
            yield replace(order, item=replace(order.item, care=Care(dots, edition)))


def _every_driver(book: Book) -> Iterator[tuple[str, Driver]]:
    for dimension, of_dimension in drivers(book).items():
        yield from ((dimension, driver) for driver in of_dimension)
    yield from _PRESS_DRIVERS


def _halved(book: Book, rule: Rule, order: Order, shop: Shop, driver: Driver, dimension: str) -> Iterator[Order]:
    """The two orders on either side of each place where the rule changes over as the field goes through its values."""

    def trial_at(value: float) -> tuple[Order, bool] | None:
        trial = sound(book, driver, order, value, shop)
        if trial is None:
            return None
        case = case_of(rule.scope, trial, shop, book)
        answer = holds(rule.condition.tree, case.facts(tuple(rule.condition.facts)), book.limit_values)
        return None if answer is None else (trial, answer)

    answers = [(value, *answer) for value in _USUAL[dimension] if (answer := trial_at(value)) is not None]
    for (low, low_order, low_answer), (high, high_order, high_answer) in pairwise(answers):
        if low_answer is high_answer:
            continue
        sides = {low_answer: low_order, high_answer: high_order}
        for _ in range(_HALVINGS):
            at = (low + high) / 2
            answer = trial_at(at)
            if answer is None:  # it may be a field of whole numbers
                at = float(round(at))
                answer = trial_at(at)
            if answer is None or not low < at < high:
                break
            sides[answer[1]] = answer[0]
            low, high = (at, high) if answer[1] is low_answer else (low, at)
        yield from sides.values()


# -- what a described press holds --------------------------------------------------------------------------------------


def _spread(order: Order, value: float) -> Order:
    """A probe read three spots, so far apart."""
    apart_k = within(units.TEMPERATURE_DIFFERENCE, value)
    reading = CalibrationReading(180.0, (175.0 - apart_k, 175.0, 175.0 + apart_k))
    return replace(order, press=replace(of_press(order), calibration=(reading,)))


def _line_most(order: Order, value: float) -> Order:
    cylinder = of_press(order).cylinder
    if cylinder is None:
        raise CannotBe
    line = within(units.PRESSURE, max(value, cylinder.line_least))
    return replace(order, press=replace(of_press(order), cylinder=replace(cylinder, line_most=line)))


def _calibration_age(order: Order, value: float) -> Order:
    press = of_press(order)
    calibration = press.calibration or (CalibrationReading(180.0, (175.0,)),)
    return replace(order, press=replace(press, calibration=calibration, calibration_age=float(value)))


def _nameplate(order: Order, value: float) -> Order:
    return replace(order, press=replace(of_press(order), voltage=within(units.VOLTAGE, value)))


_PRESS_DRIVERS: Sequence[tuple[str, Driver]] = (
    ("temperature_difference", _spread),
    ("pressure", _line_most),
    ("count", _calibration_age),
    ("voltage", _nameplate),
    ("power", power),
)
