"""A shop of the collective: its presses, its stock, its samples, what it has standing ready, and the units it reads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import (
    Choice,
    Date,
    Many,
    Name,
    Object,
    Quantity,
    Table,
    Text,
    Whole,
    optional,
    readers_of,
    required,
)
from accord_rules.documents.spelling import as_word
from accord_rules.orders.order import PAINTED, PRESS_HEAT, Care, Item, Press, Settings
from accord_rules.orders.sheet import PEELS, READ_AT, Sheet

STANDING = (
    "birds-near",
    "extraction",
    "flammables-near",
    "heat-gloves",
    "press-guard",
    "trained-operators",
    "two-hand-control",
    "unattended",
)
# What can become of a pressed piece beside good.
FAILURES = (
    "blistered",
    "colour-off",
    "colour-faded",
    "cracked",
    "damaged-item",
    "did-not-bond",
    "ghosted",
    "marked-item",
    "migrated",
    "peeled",
    "scorched",
    "warped",
    "other",
)
_NO_SHEETS: Mapping[str, Sheet] = MappingProxyType({})
_NO_NAMES: Mapping[str, str] = MappingProxyType({})
_NO_FIBRES: Mapping[str, float] = MappingProxyType({})
OWN_NAMES_MOST = 500
SAMPLES_MOST = 200


@dataclass(frozen=True, slots=True)
class Stock:
    """What the shop keeps: transfer products and consumables of the book."""

    products: tuple[str, ...] = required(
        Many(Name(name_of="products"), 200, distinct=True), about="stocked transfer products"
    )
    consumables: tuple[str, ...] = required(
        Many(Name(name_of="consumables"), 60, distinct=True), about="sheets, pads and tapes"
    )
    withdrawn: tuple[str, ...] = optional(
        Many(Name(name_of="products|consumables"), 260, distinct=True),
        (),
        about="products and consumables out of use: never offered, and refused where an order asks for them",
    )
    sheets: Mapping[str, Sheet] = optional(
        Table(Name(name_of="products|transfers"), Object(Sheet), 200, 0),
        _NO_SHEETS,
        about="makers' sheets by product or family; an order's own beats them, they beat the book's",
    )


def _own(name_of: str | None, about: str) -> Any:
    return optional(Table(Text(60, "TS-100-W"), Name(name_of=name_of), OWN_NAMES_MOST, 0), _NO_NAMES, about=about)


@dataclass(frozen=True, slots=True)
class OwnNames:
    """What the shop calls things: its article numbers and words, each for a name of the book or one of its presses.

    Its orders may say them wherever that name may stand; case, spaces and hyphens make no difference.
    """

    blanks: Mapping[str, str] = _own("blanks", "for blanks")
    transfers: Mapping[str, str] = _own("transfers|products", "for families of transfers and stocked products")
    consumables: Mapping[str, str] = _own("consumables", "for sheets, pads and tapes")
    press_types: Mapping[str, str] = _own("press_types", "for types of press")
    presses: Mapping[str, str] = _own(None, "for the shop's own presses, by their ids")

    def by_word(self) -> Mapping[str, Mapping[str, str]]:
        """By field, each word as ``as_word`` writes it, to the name that it stands for."""
        return {f.name: {as_word(word): name for word, name in getattr(self, f.name).items()} for f in fields(self)}


NO_OWN_NAMES = OwnNames()


def _as_order(of: type, field: str, about: str) -> Any:
    """A field that holds what the field of this name in an order may."""
    return optional(readers_of(of)[field][0], about=about)


@dataclass(frozen=True, slots=True)
class SamplePiece:
    """The piece that a sample was pressed on. A described field overrides what the named blank says, as in orders."""

    blank: str | None = _as_order(Item, "blank", "a blank of the book")
    substrate: str | None = _as_order(Item, "substrate", "where no blank says it")
    fibres: Mapping[str, float] = optional(
        Table(Name(name_of="fibres"), readers_of(Item)["fibres"][0].value, 12, 0),  # type: ignore[attr-defined]
        _NO_FIBRES,
        about="percent by ISO 2076 code; sum 100 ± 1; the blank's where left out",
    )
    colour: str | None = _as_order(Item, "colour", "sRGB hex or CSS name")
    coating: str | None = _as_order(Item, "coating", "left out for none")
    finishes: tuple[str, ...] | None = _as_order(Item, "finishes", "textile finishes")
    dye: str | None = _as_order(Item, "dye", "what it is dyed with")
    mass_per_area: float | None = _as_order(Item, "mass_per_area", "")
    thickness: float | None = _as_order(Item, "thickness", "")
    diameter: float | None = _as_order(Item, "diameter", "across the outside of round ware")
    care: str | Care | None = _as_order(Item, "care", "its care label; none where it has none")


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample that the shop pressed and looked at: it stands for the later orders that repeat it (``derive.sample``).

    Where it came out badly, it speaks against those that would.
    """

    id: str = required(Name(), about="the shop's own name for it")
    piece: SamplePiece = required(Object(SamplePiece), about="what it was pressed on")
    transfer: str = required(
        Name(name_of="transfers|products"), about="a stocked product, or a family as orders name it"
    )
    press: str = required(Name(), about="one of the shop's presses")
    temperature: float = required(PRESS_HEAT)
    time: float = required(Quantity(units.TIME), about="the dwell of the main pressing")
    pressure: str | float = required(readers_of(Settings)["pressure"][0], about="a word, or the gauge reading")
    pressed_on: str = required(Date(), about="the day it was pressed")
    looked_at_after: float = required(
        Quantity(units.TIME, hours=True), about="how long after the pressing, last of all"
    )
    failures: tuple[str, ...] = required(
        Many(Choice(FAILURES), len(FAILURES), distinct=True), about="what went wrong; empty where it came out well"
    )
    by: str = required(Text(80), about="who looked at it")
    lot: str | None = optional(Text(60), about="the delivery that its piece was of, as the carton said")
    washes: int = optional(Whole(0, 1000), 0, about="how often it was washed in between")
    read_at: str = optional(Choice(READ_AT), "display", about="where the temperature was read")
    peel: str | None = optional(
        Choice(PEELS), about="how warm it was when the carrier came off; as is usual where left out"
    )
    palette: tuple[str, ...] | None = optional(
        Many(PAINTED, 24, 1), about="the print's colours; needed where dye could rise into light ones"
    )


