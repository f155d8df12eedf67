"""The entries of the book: one frozen dataclass a kind, read from ``book/<kind>.toml`` by ``settings``.

Every quantity is written with its unit and held in its inside unit (``units``). ``sources`` names entries of
``sources.toml`` and covers every number of its entry; ``sources_of`` overrides it number by number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import (
    Choice,
    Flag,
    Many,
    Name,
    Number,
    Object,
    Quantity,
    Reader,
    Table,
    Text,
    Whole,
    given,
    optional,
)
from accord_rules.orders.order import DYES, FEATURES, PEELS, PLACEMENTS, PRESSURES, PRINTERS, USES, Care, Size

TEMPERATURE = Quantity(units.TEMPERATURE)
TIME = Quantity(units.TIME)
LENGTH = Quantity(units.LENGTH)
_NO_SOURCES: Mapping[str, tuple[str, ...]] = MappingProxyType({})

_NO_VARIANTS: Mapping[str, Any] = MappingProxyType({})

FIBRE_GROUPS = (
    "cellulose",
    "regenerated",
    "protein",
    "ester",
    "polyamide",
    "acrylic",
    "elastomer",
    "olefin",
    "vinyl",
    "technical",
)
AFFINITIES = ("full", "partial", "stains", "none")
HARMS = (
    "sticks",
    "glazes",
    "shrinks",
    "scorches",
    "yellows",
    "melts",
    "decomposes",
    "softens",
    "warps",
    "cracks",
    "delaminates",
)
SUBSTRATE_FAMILIES = (
    "cloth",
    "leather",
    "metal",
    "wood",
    "cork",
    "stone",
    "ceramic",
    "glass",
    "plastic",
    "rubber",
    "paper",
)
SURFACES = ("smooth", "ribbed", "pile", "open", "textured")
TOUCH_CLASSES = ("metal", "glass-ceramic-stone", "plastic-rubber", "wood", "cloth")
PLASTICS = ("none", "pu", "pvc", "polyester", "acrylic", "plastisol", "polyamide", "wax")
PRINCIPLES = (
    "dye-vapour",
    "film",
    "powder-film",
    "ink-film",
    "toner",
    "inkjet-paper",
    "stud",
    "patch",
    "label",
    "foil",
    "receptive-film",
)
LOOKS = ("plain", "glitter", "metallic", "flock", "raised", "reflective", "glowing")
CARRIERS = ("paper", "film", "none")
CONSUMABLE_KINDS = ("cover", "pad", "tape")
# What a sheet, pad or tape is for, as plans choose it.
PURPOSES = (
    "blot",  # takes up what blows out or strikes through
    "conduct",  # evens the pressure and lets the heat through
    "even-out",  # takes up unevenness under brittle or uneven goods
    "fill",  # goes inside what does not fit round the lower platen
    "finish",  # gives the print its surface
    "glide",  # lets garments be slipped on and turned
    "hold",  # keeps the carrier or the print where it is
    "mend",  # for covers and lower platens, not for pieces
    "non-stick",  # keeps prints, coatings and adhesives off the platen
    "raise",  # lifts the print clear of what stands up beside it
    "spare",  # spares nap, thread and shine
)
SHAPES = ("flat", "mug", "cap")
HEATED = ("upper", "both", "wrap")
CLOSINGS = ("hand", "hinged", "parallel", "wrap", "enclosed")
METERING = ("hand", "knob", "gauge")
BLANK_KINDS = ("garment", "headwear", "bag", "homeware", "hard-good", "drinkware", "paper-good", "accessory")
SOURCE_KINDS = ("published", "common-practice", "computed", "from-memory", "choice")


@dataclass(frozen=True, slots=True)
class Source:
    """Where numbers come from. ``kind`` says how far it can be trusted; ``text`` names edition and place."""

    title: str = given(Text(300))
    kind: str = given(Choice(SOURCE_KINDS))
    text: str = given(Text(2000))


class Amount(Reader):
    """A limit's value: a quantity with its unit (kept as written until its dimension is known), or a plain number."""

    def leaf(self, value: Any) -> str | float:
        return Text(40).leaf(value) if isinstance(value, str) else Number(0, 1_000_000).leaf(value)

    def json_schema(self) -> dict[str, Any]:
        return {"oneOf": [Text(40).json_schema(), Number(0, 1_000_000).json_schema()]}


