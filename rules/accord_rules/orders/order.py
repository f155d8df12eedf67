"""What is asked: an order, as frozen dataclasses read from a strict document (see ``documents.reading``).

Quantities are held in their inside units (``documents.units``). ``None`` means "not said", which is never the same as
"no": each fact derived from it says whether it asks or assumes (``derive``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import sqrt
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import (
    Choice,
    ColourText,
    Date,
    Either,
    Flag,
    Many,
    Name,
    Number,
    Object,
    Quantity,
    Table,
    Text,
    Whole,
    optional,
    required,
)
from accord_rules.orders.sheet import PEELS, PRESSURES, READ_AT, Sheet
from accord_rules.orders.sizes import GarmentSizeText

REFERENCE = Text(80, "HL-1043")
PRINTS_MOST = 12
# "disperse" leaves the dye's class open; "sublimated" cloth was coloured all over by transfer; "solution" is dope-dyed.
DYES = (
    "undyed",
    "disperse",
    "disperse-low-energy",
    "disperse-medium-energy",
    "disperse-high-energy",
    "sublimated",
    "fluorescent",
    "reactive",
    "direct",
    "acid",
    "vat",
    "pigment",
    "solution",
)
PIECE_KINDS = ("garment", "headwear", "bag", "homeware", "hard-good", "drinkware", "paper-good", "accessory")
FEATURES = (
    "battery",
    "button",
    "collar",
    "drawstring",
    "elastic-waist",
    "electronics",
    "embroidery",
    "eyelets",
    "hood",
    "liquid-filled",
    "magnet",
    "neck-cord",
    "placket",
    "pocket",
    "pressurised",
    "reflective-tape",
    "sealed-cavity",
    "seam",
    "small-parts",
    "taped-seam",
    "zip",
)
# Features for which a rule refuses the heat itself, whatever is printed.
HURTFUL_FEATURES = frozenset({"battery", "electronics", "liquid-filled", "pressurised", "sealed-cavity"})
# Features by which a cord hangs on a piece: they count on a child's, wherever the print lies.
CORDS = frozenset({"drawstring", "hood", "neck-cord"})
# Of a named blank, features that no order says away: they hurt somebody wherever on the piece they sit.
STAYING_FEATURES = HURTFUL_FEATURES | CORDS | {"magnet", "small-parts"}
PREPARATIONS = (
    "lint-rolled",
    "pre-washed",
    "primer",
    "protective-film-off",
    "sample-tested",
    "solvent-wiped-dry",
    "solvent-wiped-wet",
)
USES = (
    "buoyancy-aid",
    "childcare",
    "drinkware",
    "flame-resistant",
    "food-contact",
    "high-visibility",
    "medical",
    "outdoor",
    "pet",
    "protective",
    "sleepwear",
    "sportswear",
    "toy",
    "workwear",
)
CUTS = ("fitted", "loose")
EVIDENCE = (
    "adhesion-test",
    "cord-declaration",
    "cord-taken-out",
    "customer-accepts-faded-look",
    "flammability-test",
    "food-contact-declaration",
    "lead-declaration",
    "lead-test",
    "magnet-declaration",
    "maker-consent",
    "nickel-declaration",
    "phthalate-test",
    "sample-test",
    "small-parts-test",
    "small-parts-warning",
    "supplier-declaration",
    "toy-test",
)
PLACEMENTS = (
    "all-round",
    "back",
    "base",
    "crown",
    "face",
    "food-face",
    "front",
    "hood",
    "inside",
    "left-chest",
    "leg",
    "reverse",
    "rim",
    "sleeve",
    "yoke",
)
# What can print or cut artwork, and what people call it.
PRINTER_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "cutter": "a cutter",
        "inkjet-dye": "an inkjet with dye ink",
        "inkjet-pigment": "an inkjet with pigment ink",
        "inkjet-sublimation": "an inkjet with sublimation ink",
        "laser-sublimation": "a laser printer with sublimation toner",
        "laser-toner": "a laser printer",
        "screen": "screen printing",
        "supplier": "a supplier",
    }
)
PRINTERS = tuple(PRINTER_WORDS)
NO_LABEL = "none"
NONE = "none"  # said of a cover, pad or tape that is deliberately left out
# What the surface of a platen is read with.
CONTACT_PROBE, INFRARED, STRIP = "contact-probe", "infrared", "strip"
INSTRUMENTS = (CONTACT_PROBE, INFRARED, STRIP)
PREFERENCES = ("durability", "hand", "speed", "cost")
# °C on a press: what is set and what is read there.
PRESS_HEAT = Quantity(units.TEMPERATURE, most=units.PRESS_MOST_C)
PAINTED = ColourText(40, example="#F4F4F0")


@dataclass(frozen=True, slots=True)
class Size:
    """Width and height, mm."""

    width: float = required(Quantity(units.LENGTH))
    height: float = required(Quantity(units.LENGTH))


@dataclass(frozen=True, slots=True)
class Care:
    """The care label: iron dots (0 = do not iron) and the ISO 3758 edition if it is known."""

    iron: int = required(Whole(0, 3), about="dots of the iron; 0 for do not iron")
    edition: int | None = optional(Whole(1991, 2100), about="edition of ISO 3758 that the label follows")


def _is_none(value: Any) -> bool:
    return bool(value == NO_LABEL)


@dataclass(frozen=True, slots=True)
class Item:
    """The piece to be decorated. A described field overrides what the named blank says."""

    blank: str | None = optional(Name(name_of="blanks"), about="a blank of the book")
    kind: str | None = optional(Choice(PIECE_KINDS), about="what kind of piece, where no blank says it")
    substrate: str | None = optional(Name(name_of="substrates"))
    fibres: Mapping[str, float] | None = optional(
        Table(Text(40, "CO"), Number(0.1, 100), most=12), about="percent by ISO 2076 code or name; sum 100 ± 1"
    )
    colour: str | None = optional(PAINTED, about="sRGB hex or CSS name")
    coating: str | None = optional(Name(name_of="coatings"))
    finishes: tuple[str, ...] | None = optional(
        Many(Name(name_of="finishes"), 8, distinct=True), about="textile finishes"
    )
    dye: str | None = optional(Choice(DYES), about="what the piece is dyed with")
    mass_per_area: float | None = optional(Quantity(units.AREA_DENSITY))
    thickness: float | None = optional(Quantity(units.LENGTH))
    diameter: float | None = optional(Quantity(units.LENGTH), about="across the outside of round ware")
    lot: str | None = optional(
        Text(60), about="the delivery it is of, as its carton says; samples hold for their own lot"
    )
    care: str | Care | None = optional(
        Either(_is_none, Choice((NO_LABEL,)), Object(Care), (NO_LABEL,)), about="the care label; none where it has none"
    )
    features: tuple[str, ...] | None = optional(
        Many(Choice(FEATURES), len(FEATURES), distinct=True),
        about="raised, fragile or dangerous things in the pressed area; a named blank keeps its own battery or liquid",
    )
    already: tuple[str, ...] | None = optional(
        Many(Name(name_of="transfers"), 8, distinct=True), about="decorations the item carries from before"
    )
    preparation: tuple[str, ...] | None = optional(
        Many(Choice(PREPARATIONS), 7, distinct=True), about="what was done to the piece before"
    )


@dataclass(frozen=True, slots=True)
class Use:
    """Who will use the piece, and for what. Ages in years."""

    age_from: float | None = optional(Number(0, 120), about="age of the youngest user, in years")
    age_to: float | None = optional(Number(0, 120), about="age of the oldest user, in years")
    kinds: tuple[str, ...] | None = optional(Many(Choice(USES), 14, distinct=True), about="what the piece is for")
    market: str | None = optional(Name(name_of="markets"), about="where it will be sold; the shop's own when left out")
    size_from: str | None = optional(
        GarmentSizeText(), about="the smallest size, as labels of children's garments have it"
    )
    size_to: str | None = optional(GarmentSizeText(), about="the largest size")
    cut: str | None = optional(Choice(CUTS), about="of nightwear: cut to fit tightly all over, or loose")
    worn_over: bool | None = optional(
        Flag(),
        about="whether it is worn over other clothes; as the blank is where left out, else taken to lie on the skin",
    )


@dataclass(frozen=True, slots=True)
class Artwork:
    """What the print looks like and how it was made."""

    colours: int | None = optional(Whole(1, 1000), about="how many colours")
    white: bool | None = optional(Flag(), about="white areas in the artwork")
    light: bool | None = optional(
        Flag(), about="a colour light enough to show dye that bleeds into it; where there is a palette, that says it"
    )
    gradient: bool | None = optional(Flag(), about="gradients or photographs")
    finest_line: float | None = optional(Quantity(units.LENGTH))
    small_pieces: bool | None = optional(Flag(), about="small isolated pieces, such as dots and thin serifs")
    mirrored: bool | None = optional(Flag(), about="the print on the carrier is a mirror image")
    palette: tuple[str, ...] | None = optional(Many(PAINTED, 24, 1), about="the colours, as sRGB hex or CSS names")
    printed_by: str | None = optional(Choice(PRINTERS), about="what printed or cut it")


def _is_a_word(value: Any) -> bool:
    return value in PRESSURES


@dataclass(frozen=True, slots=True)
class PressingSettings:
    """Settings asked for in a pressing beside the main one; left out, as the main pressing's or chosen."""

    temperature: float | None = optional(PRESS_HEAT, about="for the display")
    time: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    pressure: str | None = optional(Choice(PRESSURES), about="on the print")
    peel: str | None = optional(Choice(PEELS), about="how warm it is when what carries or covers it comes off")
    cover: str | None = optional(Name(name_of="consumables"), about="what lies between platen and print")


