"""One question being worked out: an order at a shop, then one of its decorations, then that on one press.

Facts are computed when first read and remembered. A case for a decoration leaves the order's facts to its parent,
so that they are worked out once an order, not once a decoration and press.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from accord_rules import units
from accord_rules.catalogue import Blank, PressType, Substrate, Transfer
from accord_rules.facts import Ask, Assume, Fact, Scope, declared
from accord_rules.order import Decoration, Order, Press
from accord_rules.shop import Shop

if TYPE_CHECKING:
    from accord_rules.derive.setting import Chosen
    from accord_rules.settings import Settings

_UNSET: Any = object()


@dataclass(frozen=True, slots=True)
class Sequenced:
    """The order of pressings found for a whole order: indices first to last, or a sentence on why there is none.

    ``conflicts`` are then the smallest sets of decorations that have no order among themselves. ``total_s`` is the time
    all decorations take at the press, over the whole quantity; None if unknown.
    """

    order: tuple[int, ...]
    clash: str = ""
    total_s: float | None = None
    conflicts: tuple[tuple[int, ...], ...] = ()


class Case:
    """Facts by name, worked out on demand. ``assume=False`` leaves unsaid things unknown instead of assuming."""

    def __init__(
        self,
        settings: Settings,
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
        settled: dict[str, Any] | None = None,
    ) -> None:
        """``settled``: where facts that no setting changes are kept for the next case of this decoration and press."""
        self.settings, self.shop, self.order = settings, shop, order
        self.assume, self.parent, self.scope, self.index = assume, parent, scope, index
        self._press, self._chosen, self.sequence = press, chosen, sequence
        self._facts: Mapping[str, Fact] = declared()
        # What is known of the wider scopes holds here too.
        self._known: dict[str, Any] = dict(parent._known) if parent is not None else {}
        self._settled = settled
        if settled is not None:
            self._known.update(settled)
        self._of_presses: dict[int, tuple[Press, dict[str, Any]]] = {}
        self._rank = scope.rank
        self._trace: list[set[str]] = []

    # -- narrower cases ------------------------------------------------------------------------------------------

    def with_transfers(self, order: Order) -> Case:
        """The same case for an order that differs in its decorations or press, but not in how many there are.

        The order's own facts do not depend on them, so what is known of them is shared.
        """
        other = Case(self.settings, self.shop, order, assume=self.assume)
        other._known = self._known
        return other

    def decoration_case(self, index: int) -> Case:
        return Case(
            self.settings, self.shop, self.order, assume=self.assume, parent=self, scope=Scope.DECORATION, index=index
        )

    def pressing_case(self, press: Press, chosen: Chosen | None = None, sequence: Sequenced | None = None) -> Case:
        if self.scope is not Scope.DECORATION:
            raise ValueError("a pressing belongs to one decoration")
        # By identity: a press holds too much to be hashed each time, and is kept beside its facts, so that none takes
        # its place.
        _, settled = self._of_presses.setdefault(id(press), (press, {}))
        return Case(
            self.settings,
            self.shop,
            self.order,
            assume=self.assume,
            parent=self,
            scope=Scope.PRESSING,
            index=self.index,
            press=press,
            chosen=chosen,
            sequence=sequence,
            settled=settled,
        )

    # -- facts ---------------------------------------------------------------------------------------------------

    def __getitem__(self, name: str) -> Any:
        if self._trace:
            self._trace[-1].add(name)
        known = self._known.get(name, _UNSET)
        if known is not _UNSET:
            return known
        fact = self._facts[name]
        if fact.rank != self._rank:
            if self.parent is None or fact.rank > self._rank:
                raise KeyError(f"{name} cannot be known for {self.scope.value}")
            value = self.parent[name]
        else:
            value = fact.compute(self)
            if value is None and self.assume and isinstance(fact.missing, Assume):
                value = fact.missing.value
                if callable(value):
                    value = value(self)
        self._known[name] = value
        if fact.settled and self._settled is not None:
            self._settled[name] = value
        return value

    def get(self, name: str) -> Any:
        """The fact, as sentences read it."""
        return self[name]

    def facts(self, names: Iterable[str]) -> dict[str, Any]:
        """The named facts; None where unknown."""
        if self._trace:
            return {name: self[name] for name in names}
        known = self._known
        return {name: known[name] if name in known else self[name] for name in names}

    def declared_facts(self) -> Iterable[Fact]:
        return self._facts.values()

    def causes(self, name: str) -> Mapping[str, Ask | Assume]:
        """Why a fact is not known from the order itself: JSON Pointer to what would have said it."""
        found: dict[str, Ask | Assume] = {}
        self._collect_causes(name, found, set())
        return found

    def _collect_causes(self, name: str, found: dict[str, Ask | Assume], seen: set[str]) -> None:
        if name in seen:
            return
        seen.add(name)
        fact = self._facts[name]
        owner = self._owner(fact)
        owner._trace.append(set())
        try:
            raw = fact.compute(owner)
        finally:
            read = owner._trace.pop()
        if raw is None and fact.missing is not None:
            pointer = fact.missing.pointer.replace("{i}", str(self.index))
            found.setdefault(pointer, _asked_or_assumed(fact.missing, owner))
        for each in sorted(read):
            self._collect_causes(each, found, seen)

    def _owner(self, fact: Fact) -> Case:
        case: Case = self
        while case.scope is not fact.scope and case.parent is not None:
            case = case.parent
        return case

    # -- what fact functions read --------------------------------------------------------------------------------

    def limit(self, name: str) -> float:
        return self.settings.limit_values[name]

    def show(self, dimension: units.Dimension, value: float) -> str:
        return units.show(dimension, value, self.shop.units)

    def entry(self, kind: str, name: str) -> Any:
        return self.settings.catalogue[kind][name]

    @property
    def blank(self) -> Blank | None:
        name = self.order.item.blank
        return None if name is None else self.settings.catalogue["blanks"][name]

    def said(self, field: str) -> Any:
        """What the order says of the item, else what its blank says, else None."""
        described = getattr(self.order.item, field)
        if described is not None or self.blank is None:
            return described
        return getattr(self.blank, field)

    @property
    def substrate(self) -> Substrate | None:
        name = self["item.substrate"]
        return None if name is None else self.settings.catalogue["substrates"][name]

    @property
    def decoration(self) -> Decoration:
        return self.order.decorations[self.index]

    @property
    def transfer(self) -> Transfer | None:
        return self.settings.transfer(self.decoration.transfer)

    @property
    def press(self) -> Press:
        if self._press is None:
            raise KeyError("no press in this case")
        return self._press

    @property
    def press_type(self) -> PressType:
        found: PressType = self.settings.catalogue["press_types"][self.press.type]
        return found

    @property
    def chosen(self) -> Chosen | None:
        return self._chosen


def _asked_or_assumed(missing: Ask | Assume, case: Case) -> Ask | Assume:
    """What stands in for an unsaid thing here: an assumption that cannot be made turns into its question."""
    if isinstance(missing, Assume) and missing.question and missing.value(case) is None:
        return Ask(missing.pointer, missing.question)
    return missing