@dataclass(frozen=True, slots=True)
class Limit:
    """One threshold that rules compare with.

    ``stricter`` says which way a shop may move it; ``step`` is the smallest change that matters in the trade.
    """

    title: str = given(Text(200))
    dimension: str = given(Choice(tuple(units.DIMENSIONS)))
    value: str | float = given(Amount())
    step: str | float = given(Amount())
    stricter: str = given(Choice(("higher", "lower")))
    safety: bool = given(Flag())
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class Fibre:
    """A fibre by its ISO 2076 (or customary) code."""

    name: str = given(Text(80))
    us_name: str = given(Text(80))
    group: str = given(Choice(FIBRE_GROUPS))
    dye_affinity: str = given(Choice(AFFINITIES))  # for disperse dye
    regain: float = given(Number(0, 25))  # percent of its dry mass that it holds as moisture at 65 % humidity, 20 °C
    harmful_from: float = given(TEMPERATURE)
    harm: str = given(Choice(HARMS))
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    aliases: tuple[str, ...] = optional(Many(Text(40), 12), ())
    sources_of: Mapping[str, tuple[str, ...]] = optional(
        Table(Text(40), Many(Name(name_of="sources"), 8, 1)), _NO_SOURCES
    )
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class AmbiguousFibre:
    """A spelling found on labels that can mean several fibres: refused, with all readings named."""

    readings: tuple[str, ...] = given(Many(Name(name_of="fibres"), 6, 2, distinct=True))
    why: str = given(Text(400))


@dataclass(frozen=True, slots=True)
class Substrate:
    """What the piece is made of, with its heat limit and the numbers a conduction estimate needs."""

    title: str = given(Text(80))
    family: str = given(Choice(SUBSTRATE_FAMILIES))
    surface: str = given(Choice(SURFACES))
    touch: str = given(Choice(TOUCH_CLASSES))
    limit: float = given(TEMPERATURE)
    harm: str = given(Choice(HARMS))
    conductivity: float = given(Quantity(units.CONDUCTIVITY))
    density: float = given(Quantity(units.DENSITY))
    heat_capacity: float = given(Quantity(units.HEAT_CAPACITY))
    thickness: float = given(LENGTH)
    rigid: bool = given(Flag())
    takes_moisture: bool = given(Flag())
    curved: bool = given(Flag())
    protective_film: bool = given(Flag())
    brittle: bool = given(Flag())
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    fibres: Mapping[str, float] | None = optional(Table(Name(name_of="fibres"), Number(0.1, 100)))
    clear: bool = optional(Flag(), False)  # a print on the back of a flat piece is looked at through it
    often_finished: bool = optional(Flag(), False)  # so often water-repellent that it has to be asked
    sources_of: Mapping[str, tuple[str, ...]] = optional(
        Table(Text(40), Many(Name(name_of="sources"), 8, 1)), _NO_SOURCES
    )
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class Coating:
    """A coating on the blank; ``dye_receptive`` ones take disperse dye."""

    title: str = given(Text(80))
    dye_receptive: bool = given(Flag())
    plastic: str = given(Choice(PLASTICS))
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    limit: float | None = optional(TEMPERATURE)
    harm: str | None = optional(Choice(HARMS))
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class Finish:
    """A textile finish; ``repels`` ones keep adhesives from holding."""

    title: str = given(Text(80))
    repels: bool = given(Flag())
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    limit: float | None = optional(TEMPERATURE)
    harm: str | None = optional(Choice(HARMS))
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class TemperatureWindow:
    """Platen surface temperature, °C: below ``least`` it does not take, above ``most`` it suffers."""

    least: float = given(TEMPERATURE)
    aim: float = given(TEMPERATURE)
    most: float = given(TEMPERATURE)


@dataclass(frozen=True, slots=True)
class TimeWindow:
    """Dwell on a bench press, s."""

    least: float = given(TIME)
    aim: float = given(TIME)
    most: float = given(TIME)


@dataclass(frozen=True, slots=True)
class PressureWindow:
    """Pressure on the print, in the trade's words (``limits`` gives them numbers)."""

    least: str = given(Choice(PRESSURES))
    aim: str = given(Choice(PRESSURES))
    most: str = given(Choice(PRESSURES))