@dataclass(frozen=True, slots=True)
class Shop:
    """One shop. ``standing`` is what is always so at its presses, for better or worse."""

    id: str = required(Name())
    name: str = required(Text(80), about="what it calls itself")
    market: str = required(Name(name_of="markets"), about="where it stands and sells")
    unit_system: str = required(Choice(tuple(units.UNIT_SYSTEMS)), about="the units it reads answers in")
    standing: tuple[str, ...] = required(
        Many(Choice(STANDING), len(STANDING), distinct=True), about="what is always so at its presses"
    )
    presses: tuple[Press, ...] = required(Many(Object(Press), 40, 1), about="its presses")
    stock: Stock = required(Object(Stock), about="what it keeps")
    names: OwnNames = optional(Object(OwnNames), NO_OWN_NAMES, about="its own words for things of the book")
    samples: tuple[Sample, ...] = optional(
        Many(Object(Sample), SAMPLES_MOST), (), about="samples pressed and looked at, which later orders lean on"
    )

    @property
    def units(self) -> units.UnitPreferences:
        """The units that it reads numbers in."""
        return units.UNIT_SYSTEMS[self.unit_system]

    def in_use(self, without: Iterable[str] = ()) -> Shop:
        """The shop with no more in stock than it uses: what is withdrawn, there or ``without``, is left out."""
        gone = {*self.stock.withdrawn, *without}
        if not gone:
            return self
        products, consumables = (
            tuple(name for name in stocked if name not in gone)
            for stocked in (self.stock.products, self.stock.consumables)
        )
        return replace(
            self, stock=replace(self.stock, products=products, consumables=consumables, withdrawn=tuple(sorted(gone)))
        )

    def press(self, press_id: str) -> Press | None:
        """Its press of this id, or None."""
        return next((press for press in self.presses if press.id == press_id), None)
