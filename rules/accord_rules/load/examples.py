"""Trying a book's rules on their own examples when it is loaded."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from accord_rules.derive.case import Case, FactError
from accord_rules.documents import units
from accord_rules.documents.files import Documents, Reason, fault_in, merge
from accord_rules.documents.reading import DocumentError, Fault, LeafError, escape, names_in, read, unknown_name
from accord_rules.infer.compiled import holds
from accord_rules.load.affected import affected_by
from accord_rules.load.answers import Answers, WrongAnswerError
from accord_rules.load.mutants import Mutant, Slip, survivors, telling_facts
from accord_rules.orders.order import Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.condition import UNITLESS, Compare, LimitName, Within
from accord_rules.revision.facts import FactType, Kind, Scope, declared
from accord_rules.revision.names import resolve
from accord_rules.revision.rule import Rule
from accord_rules.revision.step import Step
from accord_rules.weigh.choice import choose
from accord_rules.weigh.sequence import find_sequence

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

_ON_LIMIT = re.compile(r"([a-z0-9_.-]+)(?: ([+-]) ([0-9]+) steps?)?")
# What is left of a whole, as the second fibre of two: "100 - dye.polyester_share_least".
_LEFT_BY_LIMIT = re.compile(r"([0-9]+(?:\.[0-9]+)?) - ([a-z0-9_.-]+)")


class ExampleError(LeafError):
    """A fact's value that cannot be read; says why."""


def failures(book: Book, before: Documents | None = None) -> Sequence[Reason]:
    """Why the book's examples do not hold, with file and example; empty if they all do.

    ``before``: documents whose examples all hold with this code; those that answer as they did are not tried again.
    """
    tried = Tried(book)
    affected = affected_by(book, before) if before is not None else _all
    faults = [
        *(
            fault_in("rules", rule.id, fault, rule.topic)
            for rule in filter(affected, book.rules.values())
            for fault in rule_failures(rule, book, tried)
        ),
        *(
            fault_in("steps", step.id, fault, step.stage)
            for step in filter(affected, book.steps.values())
            if not step.always
            for fault in rule_failures(step, book, tried)
        ),
    ]
    # What is wrong with a fact would otherwise be told once a rule that looks at it.
    return [*tried.answers.faults] or faults


def _all(conditional: Rule | Step) -> bool:
    return True


class Tried:
    """The cases of a book's examples, and what facts answer for them.

    Many examples say the same, or speak of the same piece: what they have in common is read, and worked out, once.
    """

    def __init__(self, book: Book) -> None:
        self.answers = Answers(book)
        self._book = book
        self._cases: dict[tuple[Scope, str], Case] = {}
        self._pieces: dict[str, Case] = {}

    def case(self, scope: Scope, example: Mapping[str, Any]) -> Case:
        """As ``example_case``. Also raises FactError and WrongAnswerError."""
        document = _without(example, "note")
        case = self._cases.get((scope, document))
        if case is None:
            whole = self._cases.get((Scope.ORDER, document)) or self._whole(example)
            self._cases[Scope.ORDER, document] = whole
            case = self._cases[scope, document] = _narrowed(whole, scope, self.answers)
        return case

    def _whole(self, example: Mapping[str, Any]) -> Case:
        order, shop = example_order(example, self._book)
        piece = _without(example, "note", "decoration", "decorations", "press")
        if piece in self._pieces:
            return self._pieces[piece].with_order(order)
        return self._pieces.setdefault(piece, Case(self._book, shop, order))


def _without(example: Mapping[str, Any], *keys: str) -> str:
    return json.dumps({key: value for key, value in example.items() if key not in keys}, sort_keys=True)


