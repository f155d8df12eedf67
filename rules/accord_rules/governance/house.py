"""House rules: what one shop holds to beyond the shared book. They may only tighten.

As a document::

    {"limits": {"dye.polyester_share_least": 65, "people.touch_hold_most": "45 °C"},
     "rules": {"house.no-silk": {"level": "blocks", "title": "...", "about": "item", "when": "...", ...}},
     "without": {"products": ["flock-plush"], "consumables": []}}

A limit may move in the direction its entry calls stricter; rules are added under ids that start with ``house.``, with
their examples; products and consumables are taken out of the shop's stock. ``HouseAuthority`` asks the shared rules
with the shop's limits, and the shop's rules beside them. Since the settings that the book chooses for an order move
along with limits, the shared verdict is asked as well, and stands wherever it is the firmer one: so that for every
order the verdict under house rules is never more permissive than the shared one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from accord_rules.authority import Authority, Judged
from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.documents.answers import STRING, STRINGS, Free, Nullable
from accord_rules.documents.canonical import digest
from accord_rules.documents.reading import (
    Choice,
    DocumentError,
    Fault,
    LeafError,
    Many,
    Name,
    Object,
    Reader,
    Table,
    Text,
    escape,
    kind_of,
    optional,
    read,
    required,
    unopened,
)
from accord_rules.documents.writing import Documented, plain, written
from accord_rules.governance.boundaries import at_boundaries
from accord_rules.governance.edges import Question, around_limit
from accord_rules.governance.limits import LOOSER, MIXED, STRICTER, direction, move
from accord_rules.governance.words import PREFIX
from accord_rules.load.examples import rule_failures
from accord_rules.load.loader import amount, read_rule
from accord_rules.orders.order import Order
from accord_rules.orders.shop import NO_OWN_NAMES, Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Amount
from accord_rules.revision.condition import contradiction
from accord_rules.revision.rule import Rule
from accord_rules.verdict import VERDICTS, Finding
from accord_rules.weigh.scales import Weighed, findings, in_order

TOPIC = "house"
LAYER = "house"
# A limit so many times the book's, or of a temperature so far from it, is likelier a slip of a digit or a unit than
# meant: stricter than that, ordinary work is refused. This project's choice.
FAR_FACTOR, FAR_K = 5.0, 50.0
_ID = re.compile(r"house\.[a-z0-9]+(?:[-._][a-z0-9]+)*")


class RuleTable(Reader):
    """A rule's table as the book's files write it, without ``topic``."""

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, dict):
            faults.append(Fault(pointer, f"must be an object, not {kind_of(value)}", code="wrong-type"))
            return None
        return value

    def json_schema(self) -> dict[str, Any]:
        return unopened("it is a RuleText without topic, which is checked when the house rules are laid on the book")


class HouseId(Reader):
    """The id of an added rule: ``house.`` and a name."""

    def leaf(self, value: Any) -> str:
        return Text(80).leaf(value)

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, str) or len(value) > 80 or not _ID.fullmatch(value):
            message = (
                f"must start with {PREFIX!r} and a name of its own in small letters and figures, joined by single"
                " hyphens, dots or underscores, 80 characters at most"
            )
            faults.append(Fault(pointer, message, code="bad-format"))
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": f"^{_ID.pattern}$", "maxLength": 80}


_NONE: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Without:
    """What the shop does not use, although it is in the book."""

    products: tuple[str, ...] = optional(
        Many(Name(name_of="products"), 200, distinct=True), (), "stocked products that are not to be used"
    )
    consumables: tuple[str, ...] = optional(
        Many(Name(name_of="consumables"), 60, distinct=True), (), "sheets, tapes and pads that are not to be used"
    )


@dataclass(frozen=True, slots=True)
class HouseRules(Documented):
    """One shop's own, as its document says it."""

    limits: Mapping[str, str | float] = optional(
        Table(Text(80), Amount(), 200, 0), _NONE, "limit to the shop's own, stricter value, as the book writes values"
    )
    rules: Mapping[str, Mapping[str, Any]] = optional(
        Table(HouseId(), RuleTable(), 100, 0),
        _NONE,
        f"id, which starts with {PREFIX}, to a rule of the shop's own, as the book writes rules",
    )
    without: Without = optional(Object(Without), Without(), "what is in the book and not to be used here")

    @property
    def digest(self) -> str:
        """SHA-256 of its document."""
        return digest(self.document())

    def with_rule(self, id_: str, rule: Mapping[str, Any] | None) -> HouseRules:
        """The same with one rule as it is given; None: without it."""
        return replace(self, rules=_with(self.rules, id_, rule))

    def with_limit(self, id_: str, value: str | float | None) -> HouseRules:
        """The same with one limit at a value; None: where the book has it."""
        return replace(self, limits=_with(self.limits, id_, value))