@dataclass(frozen=True, slots=True)
class Pressings:
    """Settings of the pressings beside the main one, by name."""

    marry: PressingSettings | None = optional(Object(PressingSettings), about="two sheets are pressed together")
    adhesive: PressingSettings | None = optional(Object(PressingSettings), about="the adhesive goes on first")
    tack: PressingSettings | None = optional(Object(PressingSettings), about="just until it stays where it lies")
    reverse: PressingSettings | None = optional(Object(PressingSettings), about="from the back of the piece")
    again: PressingSettings | None = optional(Object(PressingSettings), about="once more after the peel")


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings asked for. Anything left out is chosen inside what is allowed."""

    temperature: float | None = optional(PRESS_HEAT)
    read_at: str | None = optional(Choice(READ_AT), about="where the temperature is read; display when left out")
    time: float | None = optional(Quantity(units.TIME))
    pressure: str | float | None = optional(
        Either(_is_a_word, Choice(PRESSURES), Quantity(units.PRESSURE), PRESSURES), about="a word, or the gauge reading"
    )
    peel: str | None = optional(Choice(PEELS), about="how warm the carrier is when it is peeled off")
    cover: str | None = optional(Name(name_of="consumables"), about="what lies between platen and print")
    pad: str | None = optional(Name(name_of="consumables"), about="what lies under the item")
    tape: str | None = optional(Name(name_of="consumables"), about="what holds the carrier in place")
    pre_press: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    second_press: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    pressings: Pressings | None = optional(Object(Pressings), about="those beside the main one")


@dataclass(frozen=True, slots=True)
class Decoration:
    """One print on the piece."""

    transfer: str | None = optional(Name(name_of="transfers|products"), about="a family or a stocked product")
    placement: str | None = optional(Choice(PLACEMENTS), about="where on the piece")
    size: Size | None = optional(Object(Size), about="of the print")
    artwork: Artwork | None = optional(Object(Artwork), about="what is printed")
    settings: Settings | None = optional(Object(Settings), about="settings asked for")
    over: int | None = optional(Whole(0, 11), about="index of the decoration of this order that it lies on")
    rim_distance: float | None = optional(Quantity(units.LENGTH, zero=True), about="from the print to the drinking rim")
    sheet: Sheet | None = optional(Object(Sheet), about="what the maker of the transfer says of its settings")


@dataclass(frozen=True, slots=True)
class CalibrationReading:
    """What a probe read on the platen while the display said ``display``; several spots. °C."""

    display: float = required(PRESS_HEAT)
    surface: tuple[float, ...] = required(Many(PRESS_HEAT, 25, 1), about="what the probe read, spot by spot")
    taken_on: str | None = optional(Date(), about="the day it was read")
    instrument: str | None = optional(
        Choice(INSTRUMENTS), about="what it was read with; a contact probe where left out"
    )


@dataclass(frozen=True, slots=True)
class StripReading:
    """What a temperature strip read on a dry piece, where the print would lie, ``time`` after the press came down."""

    display: float = required(PRESS_HEAT)
    time: float = required(Quantity(units.TIME))
    read: float = required(PRESS_HEAT, about="what the strip showed at most")
    substrate: str = required(Name(name_of="substrates"), about="of the piece it lay on")
    thickness: float | None = optional(Quantity(units.LENGTH), about="of that piece; the substrate's usual one else")
    cover: str | None = optional(Name(name_of="consumables"), about="what lay over the strip; nothing where left out")


@dataclass(frozen=True, slots=True)
class Cylinder:
    """A pneumatic press's cylinders, from which the force on the print follows."""

    bore: float = required(Quantity(units.LENGTH))
    count: int = optional(Whole(1, 8), 1, about="how many cylinders")
    line_least: float = required(Quantity(units.PRESSURE), kw_only=True)
    line_most: float = required(Quantity(units.PRESSURE), kw_only=True)