def rule_failures(rule: Rule | Step, book: Book, tried: Tried | None = None) -> list[Fault]:
    """Why the examples of a rule, or of a step, do not hold; ``tried``: what those of others made known."""
    tried = tried or Tried(book)
    reasons: list[Fault] = []
    samples: list[Mapping[str, Any]] = []
    for kind, wanted in (("fires", True), ("silent", False)):
        for index, example in enumerate(getattr(rule, kind)):
            place = f"/{kind}/{index}"
            try:
                facts = example_facts(rule, example, book, tried)
            except FactError as error:
                tried.answers.fails(error)
                reasons.append(Fault(place, str(error), code="breaks-book"))
                continue
            except WrongAnswerError as error:
                reasons.append(Fault(place, str(error), code="breaks-book"))
                continue
            except DocumentError as error:
                reasons += [
                    replace(fault, pointer=place + _in_example(fault.pointer, example)) for fault in error.faults
                ]
                continue
            answer = holds(rule.condition.tree, facts, book.limit_values)
            if answer is not wanted:
                outcome = {True: "it fires", False: "it stays silent", None: "it is undecided"}[answer]
                shown = ", ".join(f"{name} = {facts[name]!r}" for name in sorted(rule.condition.facts))
                reasons.append(Fault(place, f"does not hold: {outcome} with {shown}", code="breaks-book"))
            samples.append(facts)
    if not any("facts" not in example for example in rule.fires):
        reasons.append(Fault("/fires", "at least one example must be an order", code="required"))
    return reasons or [Fault("/when", reason, code="breaks-book") for reason in _examples_missing(rule, samples, book)]


def _in_example(pointer: str, example: Mapping[str, Any]) -> str:
    """A place in the order that an example makes, as a place in the example."""
    first = "/decorations/0/"
    return (
        pointer.replace(first, "/decoration/", 1) if pointer.startswith(first) and "decoration" in example else pointer
    )


def example_facts(
    rule: Rule | Step, example: Mapping[str, Any], book: Book, tried: Tried | None = None
) -> dict[str, Any]:
    """The facts of the condition in one example; ``tried`` looks at what facts answer for it.

    Raises DocumentError, with pointers into the order that the example makes, FactError or WrongAnswerError.
    """
    if "facts" in example:
        return _given_facts(rule, example["facts"], book)
    if tried is None:
        return example_case(rule.scope, example, book).facts(rule.condition.facts)
    case = tried.case(rule.scope, example)
    facts = case.facts(rule.condition.facts)
    tried.answers.look_at(case)
    tried.answers.refuse_wrong(rule.condition.facts)
    return facts


def example_case(scope: Scope, example: Mapping[str, Any], book: Book) -> Case:
    """The case an order example describes, its first decoration's for the narrower scopes."""
    return case_of(scope, *example_order(example, book), book)


def case_of(scope: Scope, order: Order, shop: Shop, book: Book, *, one_by_one: bool = False) -> Case:
    """The case of an order, or of its first decoration, on the press it names or the shop's first."""
    return _narrowed(Case(book, shop, order, one_by_one=one_by_one), scope)


def _narrowed(whole: Case, scope: Scope, answers: Answers | None = None) -> Case:
    if scope is Scope.ORDER:
        return whole
    if scope is Scope.DECORATION:
        return whole.decoration_case(0)
    return pressing_cases(whole, press_of(whole.order, whole.shop), answers)[0]


def example_order(example: Mapping[str, Any], book: Book) -> tuple[Order, Shop]:
    """The quiet order and shop with the example laid on them."""
    base = book.documents["base_example"]
    document = dict(base["order"])
    example = _with_limits(example, book)
    for key, value in example.items():
        if key in ("note", "shop"):
            continue
        if key == "decoration":
            first, *rest = document["decorations"]
            document["decorations"] = [merge(first, value), *rest]
        else:
            document = merge(document, {key: value})
    shop = _shop(merge(book.example_shop_document, example["shop"]), book) if "shop" in example else book.example_shop
    return resolve(read(Order, document), book, shop), shop


def _with_limits(value: Any, book: Book) -> Any:
    """An example with what stands on a limit as an order would say it: a quantity, or a number where it has no unit."""
    if isinstance(value, Mapping):
        return {key: said if key == "note" else _with_limits(said, book) for key, said in value.items()}
    if isinstance(value, list):
        return [_with_limits(said, book) for said in value]
    if not isinstance(value, str):
        return value
    left = _LEFT_BY_LIMIT.fullmatch(value)
    limit = _limit_stood_on(left.group(2) if left else value, book)
    if limit is None:
        return value
    name, number = limit
    dimension = book.limit_dimension(name)
    if left:
        number = round(float(left.group(1)) - number, 9)
    return number if dimension in UNITLESS else f"{number:.9g} {dimension.symbol}"


