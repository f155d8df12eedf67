"""What new rules make of the work that a question takes, before they are taken.

A rule may be sound to the letter and still make questions dear: one that blocks whatever the settings has every setting
tried on every press. So plain orders with their settings open are judged with and without the new rules, and the
weighings counted, which are the same on any machine. From them follows what the largest order takes: as many prints as
an order may have on as many presses as a shop may have, since a shop that buys a press must not find that its own rules
have become too dear. CPU seconds are no more than a backstop, for what weighings do not count.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents.reading import DocumentError, Fault, escape, readers_of
from accord_rules.governance.changes import ChangeError, EntryChange
from accord_rules.governance.house import HouseAuthority, HouseError, HouseRules, Refusal
from accord_rules.load.examples import example_order
from accord_rules.orders.order import PRINTS_MOST, Decoration, Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.rule import Rule
from accord_rules.weigh.scales import WEIGHINGS_MOST

# The largest shop.
PRESSES_MOST: int = readers_of(Shop)["presses"][0].most  # type: ignore[attr-defined]
# Beyond what any other part of a question may take, new rules may have the largest order weighed this often what the
# book alone has it weighed.
GROWTH_MOST = 2
# Orders that are tried on each type of press, the new rules' own examples first; those of one rule; types of press.
TELLING_MOST, OF_A_RULE_MOST, TYPES_MOST = 40, 3, 3
TRIAL_CPU_S = 2.0


@dataclass(frozen=True, slots=True)
class Effort:
    """How often the largest order would be weighed at its dearest: by the book alone, and with the new rules.

    ``cut``: whether the CPU seconds were used up before all was tried.
    """

    before: int = 0
    after: int = 0
    cut: bool = False

    @property
    def too_dear(self) -> bool:
        """Whether the new rules are not to be taken."""
        return self.cut or self.after > max(WEIGHINGS_MOST, GROWTH_MOST * self.before)

    @property
    def why(self) -> str:
        """The refusal, in a sentence."""
        if self.cut:
            return f"judging some plain orders by these rules takes more than {TRIAL_CPU_S:g} CPU seconds"
        return (
            f"with these rules an order of {PRINTS_MOST} prints on {PRESSES_MOST} presses may take {self.after:,}"
            f" weighings, and {self.before:,} without them; at most {WEIGHINGS_MOST:,}, or {GROWTH_MOST} times what it"
            " takes without them, are allowed. A rule that blocks whatever the settings has every setting tried: say"
            " for which pieces or transfers it holds, and leave the settings out"
        )

    def or_dearer(self, before: int, after: int) -> Effort:
        """This one, or what another pressing comes to where that is dearer."""
        return max(self, Effort(before, after), key=lambda effort: effort.after)


def effort(before: Authority, after: Authority, rules: Iterable[Rule], shop: Shop) -> Effort:
    """What ``rules``, which are new in ``after``, make of the work, on a bench press and on presses as the shop has.

    Ends with the first order that is too dear.
    """
    book, until_s, most = after.book, time.thread_time() + TRIAL_CPU_S, Effort()
    presses = _of_each_type([*book.example_shop.presses, *shop.presses])
    whole = replace(
        shop,
        presses=presses,
        stock=replace(
            shop.stock, products=tuple(book.catalogue["products"]), consumables=tuple(book.catalogue["consumables"])
        ),
    )
    tried = [(order, press) for order in islice(_telling(book, rules), TELLING_MOST) for press in presses]
    tried += [(order, presses[0]) for order in _of_each_transfer(book)]
    for order, press in tried:
        if time.thread_time() > until_s:
            return replace(most, cut=True)
        counts = _weighed(before, after, replace(order, press=press.id), whole)
        most = most.or_dearer(*map(_of_largest, counts))
        if most.too_dear:
            return most
    return most


def _weighed(before: Authority, after: Authority, order: Order, shop: Shop) -> tuple[int, int]:
    """Weighings of one order of one print on one press."""
    alone, with_them = before.scales.weighings, after.scales.weighings
    after.judged(order, shop)
    if before.scales.weighings == alone:  # house rules are asked beside the book alone, others instead of it
        before.judged(order, shop)
    return before.scales.weighings - alone, after.scales.weighings - with_them


def _of_largest(weighings: int) -> int:
    """Of the largest order, where one print on one press takes so many: the order and each print are weighed once."""
    return 1 + PRINTS_MOST + (weighings - 2) * PRINTS_MOST * PRESSES_MOST


def _of_each_type(presses: Sequence[Press]) -> tuple[Press, ...]:
    """The first of each type, called by it."""
    first = {press.type: press for press in reversed(presses)}
    types = dict.fromkeys(press.type for press in presses)
    return tuple(replace(first[type_], id=type_) for type_ in islice(types, TYPES_MOST))


def _telling(book: Book, rules: Iterable[Rule]) -> Iterator[Order]:
    """Orders of one print with its settings open: those in which the new rules find something, and of each kind of
    goods a plain one."""
    for rule in rules:
        yield from islice(_firing(book, rule), OF_A_RULE_MOST)
    yield from _opened(book, {})
    kinds = {
        book.catalogue["substrates"][blank.substrate].family: name for name, blank in book.catalogue["blanks"].items()
    }
    for blank in kinds.values():
        yield from _opened(book, {"item": {"blank": blank}})


def _of_each_transfer(book: Book) -> Iterator[Order]:
    """A plain order of each family of transfers."""
    for transfer in book.catalogue["transfers"]:
        yield from _opened(book, {"decoration": {"transfer": transfer}})


def _firing(book: Book, rule: Rule) -> Iterator[Order]:
    for example in rule.fires:
        if "facts" not in example:
            yield from _opened(book, example)


def _opened(book: Book, example: Mapping[str, Any]) -> Iterator[Order]:
    """The order of an example, one print of it, with no settings; nothing where the book cannot read it."""
    try:
        order, _ = example_order(example, book)
    except DocumentError:
        return
    first: Decoration = order.decorations[0]
    yield replace(order, decorations=(replace(first, settings=None, over=None),), reference=None)


# -- for whom it is ---------------------------------------------------------------------------------------------------


def refuse_dear_house(shared: Authority, house: HouseRules, shop: Shop) -> None:
    """Raises HouseError for house rules, sound otherwise, under which questions would be too dear."""
    own = HouseAuthority(shared, house)
    try:
        rules = [rule for name, rule in own.book.rules.items() if name in house.rules]
        told = effort(shared, own, rules, shop)
    finally:
        own.close()
    if told.too_dear:
        raise HouseError([Refusal(_place(house), told.why, code="too-dear")])


def _place(house: HouseRules) -> str:
    """The one rule that it can be due to, or all of them."""
    return f"/rules/{escape(next(iter(house.rules)))}" if len(house.rules) == 1 else "/rules"


def refuse_dear_changes(old: Book, new: Book, changes: Iterable[EntryChange]) -> None:
    """Raises ChangeError for changes of a book, sound otherwise, under which questions would be too dear.

    Only rules, and the limits that they compare with, are looked at.
    """
    touched = [(index, change) for index, change in enumerate(changes) if change.kind in ("rules", "limits")]
    if not touched:
        return
    before, after = Authority(old), Authority(new)
    try:
        rules = [new.rules[change.id] for _, change in touched if change.kind == "rules" and change.id in new.rules]
        told = effort(before, after, rules, new.example_shop)
    finally:
        before.close()
        after.close()
    if told.too_dear:
        raise ChangeError([Fault(f"/changes/{touched[0][0]}", told.why, code="too-dear")])