@dataclass(frozen=True, slots=True)
class Circuit:
    """The circuit the press is plugged into; ``other_load`` is what else runs on it."""

    rating: float = required(Quantity(units.CURRENT))
    voltage: float = required(Quantity(units.VOLTAGE))
    other_load: float = optional(Quantity(units.POWER, zero=True), 0.0)
    three_phase: bool = optional(Flag(), False, about="whether it has three phases; the voltage is then between two")
    fuse: float | None = optional(Quantity(units.CURRENT), about="of the press's plug, where it has one")

    @property
    def watts_per_ampere(self) -> float:
        """Power for each ampere of a line, W/A: V, or √3 V on three phases."""
        return self.voltage * (sqrt(3) if self.three_phase else 1)


@dataclass(frozen=True, slots=True)
class Press:
    """A press: one of the shop's, or described in an order. What is left out is the press type's usual value."""

    type: str = required(Name(name_of="press_types"))
    id: str = optional(Name(), "described")
    platen: Size | None = optional(Object(Size), about="of the heated platen")
    display_most: float | None = optional(PRESS_HEAT, about="the highest display setting")
    calibration: tuple[CalibrationReading, ...] = optional(
        Many(Object(CalibrationReading), 12), (), about="probe readings"
    )
    strips: tuple[StripReading, ...] = optional(
        Many(Object(StripReading), 12), (), about="strip readings on pieces, which narrow the heat estimate"
    )
    cylinder: Cylinder | None = optional(Object(Cylinder), about="of a pneumatic press")
    plates: tuple[Size, ...] = optional(
        Many(Object(Size), 12), (), about="lower plates it can be fitted with beside its own, such as for sleeves"
    )
    opening: float | None = optional(Quantity(units.LENGTH))
    power: float | None = optional(Quantity(units.POWER))
    voltage: float | None = optional(Quantity(units.VOLTAGE), about="nameplate voltage")
    circuit: Circuit | None = optional(Object(Circuit), about="the circuit it is plugged into")
    calibration_age: float | None = optional(Number(0, 36_500), about="days since the oldest reading")