@dataclass(frozen=True, slots=True)
class SizedDwell:
    """The dwell to aim at for a print whose longer side is ``longer_side`` mm; between two of them, interpolated."""

    longer_side: float = given(LENGTH)
    time: float = given(TIME)


@dataclass(frozen=True, slots=True)
class Variant:
    """What a transfer needs on one substrate (or substrate family) where it differs from the general window."""

    temperature: TemperatureWindow | None = optional(Object(TemperatureWindow))
    time: TimeWindow | None = optional(Object(TimeWindow))
    pressure: PressureWindow | None = optional(Object(PressureWindow))
    peel: tuple[str, ...] | None = optional(Many(Choice(PEELS), 4, 1, distinct=True))
    cover: tuple[str, ...] | None = optional(Many(Name(name_of="consumables"), 6, distinct=True))
    pad: tuple[str, ...] | None = optional(Many(Name(name_of="consumables"), 6, distinct=True))
    aim_by_size: tuple[SizedDwell, ...] = optional(Many(Object(SizedDwell), 6), ())
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class Transfer:
    """A family of transfers, or a product of one (a product's table overrides its family's)."""

    title: str = given(Text(100))
    family: str = given(Name(name_of="transfers"))
    principle: str = given(Choice(PRINCIPLES))
    look: str = given(Choice(LOOKS))
    suits: tuple[str, ...] = given(Many(Choice(SUBSTRATE_FAMILIES), 11, 1, distinct=True))
    temperature: TemperatureWindow = given(Object(TemperatureWindow))
    time: TimeWindow = given(Object(TimeWindow))
    pressure: PressureWindow = given(Object(PressureWindow))
    peel: tuple[str, ...] = given(Many(Choice(PEELS), 4, 1, distinct=True))
    second_press: float = given(Quantity(units.TIME, zero=True))
    mirrored: bool = given(Flag())
    carrier: str = given(Choice(CARRIERS))
    opaque: bool = given(Flag())
    stretch: float = given(Number(0, 300))  # percent it can follow before cracking
    thickness: float = given(LENGTH)
    plastic: str = given(Choice(PLASTICS))
    finest_line: float = given(LENGTH)
    one_colour: bool = given(Flag())
    gradients: bool = given(Flag())
    white: bool = given(Flag())  # can print white itself
    printed_by: tuple[str, ...] = given(Many(Choice(PRINTERS), 7, 1, distinct=True))
    nylon_rated: bool = given(Flag())
    finish_rated: bool = given(Flag())  # its adhesive is tested on repellent finishes
    blocks_migration: bool = given(Flag())
    may_lie_under: bool = given(Flag())
    may_lie_over: bool = given(Flag())
    layers_most: int = given(Whole(1, 12))
    cover: tuple[str, ...] = given(Many(Name(name_of="consumables"), 6, distinct=True))
    pad: tuple[str, ...] = given(Many(Name(name_of="consumables"), 6, distinct=True))
    taped: bool = given(Flag())
    fumes: bool = given(Flag())
    crystal: bool = given(Flag())
    loose_parts: bool = given(Flag())
    phthalate_declared: bool = given(Flag())  # the maker declares it below the limits
    lead_declared: bool = given(Flag())
    wash_limit: float = given(TEMPERATURE)
    durability: int = given(Whole(1, 5))
    hand: int = given(Whole(1, 5))  # 5 = softest
    cost: int = given(Whole(1, 5))  # 5 = cheapest
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    reheat_limit: float | None = optional(TEMPERATURE)  # once applied; None: bears re-heating
    interface_least: float | None = optional(TEMPERATURE)  # where print meets piece; None: a little below the least
    interface_hold: float | None = optional(TIME)  # how long it has to stay there; None: as an adhesive
    backing: bool = optional(Flag(), False)  # comes on a sheet that is taken off before it is laid on
    on: Mapping[str, Variant] = optional(Table(Text(40), Object(Variant)), _NO_VARIANTS)  # by substrate or its family
    sources_of: Mapping[str, tuple[str, ...]] = optional(
        Table(Text(40), Many(Name(name_of="sources"), 8, 1)), _NO_SOURCES
    )
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class Consumable:
    """A sheet, pad or tape."""

    title: str = given(Text(80))
    kind: str = given(Choice(CONSUMABLE_KINDS))
    limit: float = given(TEMPERATURE)
    thickness: float = given(LENGTH)
    conductivity: float = given(Quantity(units.CONDUCTIVITY))
    use_for: str = given(Text(200))
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    purposes: tuple[str, ...] = optional(Many(Choice(PURPOSES), 4, distinct=True), ())
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class DwellExtra:
    """What a press type adds to a bench press's dwell, s."""

    least: float = given(Quantity(units.TIME, zero=True))
    aim: float = given(Quantity(units.TIME, zero=True))
    most: float = given(Quantity(units.TIME, zero=True))