def _limit_stood_on(value: str, book: Book) -> tuple[str, float] | None:
    """The limit that a value of an example names, and how many inside units it comes to with its steps."""
    match = _ON_LIMIT.fullmatch(value)
    if match is None or match.group(1) not in book.limits:
        return None
    steps = int(match.group(3) or 0) * (-1 if match.group(2) == "-" else 1)
    return match.group(1), round(book.limit_values[match.group(1)] + steps * step(book, match.group(1)), 9)


def _shop(document: Mapping[str, Any], book: Book) -> Shop:
    """The shop of an example. Raises DocumentError, also for what it names and the book lacks."""
    try:
        shop = read(Shop, document)
    except DocumentError as error:
        raise DocumentError(replace(fault, pointer=f"/shop{fault.pointer}") for fault in error.faults) from None
    if unknown := [*unknown_names(shop, book, "/shop")]:
        raise DocumentError(unknown)
    return shop


def unknown_names(part: Order | Shop, book: Book, pointer: str = "") -> Iterator[Fault]:
    """What an order or a shop names and the book lacks; ``pointer`` is its place."""
    for place, kinds, name in names_in(part, pointer):
        names = [known for kind in kinds.split("|") for known in book.catalogue[kind]]
        if name not in names:
            yield unknown_name(place, name, kinds, names)


def press_of(order: Order, shop: Shop) -> Press:
    """The press that the order names or describes, else the shop's first."""
    named = shop.press(order.press) if isinstance(order.press, str) else order.press
    return named or shop.presses[0]


def pressing_cases(whole: Case, press: Press, answers: Answers | None = None) -> tuple[Case, ...]:
    """Every decoration on one press with its settings chosen and the order of pressings found."""
    planned = []
    for index in range(len(whole.order.decorations)):
        decoration = whole.decoration_case(index)
        open_ = decoration.pressing_case(press)
        if answers is not None:
            answers.look_before_choice(open_)
        planned.append((decoration, choose(open_)))
    sequence, settings = find_sequence([decoration.pressing_case(press, chosen) for decoration, chosen in planned])
    pairs = zip(planned, settings, strict=True)
    return tuple(decoration.pressing_case(press, chosen, sequence) for (decoration, _), chosen in pairs)


def _given_facts(rule: Rule | Step, values: Any, book: Book) -> dict[str, Any]:
    names, types = sorted(rule.condition.facts), declared()
    faults = [
        Fault(f"/facts/{escape(name)}", "is no fact of the condition", tuple(names), refused=name, code="unknown-field")
        for name in sorted(set(values) - set(names))
    ]
    faults += [Fault(f"/facts/{escape(name)}", "is required", code="required") for name in names if name not in values]
    facts: dict[str, Any] = {}
    for name, value in values.items():
        try:
            facts[name] = read_fact(types[name].type, value, book) if name in names else None
        except ExampleError as error:
            faults.append(error.at(f"/facts/{escape(name)}"))
    if faults:
        raise DocumentError(faults)
    return facts


def read_fact(type_: FactType, value: Any, book: Book) -> Any:
    """A fact's value as an example writes it. Raises ExampleError."""
    if type_.kind is Kind.NUMBER and type_.dimension is not None:
        return _number(type_.dimension, value, book)
    if type_.kind is Kind.BOOL and isinstance(value, bool):
        return value
    if type_.kind is Kind.SET and isinstance(value, list):
        return tuple(_word(type_, word, book) for word in value)
    if type_.kind is Kind.ENUM:
        return _word(type_, value, book)
    raise ExampleError(f"{value!r} is not {type_.kind.value}")