def _is_a_string(value: Any) -> bool:
    return isinstance(value, str)


@dataclass(frozen=True, slots=True)
class Order:
    """One job: a piece, its decorations, who it is for, and on which press if that is known."""

    item: Item = required(Object(Item), about="the piece")
    decorations: tuple[Decoration, ...] = required(Many(Object(Decoration), PRINTS_MOST, 1), about="the prints on it")
    reference: str | None = optional(REFERENCE, about="the shop's own; echoed, never interpreted")
    use: Use | None = optional(Object(Use), about="who will use it, and for what")
    press: str | Press | None = optional(
        Either(_is_a_string, Name(), Object(Press)), about="one of the shop's presses, or a description"
    )
    quantity: int | None = optional(Whole(1, 1_000_000), about="how many pieces")
    due_in: float | None = optional(Quantity(units.TIME, hours=True))
    pressed_on: str | None = optional(
        Date(), about="the day it is to be pressed, by which a sample on record is old or is not"
    )
    evidence: tuple[str, ...] | None = optional(
        Many(Choice(EVIDENCE), len(EVIDENCE), distinct=True), about="tests done and declarations at hand"
    )
    prefer: tuple[str, ...] | None = optional(
        Many(Choice(PREFERENCES), 4, distinct=True),
        about="what matters most to the shop, first thing first: ranks what is recommended, and turns no verdict",
    )

    def with_decoration(self, index: int, **fields: Any) -> Order:
        """The order with fields of one decoration replaced."""
        decorations = list(self.decorations)
        decorations[index] = replace(decorations[index], **fields)
        return replace(self, decorations=tuple(decorations))
