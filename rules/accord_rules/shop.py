"""A shop of the collective: its presses, its stock, what it has standing ready, and the units it reads."""

from __future__ import annotations

from dataclasses import dataclass

from accord_rules import units
from accord_rules.order import MARKETS, Press
from accord_rules.reading import Choice, Many, Name, Object, Text, given

STANDING = (
    "birds-near",
    "extraction",
    "flammables-near",
    "heat-gloves",
    "trained-operators",
    "two-hand-control",
    "unattended",
)


@dataclass(frozen=True, slots=True)
class Stock:
    """What the shop keeps: transfer products and consumables of the book."""

    products: tuple[str, ...] = given(Many(Name(name_of="products"), 200, distinct=True))
    consumables: tuple[str, ...] = given(Many(Name(name_of="consumables"), 60, distinct=True))


@dataclass(frozen=True, slots=True)
class Shop:
    """One shop. ``standing`` is what is always so at its presses, for better or worse."""

    id: str = given(Name())
    name: str = given(Text(80))
    market: str = given(Choice(MARKETS))
    unit_system: str = given(Choice(tuple(units.UNIT_SYSTEMS)))
    standing: tuple[str, ...] = given(Many(Choice(STANDING), 7, distinct=True))
    presses: tuple[Press, ...] = given(Many(Object(Press), 40, 1))
    stock: Stock = given(Object(Stock))

    @property
    def units(self) -> units.UnitPreferences:
        return units.UNIT_SYSTEMS[self.unit_system]

    def press(self, press_id: str) -> Press | None:
        return next((press for press in self.presses if press.id == press_id), None)