def _word(type_: FactType, value: Any, book: Book) -> str:
    if not isinstance(value, str) or value not in book.vocabulary.words(type_):
        words = sorted(book.vocabulary.words(type_))
        message = f"{value!r} is not one of the allowed words"
        raise ExampleError(message, words, code="not-allowed", refused=str(value))
    return value


def _number(dimension: units.Dimension, value: Any, book: Book) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if dimension not in UNITLESS:
            raise ExampleError(f"{value!r} has no unit", units.with_each(dimension, value))
        return float(value)
    match = _ON_LIMIT.fullmatch(value) if isinstance(value, str) else None
    stood_on = _limit_stood_on(value, book) if isinstance(value, str) else None
    if stood_on is not None:
        if book.limit_dimension(stood_on[0]) is not dimension:
            raise ExampleError(f"{value!r} is no {dimension.name.replace('_', ' ')}")
        return stood_on[1]
    try:
        return units.parse(dimension, value)
    except units.UnitError as error:
        message = f"{value!r}: {error}"
        if match is not None:
            raise ExampleError(message, sorted(book.limits), code="not-in-book", refused=match.group(1)) from None
        raise ExampleError(message, units.with_each(dimension, value), code=error.code) from None


def step(book: Book, name: str) -> float:
    """The smallest change of a limit that matters, inside unit."""
    limit = book.limits[name]
    if isinstance(limit.step, float):
        return limit.step
    return units.parse(book.limit_dimension(name), limit.step)


def _examples_missing(rule: Rule | Step, samples: list[Mapping[str, Any]], book: Book) -> Iterator[str]:
    """Slips in the condition that the examples would not show, each with facts of an example that would."""
    tree, limits = rule.condition.tree, book.limit_values
    steps = {name: step(book, name) for name in rule.condition.limits}
    proposed: list[Mapping[str, Any]] = []
    for mutant in survivors(tree, samples, limits, steps):
        if any(holds(tree, facts, limits) is not holds(mutant.tree, facts, limits) for facts in proposed):
            continue
        telling = telling_facts(tree, mutant.tree, samples, limits)
        if telling is not None:
            proposed.append(telling)
            yield f"{_missing(mutant, telling, book)}: {_as_example(rule, telling, book)}"


def _missing(mutant: Mutant, telling: Mapping[str, Any], book: Book) -> str:
    """What no example shows."""
    if mutant.slip is Slip.WORD and isinstance(mutant.clause, Within):
        return f"no example where {mutant.clause.fact} is {mutant.word!r} and decides"
    place = ""
    if mutant.slip in (Slip.EDGE, Slip.SHIFTED) and isinstance(mutant.clause, Compare):
        near = "within one step of" if mutant.slip is Slip.SHIFTED else "exactly on"
        place = f"{near} the {'limit' if isinstance(mutant.clause.right, LimitName) else 'edge'} "
    side = holds(mutant.clause, telling, book.limit_values)
    return f"no example {place}where {mutant.clause} is {str(side).lower()} and decides"


def _as_example(rule: Rule | Step, facts: Mapping[str, Any], book: Book) -> str:
    """The facts as an example of the rule's file."""
    kind = "fires" if holds(rule.condition.tree, facts, book.limit_values) else "silent"
    listed = ", ".join(f'"{name}" = {_written(name, value, rule, book)}' for name, value in sorted(facts.items()))
    return f"add an order to [[{kind}]], or: facts = {{ {listed} }}"


def _written(name: str, value: Any, rule: Rule | Step, book: Book) -> str:
    """A fact's value as ``read_fact`` reads it: on a limit of the condition, or else by itself."""
    dimension = declared()[name].type.dimension
    if dimension is None:
        return json.dumps(value)
    for limit in sorted(rule.condition.limits):
        steps = round((value - book.limit_values[limit]) / step(book, limit), 6)
        if book.limit_dimension(limit) is dimension and steps in (-1, 0, 1):
            return f'"{limit}"' if steps == 0 else f'"{limit} {"+" if steps > 0 else "-"} 1 step"'
    number = f"{value:.6f}".rstrip("0").rstrip(".")
    return f'"{number} {dimension.symbol}"' if dimension not in UNITLESS else number