def _with(table: Mapping[str, Any], name: str, value: Any) -> Mapping[str, Any]:
    rest = {other: kept for other, kept in table.items() if other != name}
    return MappingProxyType(rest if value is None else {**table, name: value})


@dataclass(frozen=True, slots=True)
class HouseRule(Documented):
    """One rule of the shop's own, as a document that can be replaced alone."""

    id: str = required(HouseId(), f"its name, which starts with {PREFIX}")
    rule: Mapping[str, Any] = required(RuleTable(), "the rule, as the book writes rules")


@dataclass(frozen=True, slots=True)
class HouseLimit(Documented):
    """Where the shop has one limit of the book, as a document that can be replaced alone."""

    id: str = required(Text(80), "the limit's name in the book")
    value: str | float | None = required(
        Nullable(Amount()), "the shop's own, stricter value, as the book writes values; null for the book's"
    )


NO_HOUSE_RULES = HouseRules()


def read_house(document: Any) -> HouseRules:
    """House rules from their document. Raises DocumentError with every fault and its JSON Pointer."""
    return read(HouseRules, document)


@dataclass(frozen=True, slots=True)
class Witness(Documented):
    """An order that would slip through."""

    order: Mapping[str, Any] = required(Free((Order,)), "an order, as POST /v1/validate takes it")
    shared_verdict: str = required(Choice(VERDICTS), "its verdict under the shared book")
    house_verdict: str = required(Choice(VERDICTS), "its verdict under the house rules that were refused")
    lost: tuple[str, ...] = required(STRINGS, "ids of the rules that would no longer find anything")


@dataclass(frozen=True, slots=True)
class Refusal(Documented):
    """One house rule that can't be taken; ``code``, ``allowed`` and ``refused`` are those of its ``fault``."""

    pointer: str = required(STRING, "JSON Pointer (RFC 6901) to the place")
    message: str = required(STRING, "why")
    witness: Witness | None = required(
        Nullable(Object(Witness)), "an order that shows it; null where none was found", default=None
    )
    code: str = field(default="loosens", kw_only=True)
    allowed: tuple[str, ...] = field(default=(), kw_only=True)
    refused: str = field(default="", kw_only=True)

    @classmethod
    def of(cls, fault: Fault) -> Refusal:
        """For a fault that lies in the document and not in what it would loosen."""
        return cls(fault.pointer, fault.message, code=fault.code, allowed=fault.allowed, refused=fault.refused)

    @property
    def fault(self) -> Fault:
        """The same as faults of documents are told."""
        return Fault(self.pointer, self.message, self.allowed, code=self.code, refused=self.refused)


class HouseError(ValueError):
    """House rules that cannot be taken, with every reason."""

    def __init__(self, refusals: Iterable[Refusal]) -> None:
        self.refusals = tuple(refusals)
        super().__init__("; ".join(str(refusal.fault) for refusal in self.refusals))


# -- taking them in ---------------------------------------------------------------------------------------------------


def check_house(book: Book, house: HouseRules, shop: Shop | None = None) -> Book:
    """The book as the shop holds to it. Raises HouseError where the house rules do not fit or loosen anything.

    Witness orders are judged at ``shop``, or at the book's example shop where that is None or shows nothing.
    """
    refusals = [*_limit_refusals(book, house, shop), *_stock_refusals(book, house)]
    rules, rule_refusals = _added(book, house)
    refusals += rule_refusals
    if not refusals:
        laid = _laid(book, house, rules)
        refusals += _example_refusals(laid, rules)
    if refusals:
        raise HouseError(refusals)
    return laid


def apply_house(book: Book, house: HouseRules) -> Book:
    """The book as the shop holds to it, for house rules that were checked against some revision.

    What a later revision of the book made looser than the book is dropped in its favour, limit by limit.
    Raises HouseError where the house rules name what this revision no longer has.
    """
    rules, refusals = _added(book, house)
    refusals += [*_unknown_limits(book, house)]
    if refusals:
        raise HouseError(refusals)
    return _laid(book, house, rules)


def _laid(book: Book, house: HouseRules, rules: Mapping[str, Rule]) -> Book:
    moved = {
        name: value
        for name, written_value in house.limits.items()
        if direction(book, name, value := amount(book.limit_dimension(name), written_value)) == STRICTER
    }
    return replace(
        book,
        limit_values=MappingProxyType({**book.limit_values, **moved}),
        rules=MappingProxyType({**book.rules, **rules}),
        moved=frozenset(moved),
    )


def _unknown_limits(book: Book, house: HouseRules) -> Iterable[Refusal]:
    for name, value in house.limits.items():
        pointer = f"/limits/{escape(name)}"
        if name not in book.limits:
            message, names = f"there is no limit {name!r} in the book", tuple(sorted(book.limits))
            yield Refusal.of(Fault(pointer, message, names, code="not-in-book", refused=name))
            continue
        try:
            amount(book.limit_dimension(name), value)
        except LeafError as error:
            yield Refusal.of(error.at(pointer))