@dataclass(frozen=True, slots=True)
class PressType:
    """A type of press, with the usual values that stand in for what a shop does not say about its own."""

    title: str = given(Text(80))
    shape: str = given(Choice(SHAPES))
    heated: str = given(Choice(HEATED))
    closing: str = given(Choice(CLOSINGS))
    metering: str = given(Choice(METERING))
    loss: float = given(Quantity(units.TEMPERATURE_DIFFERENCE, zero=True))  # display minus surface, uncalibrated
    spread: float = given(Quantity(units.TEMPERATURE_DIFFERENCE, zero=True))  # plus or minus, uncalibrated
    dwell_extra: DwellExtra = given(Object(DwellExtra))
    display_most: float = given(TEMPERATURE)
    platen: Size = given(Object(Size))
    edge_margin: float = given(LENGTH)
    opening: float = given(LENGTH)
    pressure_most: str = given(Choice(PRESSURES))  # what an unmetered press of this type reaches
    power: float = given(Quantity(units.POWER))
    handling: float = given(TIME)  # per pressing: load, align, unload
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    hand_force: float | None = optional(Quantity(units.FORCE))  # what one person brings to bear by hand
    # Families it is made for; none named: whatever has its shape.
    takes: tuple[str, ...] = optional(Many(Choice(SUBSTRATE_FAMILIES), 11, distinct=True), ())
    diameter_least: float | None = optional(LENGTH)  # the slimmest ware a wrap closes on; its opening is the widest
    note: str = optional(Text(1000), "")


@dataclass(frozen=True, slots=True)
class Blank:
    """An invented but realistic blank. ``areas`` gives the printable area at each placement."""

    title: str = given(Text(100))
    kind: str = given(Choice(BLANK_KINDS))
    substrate: str = given(Name(name_of="substrates"))
    colour: str = given(Text(40))
    areas: Mapping[str, Size] = given(Table(Choice(PLACEMENTS), Object(Size), 15))
    sources: tuple[str, ...] = given(Many(Name(name_of="sources"), 8, 1))
    fibres: Mapping[str, float] | None = optional(Table(Name(name_of="fibres"), Number(0.1, 100)))
    coating: str = optional(Name(name_of="coatings"), "none")
    finishes: tuple[str, ...] | None = optional(Many(Name(name_of="finishes"), 8, distinct=True))
    dye: str | None = optional(Choice(DYES))
    mass_per_area: float | None = optional(Quantity(units.AREA_DENSITY))
    thickness: float | None = optional(LENGTH)
    diameter: float | None = optional(LENGTH)  # of round ware
    care: Care | None = optional(Object(Care))
    features: tuple[str, ...] = optional(Many(Choice(FEATURES), 16, distinct=True), ())
    uses: tuple[str, ...] = optional(Many(Choice(USES), 14, distinct=True), ())
    age_from: float | None = optional(Number(0, 18))  # years; what a children's blank is made for
    alternatives: tuple[str, ...] = optional(Many(Name(name_of="blanks"), 6, distinct=True), ())


# Kind of entry -> dataclass; the key is the file's name under book/ and the word in /v1/catalogue/<kind>.
KINDS: Mapping[str, type] = MappingProxyType(
    {
        "fibres": Fibre,
        "substrates": Substrate,
        "coatings": Coating,
        "finishes": Finish,
        "transfers": Transfer,
        "products": Transfer,
        "consumables": Consumable,
        "press_types": PressType,
        "blanks": Blank,
    }
)
