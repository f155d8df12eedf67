"""One question being worked out: an order at a shop, then one of its decorations, then that on one press.

Facts are computed when first read and remembered. A case for a decoration leaves the order's facts to its parent,
so that they are worked out once an order, not once a decoration and press.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from accord_rules.documents import units
from accord_rules.orders.order import Decoration, Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import Blank, PressType, Substrate, Transfer
from accord_rules.revision.facts import Ask, Assume, Fact, Scope, declared

if TYPE_CHECKING:
    from accord_rules.derive.setting import Chosen
    from accord_rules.revision.book import Book

_FACTS: Mapping[str, Fact] = declared()


class Sequenced(NamedTuple):
    """The order of pressings found for a whole order: indices first to last, or a sentence on why there is none.

    ``conflicts`` are then the smallest sets of decorations that have no order among themselves. ``total_s`` is the time
    all decorations take at the press, over the whole quantity; None if unknown.
    """

    order: tuple[int, ...]
    clash: str = ""
    total_s: float | None = None
    conflicts: tuple[tuple[int, ...], ...] = ()


class Case(dict[str, Any]):
    """Facts by name, worked out on demand. ``assume=False`` leaves unsaid things unknown instead of assuming.

    It is a dict of the facts known so far, since looking facts up is most of what is done with it. Two cases are never
    equal: each is a question of its own.
    """

    __hash__ = object.__hash__  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        return self is other

    def __bool__(self) -> bool:
        return True

    def __init__(
        self,
        book: Book,
        shop: Shop,
        order: Order,
        *,
        assume: bool = True,
        parent: Case | None = None,
        scope: Scope = Scope.ORDER,
        index: int = 0,
        press: Press | None = None,
        chosen: Chosen | None = None,
        sequence: Sequenced | None = None,
        kept: tuple[dict[str, Any], dict[str, Any]] | None = None,
    ) -> None:
        """``kept``: where facts of the press alone, and those that no setting changes, are kept for the next case."""
        # What is known of the wider scopes holds here too.
        super().__init__(parent if parent is not None else ())
        self._of_press, self._settled = kept or ({}, {})
        self.update(self._of_press)
        self.update(self._settled)
        self.book, self.shop, self.order = book, shop, order
        self.assume, self.parent, self.scope, self.index = assume, parent, scope, index
        self._press, self.chosen, self.sequence = press, chosen, sequence
        self._same_order: Case | None = None  # the case whose order facts these are, see with_transfers
        self._alike: Case | None = None  # see alike
        self._kept_of: dict[int, dict[str, Any]] = {}
        # The whole order has them for all of its decorations.
        self._presses: dict[int, tuple[Press, dict[str, Any]]] = parent._presses if parent is not None else {}
        self._rank = scope.rank
        # Fact functions read these all the time.
        if scope is not Scope.ORDER:
            self.decoration: Decoration = order.decorations[index]
            self.transfer: Transfer | None = book.transfer(self.decoration.transfer)
        if press is not None:
            self.press_type: PressType = book.catalogue["press_types"][press.type]

    # -- narrower cases ------------------------------------------------------------------------------------------

    def with_transfers(self, order: Order) -> Case:
        """The same case for an order that differs in its decorations or press, but not in how many there are.

        The order's own facts do not depend on them, so what is known of them is shared.
        """
        other = Case(self.book, self.shop, order, assume=self.assume)
        other.update(self)
        other._same_order, other._presses = self, self._presses
        return other

    def decoration_case(self, index: int, known: Case | None = None) -> Case:
        """``known``: the decoration's case in an order that differs only in what no fact of a decoration hangs on:
        settings, press, and the transfers of other decorations that it neither lies on nor under."""
        case = Case(
            self.book, self.shop, self.order, assume=self.assume, parent=self, scope=Scope.DECORATION, index=index
        )
        if known is not None:
            case.update(known)
            case._alike = known.alike
        return case

    @property
    def alike(self) -> Case:
        """The first decoration case with the same facts: this one, or the one whose facts it was made from."""
        return self if self._alike is None else self._alike

    def pressing_case(self, press: Press, chosen: Chosen | None = None, sequence: Sequenced | None = None) -> Case:
        if self.scope is not Scope.DECORATION:
            raise ValueError("a pressing belongs to one decoration")
        # By identity: a press holds too much to be hashed each time, and is kept beside its facts, so that none takes
        # its place.
        _, of_press = self._presses.setdefault(id(press), (press, {}))
        settled = self._kept_of.setdefault(id(press), {})
        return Case(
            self.book,
            self.shop,
            self.order,
            assume=self.assume,
            parent=self,
            scope=Scope.PRESSING,
            index=self.index,
            press=press,
            chosen=chosen,
            sequence=sequence,
            kept=(of_press, settled),
        )

    def in_sequence(self, sequence: Sequenced) -> Case:
        """This pressing, of which nothing was asked yet that hangs on the order of pressings, with that order."""
        if self.sequence is not None:
            raise ValueError("this pressing has its place already")
        self.sequence = sequence
        return self

    # -- facts ---------------------------------------------------------------------------------------------------

    def __missing__(self, name: str) -> Any:
        """A fact that is not known yet, or what is assumed in its place."""
        fact = _FACTS[name]
        if fact.rank != self._rank:
            if self.parent is None or fact.rank > self._rank:
                raise KeyError(f"{name} cannot be known for {self.scope.value}")
            value = self[name] = self.parent[name]
            return value
        if self._same_order is not None:
            value = self[name] = self._same_order[name]
            return value
        value = fact.compute(self)
        if value is None and self.assume and isinstance(fact.missing, Assume):
            value = fact.missing.holds(self)
        self[name] = value
        if fact.of_press:
            self._of_press[name] = value
        elif fact.settled:
            self._settled[name] = value
        return value

    def get(self, name: str, default: Any = None) -> Any:
        """The fact, as sentences read it; worked out if need be."""
        return self[name]

    def facts(self, names: Sequence[str]) -> dict[str, Any]:
        """The named facts; None where unknown."""
        return dict(zip(names, map(self.__getitem__, names), strict=True))

    def declared_facts(self) -> Iterable[Fact]:
        return _FACTS.values()

    def causes(self, name: str) -> Mapping[str, Ask | Assume]:
        """Why a fact is not known from the order itself: JSON Pointer to what would have said it."""
        found: dict[str, Ask | Assume] = {}
        self._collect_causes(name, found, set())
        return found

    def _collect_causes(self, name: str, found: dict[str, Ask | Assume], seen: set[str]) -> None:
        if name in seen:
            return
        seen.add(name)
        fact = _FACTS[name]
        owner = _Listening(self._owner(fact))
        raw = fact.compute(owner)
        if raw is None and fact.missing is not None:
            pointer = fact.missing.pointer.replace("{i}", str(self.index))
            found.setdefault(pointer, _asked_or_assumed(fact.missing, owner))
        for each in sorted(owner.read):
            self._collect_causes(each, found, seen)

    def _owner(self, fact: Fact) -> Case:
        case: Case = self
        while case.scope is not fact.scope and case.parent is not None:
            case = case.parent
        return case

    # -- what fact functions read --------------------------------------------------------------------------------

    def limit(self, name: str) -> float:
        return self.book.limit_values[name]

    def show(self, dimension: units.Dimension, value: float) -> str:
        return units.show(dimension, value, self.shop.units)

    def entry(self, kind: str, name: str) -> Any:
        return self.book.catalogue[kind][name]

    @property
    def blank(self) -> Blank | None:
        name = self.order.item.blank
        return None if name is None else self.book.catalogue["blanks"][name]

    def said(self, field: str) -> Any:
        """What the order says of the item, else what its blank says, else None."""
        described = getattr(self.order.item, field)
        if described is not None or self.blank is None:
            return described
        return getattr(self.blank, field)

    @property
    def substrate(self) -> Substrate | None:
        name = self["item.substrate"]
        return None if name is None else self.book.catalogue["substrates"][name]

    @property
    def press(self) -> Press:
        if self._press is None:
            raise KeyError("no press in this case")
        return self._press


class _Listening(Case):
    """A case that notes which facts are read of it."""

    def __init__(self, case: Case) -> None:
        dict.__init__(self, case)
        self.__dict__.update(case.__dict__)
        self.read: set[str] = set()

    def __getitem__(self, name: str) -> Any:
        self.read.add(name)
        return super().__getitem__(name)


def _asked_or_assumed(missing: Ask | Assume, case: Case) -> Ask | Assume:
    """What stands in for an unsaid thing here: an assumption that cannot be made turns into its question."""
    if isinstance(missing, Assume) and missing.question and missing.holds(case) is None:
        return Ask(missing.pointer, missing.question)
    return missing