@dataclass(frozen=True, slots=True)
class HouseDoubt(Documented):
    """A limit of a house that lies so far from the book's that a digit or a unit may have slipped."""

    limit: str = required(STRING, "the limit")
    because: str = required(STRING, "how far it lies from the book's, and what that comes to, a sentence")


def far_limits(limits: Mapping[str, Any], book: Book, preferences: units.UnitPreferences) -> tuple[HouseDoubt, ...]:
    """Those of a house's limits that are far from the book's, in the shop's units; none that the book has no more.

    Raises DocumentError for a value that can't be read as the book writes it.
    """
    told = ((name, _far(name, written_value, book, preferences)) for name, written_value in limits.items())
    return tuple(HouseDoubt(name, because) for name, because in told if because)


def _far(name: str, written_value: str | float, book: Book, preferences: units.UnitPreferences) -> str:
    """How far a limit lies from the book's, in words; empty where it is near or looser, or the book has none such."""
    if name not in book.limits:
        return ""
    dimension, shared = book.limit_dimension(name), book.limit_values[name]
    try:
        own = amount(dimension, written_value)
    except LeafError as error:
        raise DocumentError([error.at(f"/limits/{escape(name)}")]) from None
    is_far = bool(_times(own, shared)) or (dimension is units.TEMPERATURE and abs(own - shared) > FAR_K)
    if not is_far or direction(book, name, own) != STRICTER:
        return ""
    of_book = units.show(dimension, shared, preferences)
    # As it was typed: rounded to what a workshop can read, the slip may not show.
    value = written_value.replace("Δ°F", "°F") if isinstance(written_value, str) else units.show(dimension, own)
    return (
        f"Your limit “{book.limits[name].title}” is at {value}, the book's at {of_book}{_times(own, shared)}."
        " If a digit or the unit slipped there, ordinary work is refused by it."
    )


def _times(own: float, shared: float) -> str:
    """How often one goes into the other, to follow both; nothing where that is seldom, or the book's is nothing."""
    less, more = sorted((abs(own), abs(shared)))
    if not shared or more <= FAR_FACTOR * less:
        return ""
    if not less:
        return ", which leaves nothing"
    return f", {round(more / less):,} times as {'little' if abs(own) > abs(shared) else 'much'}"


def _limit_refusals(book: Book, house: HouseRules, shop: Shop | None) -> Iterable[Refusal]:
    unknown = list(_unknown_limits(book, house))
    yield from unknown
    barred = {refusal.pointer for refusal in unknown}
    for name, written_value in house.limits.items():
        pointer = f"/limits/{escape(name)}"
        if pointer in barred:
            continue
        dimension = book.limit_dimension(name)
        value = amount(dimension, written_value)
        if not dimension.least <= value <= dimension.most:
            message = f"{written_value!r} is no {dimension.name.replace('_', ' ')}"
            yield Refusal.of(Fault(pointer, message, code="out-of-range"))
        elif direction(book, name, value) == LOOSER:
            yield Refusal(pointer, _loosens(book, name, value), witness(book, name, value, shop))
        elif move(book, name, value).verdicts in (LOOSER, MIXED):
            message = f"moving {name} makes some orders' verdicts stricter and others' looser, so a shop cannot move it"
            yield Refusal(pointer, message, witness(book, name, value, shop))


def _loosens(book: Book, name: str, value: float) -> str:
    limit, dimension = book.limits[name], book.limit_dimension(name)
    value_text, now = (units.show(dimension, number) for number in (value, book.limit_values[name]))
    return f"{value_text} is looser than the book's {now}: {name} may only be made {limit.stricter}"


def _stock_refusals(book: Book, house: HouseRules) -> Iterable[Refusal]:
    for kind in ("products", "consumables"):
        for index, name in enumerate(getattr(house.without, kind)):
            if name not in book.catalogue[kind]:
                place, message = f"/without/{kind}/{index}", f"there is no {name!r} in {kind}"
                names = tuple(sorted(book.catalogue[kind]))
                yield Refusal.of(Fault(place, message, names, code="not-in-book", refused=name))


def _added(book: Book, house: HouseRules) -> tuple[dict[str, Rule], list[Refusal]]:
    """The added rules, read against the book, and why others cannot be read."""
    rules: dict[str, Rule] = {}
    refusals: list[Refusal] = []
    for name, table in house.rules.items():
        pointer = f"/rules/{escape(name)}"
        try:
            rule = read_rule(name, {"topic": TOPIC} | dict(table), book.vocabulary, book.sources, book.steps)
        except DocumentError as error:
            refusals += _refused(pointer, error.faults)
            continue
        if rule.instead_of:
            why = "is for the shared book: a shop's own rule speaks beside others, and keeps none of them silent"
            refusals += _refused(pointer, [Fault("/instead_of", why, code="contradiction")])
            continue
        rules[name] = replace(rule, layer=LAYER)
    return rules, refusals


def _example_refusals(laid: Book, rules: Mapping[str, Rule]) -> Iterable[Refusal]:
    for name, rule in rules.items():
        pointer = f"/rules/{escape(name)}"
        never = contradiction(rule.condition, laid.limit_values)
        if never is not None:
            yield Refusal.of(Fault(f"{pointer}/when", never, code="contradiction"))
            continue
        yield from _refused(pointer, rule_failures(rule, laid))


def _refused(pointer: str, faults: Iterable[Fault]) -> list[Refusal]:
    """What is wrong with an entry, as refusals of the document that it stands in."""
    return [Refusal.of(replace(fault, pointer=pointer + fault.pointer)) for fault in faults]


def witness(book: Book, name: str, value: float, shop: Shop | None = None) -> Witness | None:
    """An order whose verdict is more permissive with the limit at ``value``; else one that loses a finding; or None.

    Orders at the limit's edges come first; where they show nothing, those at the boundaries of rules.
    """
    moved = replace(book, limit_values=MappingProxyType({**book.limit_values, name: value}))
    shared = Authority(book, 1)
    loosened = Authority(moved, 1, shared.scales)
    try:
        edges = _witness(shared, loosened, around_limit(book, name, value), shop)
        return edges or _witness(shared, loosened, at_boundaries(book, name), shop)
    finally:
        loosened.close()
        shared.close()


def _witness(shared: Authority, loosened: Authority, orders: Iterable[Question], shop: Shop | None) -> Witness | None:
    weaker: Witness | None = None
    for order, example in orders:
        for at in (shop, example) if shop is not None else (example,):
            # Orders are made for the example shop's presses; another shop is asked whether any of its own will do.
            open_order = replace(order, press=None) if at is not example and isinstance(order.press, str) else order
            before, after = shared.judge_resolved(open_order, at), loosened.judge_resolved(open_order, at)
            lost = tuple(sorted(_ids(before) - _ids(after)))
            witness = Witness(written(open_order), before.verdict, after.verdict, lost)
            if before.firmer_than(after):
                return witness
            if lost and weaker is None:
                weaker = witness
    return weaker


def _ids(weighed: Weighed) -> frozenset[str]:
    return frozenset(match.rule.id for match in weighed.fired)


# -- answering under them ---------------------------------------------------------------------------------------------


class HouseAuthority(Authority):
    """An authority under one shop's house rules. It shares the shared authority's compiled rules: close it before that.

    Raises HouseError where the house rules do not fit the authority's revision.
    """

    def __init__(self, shared: Authority, house: HouseRules, slots: int = 2) -> None:
        self.house, self.shared = house, shared
        super().__init__(apply_house(shared.book, house), slots, shared.scales)

    def _house_digest(self, shop: Shop) -> str:
        return _house_digest(shop, self.house.digest)

    def _stocked(self, shop: Shop) -> Shop:
        without = self.house.without
        return shop.in_use((*without.products, *without.consumables))

    def _judge_case(self, whole: Case, of_order: Weighed, shop: Shop) -> Judged:
        judged = super()._judge_case(whole, of_order, shop)
        return replace(judged, shared=self.shared.judged(whole.order, shop))

    def _findings(self, judged: Judged, *, observed: bool) -> tuple[Finding, ...]:
        """What the shared book alone would not say is marked as the house's, whatever it comes from."""
        shared = judged.shared.weighed if judged.shared is not None else Weighed()
        places = {(match.rule.id, match.pointer) for match in shared.fired}
        own = findings(judged.own.fired, self.book, observed=observed)
        marked = [
            finding if (finding.rule, finding.pointer) in places else replace(finding, layer=LAYER) for finding in own
        ]
        if shared.firmer_than(judged.own):
            there = {(finding.rule, finding.pointer) for finding in own}
            marked += [
                finding
                for finding in findings(shared.fired, self.shared.book, observed=observed)
                if (finding.rule, finding.pointer) not in there
            ]
        return in_order(marked, {**self.shared.book.rules, **self.book.rules})


# As few as authority.house_digest keeps: shops may be large.
@lru_cache(maxsize=64)
def _house_digest(shop: Shop, rules_digest: str) -> str:
    return digest([plain(replace(shop, names=NO_OWN_NAMES)), rules_digest])


__all__ = [
    "NO_HOUSE_RULES",
    "HouseAuthority",
    "HouseError",
    "HouseLimit",
    "HouseRule",
    "HouseRules",
    "Refusal",
    "Without",
    "Witness",
    "apply_house",
    "check_house",
    "read_house",
    "witness",
]
