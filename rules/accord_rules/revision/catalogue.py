"""The entries of the book: one frozen dataclass a kind, read from ``book/<kind>.toml`` by ``load.loader``.

Every quantity is written with its unit and held in its inside unit (``documents.units``). ``sources`` names entries of
``sources.toml`` and covers every number of its entry; ``sources_of`` overrides it number by number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
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
    optional,
    required,
)
from accord_rules.orders.order import DYES, FEATURES, PIECE_KINDS, PLACEMENTS, PRINTERS, USES, Care, Size
from accord_rules.orders.sheet import (
    BESIDE_MAIN,
    PEELS,
    PRESSURES,
    READ_AT,
    SECOND,
    TemperatureSpan,
    TimeSpan,
)
from accord_rules.revision.markets import Market

TEMPERATURE = Quantity(units.TEMPERATURE)
TIME = Quantity(units.TIME)
LENGTH = Quantity(units.LENGTH)
_SOURCE_IDS = Many(Name(name_of="sources"), 8, 1)
_NO_SOURCES: Mapping[str, tuple[str, ...]] = MappingProxyType({})
_NONE_OF_THEM: Mapping[str, Any] = MappingProxyType({})

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
# The words of the table of dye migration.
MIGRATION_DYES = ("unknown", "low-energy", "medium-energy", "high-energy", "sublimated", "fluorescent")
MIGRATION_SHARES = ("rich", "middle", "lean")
MIGRATION_SHADES = ("light", "medium", "deep")
# The dwell of hot-pressing tests (``hot-pressing-fastness``) and of most transfers, which the table is written for.
TABLE_DWELL_S = 15.0
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
# How a finished piece may be tumbled and ironed, the gentlest last.
DRYERS = ("warm", "low", "none")
IRONS = ("inside", "under-paper", "never")
# Where a zip, buttons or a placket run on a piece.
CLOSURES = ("front", "back", "edge")
HEATED = ("upper", "both", "wrap")
CLOSINGS = ("hand", "hinged", "parallel", "wrap", "enclosed")
METERING = ("hand", "knob", "gauge")
# How far a source can be trusted, best first; a number is as good as the weakest of its sources.
SOURCE_KINDS = (
    "published",  # a text that was seen
    "secondary",  # a text that was not seen itself, and that a page which was seen repeats
    "computed",  # worked out from definitions or other sources
    "from-memory",  # a known text that was not open when the number was written down
    "common-practice",  # what the trade does; no text stands behind it
    "choice",  # this book's own decision
)
ANYTHING = "anything"
# What a source can be the source of.
SUBJECTS: Mapping[str, str] = MappingProxyType(
    {
        ANYTHING: "whatever the book has to decide; of choices alone",
        "burns": "how hot a surface may be touched",
        "cadmium": "cadmium in metal and plastic",
        "care-labels": "what the signs of care labels mean",
        "child-ages": "who is a child, and the papers of what is made for one",
        "colour": "lightness, chroma and contrast",
        "conduction": "conductivity, density and heat capacity",
        "cords": "cords of children's clothing",
        "dye-affinity": "which material takes dye, and how well it holds it",
        "dye-migration": "dye that moves out of cloth",
        "dye-vapour": "the heat and the time in which dye leaves its paper",
        "electricity": "supply circuits and plugs",
        "fibre-heat": "what heat does to fibres",
        "fibre-labels": "what the label of a piece says of its fibres",
        "fibre-names": "names and codes of fibres",
        "fire": "how cloth and nightwear burn",
        "food": "what touches food and drink",
        "fumes": "what plastics give off when they are hot",
        "goods": "sizes, weights and make of goods",
        "goods-heat": "what goods, coatings and sheets bear",
        "guarding": "what keeps hands out of machines",
        "handling": "what hands do before and after the press",
        "heat-estimate": "how heat goes through the stack, and how much a print needs",
        "lead": "lead in what children use",
        "magnets": "magnets that can be swallowed",
        "moisture": "moisture that fibres hold",
        "nickel": "nickel on the skin",
        "orders": "what orders usually ask for",
        "phthalates": "plasticisers",
        "press": "presses: their make, size, power and handling",
        "press-heat": "how far a platen lies from its display, and how even it is",
        "pressing": "how prints are pressed: temperature, dwell, pressure, peel",
        "pressure": "how hard presses press, and what the words for it mean",
        "print": "what a print is like and how it wears",
        "protection": "protective wear and medical devices, and who answers for one that was altered",
        "small-parts": "parts that can be swallowed",
        "substances": "dyes and finishes of cloth that a law limits",
        "toys": "tests and marks of toys",
        "units": "what units are worth",
    }
)


def _sources() -> Any:
    return required(_SOURCE_IDS, about="ids of sources")


def _sources_of() -> Any:
    return optional(Table(Text(40), _SOURCE_IDS), _NO_SOURCES, about="field to the ids of its own sources")


def _aliases() -> Any:
    return optional(Many(Text(40), 16, distinct=True), (), about="other words for it that an order may use")


def _note() -> Any:
    return optional(Text(1000), "", about="what else is worth knowing")


@dataclass(frozen=True, slots=True)
class Source:
    """Where numbers come from. ``kind`` says how far it can be trusted; ``text`` names edition and place."""

    title: str = required(Text(300), about="what it is")
    kind: str = required(Choice(SOURCE_KINDS), about="how far it can be trusted")
    text: str = required(Text(2000), about="edition and place")
    speaks_of: tuple[str, ...] = required(
        Many(Choice(tuple(SUBJECTS)), 16, 1, distinct=True), about="what it can be the source of"
    )


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

    title: str = required(Text(200), about="the limit in a few words")
    dimension: str = required(Choice(tuple(units.DIMENSIONS)), about="what it measures")
    value: str | float = required(Amount(), about="the threshold")
    step: str | float = required(Amount(), about="the smallest change that matters in the trade")
    stricter: str = required(Choice(("higher", "lower")), about="which way a shop may move it")
    safety: bool = required(Flag(), about="whether it keeps people safe")
    sources: tuple[str, ...] = _sources()
    note: str = _note()

    @property
    def amount(self) -> str:
        """Its value with its unit, which the book leaves out only where the dimension is a plain number."""
        if isinstance(self.value, str):
            return self.value
        return f"{self.value:g} {units.DIMENSIONS[self.dimension].symbol}".rstrip()


@dataclass(frozen=True, slots=True)
class Fibre:
    """A fibre by its ISO 2076 (or customary) code."""

    name: str = required(Text(80), about="its name on labels")
    us_name: str = required(Text(80), about="its name on labels in the United States")
    group: str = required(Choice(FIBRE_GROUPS), about="what kind of fibre")
    dye_affinity: str = required(Choice(AFFINITIES), about="how well disperse dye takes on it")
    regain: float = required(
        Number(0, 25), about="percent of its dry mass that it holds as moisture at 65 % humidity, 20 °C"
    )
    harmful_from: float = required(TEMPERATURE)
    harm: str = required(Choice(HARMS), about="what heat does to it")
    sources: tuple[str, ...] = _sources()
    keep_cool: bool = optional(Flag(), False, about="whether it is pressed as cool as the transfer holds")
    aliases: tuple[str, ...] = _aliases()
    sources_of: Mapping[str, tuple[str, ...]] = _sources_of()
    note: str = _note()


@dataclass(frozen=True, slots=True)
class AmbiguousFibre:
    """A spelling found on labels that can mean several fibres: refused, with all readings named."""

    readings: tuple[str, ...] = required(Many(Name(name_of="fibres"), 6, 2, distinct=True))
    why: str = required(Text(400))


# Kinds of entry that words of people stand for; transfers are families and products alike.
WORDED = ("substrates", "transfers", "consumables", "press_types", "blanks")


@dataclass(frozen=True, slots=True)
class AmbiguousWord:
    """A word that people use for several entries of a kind: refused, with all readings named."""

    readings: Mapping[str, tuple[str, ...]] = required(
        Table(Choice(WORDED), Many(Text(80), 12, 2, distinct=True)),
        about="by kind of entry, the names that it can mean",
    )
    why: str = required(Text(400))


@dataclass(frozen=True, slots=True)
class Substrate:
    """What the piece is made of, with its heat limit and the numbers a conduction estimate needs."""

    title: str = required(Text(80), about="what it is")
    family: str = required(Choice(SUBSTRATE_FAMILIES), about="its family")
    surface: str = required(Choice(SURFACES), about="how its surface is")
    touch: str = required(Choice(TOUCH_CLASSES), about="how hot it feels, by class")
    limit: float = required(TEMPERATURE)
    harm: str = required(Choice(HARMS), about="what heat does to it")
    conductivity: float = required(Quantity(units.CONDUCTIVITY))
    density: float = required(Quantity(units.DENSITY))
    heat_capacity: float = required(Quantity(units.HEAT_CAPACITY))
    thickness: float = required(LENGTH)
    rigid: bool = required(Flag(), about="whether it keeps its shape")
    takes_moisture: bool = required(Flag(), about="whether it takes up moisture from the air")
    curved: bool = required(Flag(), about="whether it is curved")
    protective_film: bool = required(Flag(), about="whether it comes under a protective film")
    brittle: bool = required(Flag(), about="whether pressure can break it")
    sources: tuple[str, ...] = _sources()
    fibres: Mapping[str, float] | None = optional(
        Table(Name(name_of="fibres"), Number(0.1, 100)), about="usual fibres, percent by ISO 2076 code"
    )
    diameter: float | None = optional(
        LENGTH, about="usual, of round ware; left out where it differs too much to be taken for granted"
    )
    clear: bool = optional(Flag(), False, about="whether a print on its back is looked at through it")
    washable: bool = optional(Flag(), False, about="whether what is made of it is washed")
    pressed_once: bool = optional(
        Flag(),
        False,
        about="whether a transfer's usual second pressing is left out on it: it shrinks, or stops the heat",
    )
    keep_cool: bool = optional(Flag(), False, about="whether it is pressed as cool as the transfer holds")
    often_finished: bool = optional(
        Flag(), False, about="whether it is so often water-repellent that it has to be asked"
    )
    often_finished_synthetic: bool = optional(
        Flag(), False, about="the same where garments and bags of it are of synthetic fibres"
    )
    small_parts: str | None = optional(Text(80), about="what of it comes off and can be swallowed, in words")
    pvc: bool = optional(Flag(), False, about="whether it is PVC, which gives off acid fumes when it gets too hot")
    cushioned: bool = optional(
        Flag(), False, about="whether foam, flutes or a cushion of threads in it sinks for good when hot"
    )
    one_sided: bool = optional(
        Flag(), False, about="whether what lies behind its face bears no hot platen: foam, rubber, membrane, filling"
    )
    worn_over: bool = optional(Flag(), False, about="whether garments of it are worn over others")
    load_bearing: bool = optional(Flag(), False, about="whether somebody may hang by it: straps, belts, slings")
    eaten_from: bool = optional(
        Flag(), False, about="whether ware of it is so often eaten from that it has to be asked"
    )
    sources_of: Mapping[str, tuple[str, ...]] = _sources_of()
    aliases: tuple[str, ...] = _aliases()
    note: str = _note()


@dataclass(frozen=True, slots=True)
class Coating:
    """A coating on the blank; ``dye_receptive`` ones take disperse dye."""

    title: str = required(Text(80), about="what it is")
    dye_receptive: bool = required(Flag(), about="whether it takes disperse dye")
    plastic: str = required(Choice(PLASTICS), about="what plastic it is")
    sources: tuple[str, ...] = _sources()
    limit: float | None = optional(TEMPERATURE)
    harm: str | None = optional(Choice(HARMS), about="what heat does to it")
    note: str = _note()


@dataclass(frozen=True, slots=True)
class Finish:
    """A textile finish; ``repels`` ones keep adhesives from holding."""

    title: str = required(Text(80), about="what it is")
    repels: bool = required(Flag(), about="whether it keeps adhesives from holding")
    sources: tuple[str, ...] = _sources()
    limit: float | None = optional(TEMPERATURE)
    harm: str | None = optional(Choice(HARMS), about="what heat does to it")
    note: str = _note()


@dataclass(frozen=True, slots=True)
class TemperatureWindow:
    """Platen surface temperature, °C: below ``least`` it does not take, above ``most`` it suffers."""

    least: float = required(TEMPERATURE)
    aim: float = required(TEMPERATURE)
    most: float = required(TEMPERATURE)


@dataclass(frozen=True, slots=True)
class TimeWindow:
    """Dwell on a bench press, s."""

    least: float = required(TIME)
    aim: float = required(TIME)
    most: float = required(TIME)


@dataclass(frozen=True, slots=True)
class PressureWindow:
    """Pressure on the print, in the trade's words (``limits`` gives them numbers)."""

    least: str = required(Choice(PRESSURES), about="below it the print does not hold")
    aim: str = required(Choice(PRESSURES), about="what to aim at")
    most: str = required(Choice(PRESSURES), about="above it the print or the piece suffers")


@dataclass(frozen=True, slots=True)
class Bounds:
    """What physics leaves: outside it no sheet and no sample makes the transfer work."""

    temperature: TemperatureSpan = required(Object(TemperatureSpan), about="platen surface temperature")
    time: TimeSpan = required(Object(TimeSpan), about="dwell on a bench press")
    cold: str = required(Text(120), about="what becomes of it below, as a clause")
    hot: str = required(Text(120), about="what becomes of it above, as a clause")
    sources: tuple[str, ...] = _sources()


@dataclass(frozen=True, slots=True)
class Pressing:
    """A pressing of a process beside the main one."""

    sources: tuple[str, ...] = _sources()
    time: TimeWindow | None = optional(Object(TimeWindow), about="left out of reverse and again: second_press says it")
    temperature: TemperatureWindow | None = optional(
        Object(TemperatureWindow), about="platen surface temperature; as the main pressing's where left out"
    )
    pressure: str | None = optional(Choice(PRESSURES), about="as the main pressing's where left out")
    cover: tuple[str, ...] | None = optional(
        Many(Name(name_of="consumables"), 6, distinct=True), about="cover sheets that will do; non-stick where left out"
    )
    peel: str = optional(Choice(PEELS), "none", about="how warm it is when what carries or covers it comes off")
    under_another: bool = optional(
        Flag(), False, about="whether it stands in for the main pressing, where another print of the order lies on it"
    )


@dataclass(frozen=True, slots=True)
class Process:
    """The pressings of a transfer beside the main one, by name, in the order they come."""

    marry: Pressing | None = optional(Object(Pressing), about="two sheets are pressed together")
    adhesive: Pressing | None = optional(Object(Pressing), about="the adhesive goes on, unless it is a print below")
    tack: Pressing | None = optional(Object(Pressing), about="just long enough to stay where it lies")
    reverse: Pressing | None = optional(Object(Pressing), about="from the back of cloth; elsewhere again")
    again: Pressing | None = optional(Object(Pressing), about="once more after the peel")


@dataclass(frozen=True, slots=True)
class Unprinted:
    """A film that takes dye, before its print: pressed by itself where a dye print of the same order lies on it.

    How hot, how long, how it is covered and peeled its tack says.
    """

    carrier: str = required(Choice(CARRIERS), about="what carries the film alone")
    bounds: Bounds = required(Object(Bounds), about="what physics leaves of its own pressing")


@dataclass(frozen=True, slots=True)
class SizedDwell:
    """The dwell to aim at for a print whose longer side is ``longer_side`` mm; between two of them, interpolated."""

    longer_side: float = required(LENGTH)
    time: float = required(TIME)


@dataclass(frozen=True, slots=True)
class BlendWindow:
    """The surface temperature on cloth from a share of polyester on."""

    polyester: float = required(Number(1, 100), about="percent of polyester from which it holds")
    temperature: TemperatureWindow = required(Object(TemperatureWindow), about="platen surface temperature there")
    sources: tuple[str, ...] = _sources()


@dataclass(frozen=True, slots=True)
class PressAim:
    """What to aim at on a type of press whose practice is not a bench press's at the same surface."""

    temperature: float = required(TEMPERATURE, about="surface temperature to aim at")
    sources: tuple[str, ...] = _sources()
    time: float | None = optional(
        TIME, about="dwell to aim at before what the type of press adds, unless the substrate has an own"
    )


@dataclass(frozen=True, slots=True)
class MainPressing:
    """What the main pressing of a transfer needs, as far as it is said here."""

    temperature: TemperatureWindow | None = optional(Object(TemperatureWindow), about="platen surface temperature")
    time: TimeWindow | None = optional(Object(TimeWindow), about="dwell on a bench press")
    pressure: PressureWindow | None = optional(Object(PressureWindow), about="pressure on the print")
    peel: tuple[str, ...] | None = optional(Many(Choice(PEELS), 4, 1, distinct=True), about="peels that will do")
    cover: tuple[str, ...] | None = optional(
        Many(Name(name_of="consumables"), 6, distinct=True), about="cover sheets that will do"
    )
    pad: tuple[str, ...] | None = optional(
        Many(Name(name_of="consumables"), 6, distinct=True), about="pads that will do"
    )
    note: str = _note()


@dataclass(frozen=True, slots=True)
class Variant(MainPressing):
    """What a transfer needs on one substrate (or substrate family) where it differs from the general window."""

    aim_by_size: tuple[SizedDwell, ...] = optional(
        Many(Object(SizedDwell), 6), (), about="dwells to aim at by the size of the print"
    )
    by_press: Mapping[str, PressAim] = optional(
        Table(Name(name_of="press_types"), Object(PressAim)), _NONE_OF_THEM, about="what to aim at here, by press type"
    )
    dwell_bounds: TimeSpan | None = optional(Object(TimeSpan), about="what physics leaves of the dwell here")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductSheet(MainPressing):
    """A product's sheet as the book has it: its maker's figures, turned to the book's windows.

    What it leaves out is the family's. A sheet typed from the roll stands in an order or a shop's stock (``Sheet``).
    """

    sources: tuple[str, ...] = _sources()
    pre_press: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    second_press: float | None = optional(Quantity(units.TIME, zero=True), about="0 s for none")
    pressings: Process = optional(Object(Process), Process(), about="those beside the main one, each as a whole")
    on: Mapping[str, MainPressing] = optional(
        Table(Text(40), Object(MainPressing)), _NONE_OF_THEM, about="what differs, by substrate or its family"
    )
    edition: str | None = optional(Text(40), about="the sheet's own date or number")


@dataclass(frozen=True, slots=True)
class Dose:
    """Heat that a print has to have had: ``time`` s at ``at`` °C, or what does as much at other temperatures.

    By Arrhenius' law: ``halved_by`` is how many K more, around ``at``, do it in half the time.
    """

    at: float = required(TEMPERATURE)
    time: float = required(TIME)
    halved_by: float = required(Quantity(units.TEMPERATURE_DIFFERENCE), about="this much hotter takes half the time")


@dataclass(frozen=True, slots=True)
class Aftercare:
    """How a print on cloth is looked after, beside the hottest wash that it bears."""

    first_wash: float = required(TIME, about="how long it rests before the first wash")
    dryer: str = required(Choice(DRYERS), about="how warm it may be tumbled, if at all")
    iron: str = required(
        Choice(IRONS), about="ironed from the inside only, over the print under baking paper, or never"
    )


# Where nobody says, the gentlest.
_GENTLEST = Aftercare(86_400.0, DRYERS[-1], IRONS[-1])


@dataclass(frozen=True, slots=True)
class Transfer:
    """A family of transfers, or a product of one.

    A product's table overrides its family's; how it is pressed otherwise than its family stands in its ``sheet``.
    """

    title: str = required(Text(100), about="what it is")
    family: str = required(Name(name_of="transfers"))
    principle: str = required(Choice(PRINCIPLES), about="how it holds on")
    look: str = required(Choice(LOOKS), about="how it looks")
    suits: tuple[str, ...] = required(
        Many(Choice(SUBSTRATE_FAMILIES), 11, 1, distinct=True), about="families of substrate it is made for"
    )
    temperature: TemperatureWindow = required(Object(TemperatureWindow), about="platen surface temperature")
    time: TimeWindow = required(Object(TimeWindow), about="dwell on a bench press")
    pressure: PressureWindow = required(Object(PressureWindow), about="pressure on the print")
    peel: tuple[str, ...] = required(Many(Choice(PEELS), 4, 1, distinct=True), about="peels that will do")
    second_press: float = required(Quantity(units.TIME, zero=True))
    mirrored: bool = required(Flag(), about="whether it is printed as a mirror image")
    carrier: str = required(Choice(CARRIERS), about="what carries it")
    opaque: bool = required(Flag(), about="whether it hides the ground")
    stretch: float = required(Number(0, 300), about="percent it can follow before it cracks")
    thickness: float = required(LENGTH)
    plastic: str = required(Choice(PLASTICS), about="what plastic it is")
    finest_line: float = required(LENGTH)
    one_colour: bool = required(Flag(), about="whether a piece of it has one colour")
    gradients: bool = required(Flag(), about="whether it can show gradients")
    white: bool = required(Flag(), about="whether it can print white itself")
    printed_by: tuple[str, ...] = required(
        Many(Choice(PRINTERS), 8, 1, distinct=True), about="what can print or cut it"
    )
    nylon_rated: bool = required(Flag(), about="whether its adhesive is made for nylon")
    finish_rated: bool = required(Flag(), about="whether its adhesive is tested on repellent finishes")
    blocks_migration: bool = required(Flag(), about="whether it keeps dye of the piece from coming through")
    may_lie_under: bool = required(Flag(), about="whether another may lie on it")
    may_lie_over: bool = required(Flag(), about="whether it may lie on another")
    layers_most: int = required(Whole(1, 12), about="how many layers of it may lie on each other")
    cover: tuple[str, ...] = required(
        Many(Name(name_of="consumables"), 6, distinct=True), about="cover sheets that will do"
    )
    pad: tuple[str, ...] = required(Many(Name(name_of="consumables"), 6, distinct=True), about="pads that will do")
    taped: bool = required(Flag(), about="whether it is taped down")
    fumes: bool = required(Flag(), about="whether it gives off fumes")
    crystal: bool = required(Flag(), about="whether it has crystal stones")
    loose_parts: bool = required(Flag(), about="whether it has parts that may come loose")
    phthalate_declared: bool = required(Flag(), about="whether the maker declares it below the limits for phthalates")
    lead_declared: bool = required(Flag(), about="whether the maker declares it below the limits for lead")
    wash_limit: float = required(TEMPERATURE)
    durability: int = required(Whole(1, 5), about="1 to 5; 5 lasts longest")
    hand: int = required(Whole(1, 5), about="1 to 5; 5 is softest")
    cost: int = required(Whole(1, 5), about="1 to 5; 5 is cheapest")
    bounds: Bounds = required(Object(Bounds), about="what physics leaves, whoever says otherwise")
    sources: tuple[str, ...] = _sources()
    sheets: int = optional(Whole(1, 2), 1, about="of how many sheets it is made")
    process: Process = optional(Object(Process), Process(), about="its pressings beside the main one")
    unprinted: Unprinted | None = optional(Object(Unprinted), about="the film alone, where dye is printed on it")
    sheet: ProductSheet | None = optional(Object(ProductSheet), about="how a product's maker has it pressed")
    reheat_limit: float | None = optional(
        TEMPERATURE, about="once applied, the most it bears; left out where it bears re-heating"
    )
    dose: Dose | None = optional(
        Object(Dose), about="what it takes where print meets piece; as an adhesive of its window where left out"
    )
    nickel_declared: bool = optional(
        Flag(), False, about="whether the maker declares its metal below the limit for nickel"
    )
    backing: bool = optional(Flag(), False, about="whether it comes on a sheet that is taken off before it is laid on")
    care: Aftercare = optional(
        Object(Aftercare), _GENTLEST, about="how it is looked after; the gentlest where left out"
    )
    on: Mapping[str, Variant] = optional(
        Table(Text(40), Object(Variant)), _NONE_OF_THEM, about="what differs, by substrate or its family"
    )
    by_polyester: tuple[BlendWindow, ...] = optional(
        Many(Object(BlendWindow), 4), (), about="on cloth by its share of polyester, where its substrate has no own"
    )
    by_press: Mapping[str, PressAim] = optional(
        Table(Name(name_of="press_types"), Object(PressAim)),
        _NONE_OF_THEM,
        about="what to aim at by press type, where the substrate has no temperature of its own",
    )
    sources_of: Mapping[str, tuple[str, ...]] = _sources_of()
    aliases: tuple[str, ...] = _aliases()
    note: str = _note()


def process_of(transfer: Transfer) -> Process:
    """The pressings beside the main one: those of the product's sheet, else the family's."""
    own = transfer.sheet.pressings if transfer.sheet is not None else Process()
    return Process(**{name: getattr(own, name) or getattr(transfer.process, name) for name in BESIDE_MAIN})


def second_press_of(transfer: Transfer) -> float:
    """The second press that the product's sheet wants, else what is usual for its family, s; 0 for none."""
    own = transfer.sheet.second_press if transfer.sheet is not None else None
    return transfer.second_press if own is None else own


def pressings_of(transfer: Transfer) -> tuple[str, ...]:
    """The pressings beside the main one that a transfer may take: any may be pressed again, unless from the reverse."""
    process = process_of(transfer)
    own = tuple(name for name in BESIDE_MAIN if getattr(process, name) is not None)
    return own if {*SECOND} & set(own) else (*own, "again")


def before_print(transfer: Transfer) -> Transfer:
    """The film alone, whose tack is then its only pressing; the transfer itself where it is no such film."""
    process = process_of(transfer)
    film, tack = transfer.unprinted, process.tack
    if film is None or tack is None:
        return transfer
    own = transfer.sheet.pressings.tack if transfer.sheet is not None else None
    return replace(
        transfer,
        temperature=tack.temperature or transfer.temperature,
        time=tack.time or transfer.time,
        peel=(tack.peel,),
        cover=tack.cover or (),
        carrier=film.carrier,
        bounds=film.bounds,
        second_press=second_press_of(transfer),
        taped=False,
        dose=None,
        on=_NONE_OF_THEM,
        by_polyester=(),
        by_press=_NONE_OF_THEM,
        process=replace(process, tack=None),
        sheet=None if transfer.sheet is None or own is None else _of_tack(transfer.sheet, own),
    )


def _of_tack(sheet: ProductSheet, tack: Pressing) -> ProductSheet:
    """What a product's sheet says of the film alone: its tack."""
    word = tack.pressure
    return ProductSheet(
        sources=tack.sources,
        temperature=tack.temperature,
        time=tack.time,
        pressure=None if word is None else PressureWindow(word, word, word),
        peel=(tack.peel,),
        cover=tack.cover,
        edition=sheet.edition,
    )


def dwell_bounds_of(transfer: Transfer, *places: str) -> TimeSpan:
    """What physics leaves of the dwell on a bench press: the substrate's own, else its family's, else in general."""
    variants = (transfer.on[place] for place in places if place in transfer.on)
    return next((v.dwell_bounds for v in variants if v.dwell_bounds is not None), transfer.bounds.time)


def transfer_named(
    name: str | None, products: Mapping[str, Transfer], families: Mapping[str, Transfer]
) -> Transfer | None:
    """A product, or a family as such; None for no name, and for one that is neither's."""
    return None if name is None else products.get(name) or families.get(name)


@dataclass(frozen=True, slots=True)
class Consumable:
    """A sheet, pad or tape."""

    title: str = required(Text(80), about="what it is")
    kind: str = required(Choice(CONSUMABLE_KINDS), about="cover, pad or tape")
    limit: float = required(TEMPERATURE)
    thickness: float = required(LENGTH)
    conductivity: float = required(Quantity(units.CONDUCTIVITY))
    use_for: str = required(Text(200), about="what it is for, in words")
    sources: tuple[str, ...] = _sources()
    purposes: tuple[str, ...] = optional(Many(Choice(PURPOSES), 4, distinct=True), (), about="what plans choose it for")
    sources_of: Mapping[str, tuple[str, ...]] = _sources_of()
    aliases: tuple[str, ...] = _aliases()
    note: str = _note()


@dataclass(frozen=True, slots=True)
class DwellExtra:
    """What a press type adds to a bench press's dwell, s."""

    least: float = required(Quantity(units.TIME, zero=True))
    aim: float = required(Quantity(units.TIME, zero=True))
    most: float = required(Quantity(units.TIME, zero=True))


@dataclass(frozen=True, slots=True)
class PressType:
    """A type of press, with the usual values that stand in for what a shop does not say about its own."""

    title: str = required(Text(80), about="what it is")
    shape: str = required(Choice(SHAPES), about="what it presses")
    heated: str = required(Choice(HEATED), about="which side is heated")
    closing: str = required(Choice(CLOSINGS), about="how it closes")
    metering: str = required(Choice(METERING), about="how its pressure is set")
    loss: float = required(
        Quantity(units.TEMPERATURE_DIFFERENCE, zero=True), about="display minus surface, uncalibrated"
    )
    spread: float = required(Quantity(units.TEMPERATURE_DIFFERENCE, zero=True), about="plus or minus, uncalibrated")
    dwell_extra: DwellExtra = required(Object(DwellExtra), about="what it adds to a bench press's dwell")
    display_most: float = required(TEMPERATURE)
    platen: Size = required(Object(Size), about="usual size of the platen")
    edge_margin: float = required(LENGTH)
    opening: float = required(LENGTH)
    pressure_most: str = required(Choice(PRESSURES), about="what one without a gauge reaches")
    power: float = required(Quantity(units.POWER))
    handling: float = required(TIME, about="per pressing: load, align, unload")
    takes: tuple[str, ...] = required(
        Many(Choice(SUBSTRATE_FAMILIES), 11, 1, distinct=True), about="families of goods of its shape that it takes"
    )
    sources: tuple[str, ...] = _sources()
    hand_force: float | None = optional(Quantity(units.FORCE), about="what one person brings to bear by hand")
    dwell_extra_on: Mapping[str, DwellExtra] = optional(
        Table(Name(name_of="substrates"), Object(DwellExtra)),
        _NONE_OF_THEM,
        about="what it adds on goods that heat up sooner or later than most, by substrate",
    )
    display_step: int = optional(Whole(1, 10), 1, about="by how many degrees of its unit the display is set")
    time_step: float = optional(TIME, 1.0, about="by what its timer is set")
    diameter_least: float | None = optional(
        LENGTH, about="the slimmest ware a wrap closes on; its opening is the widest"
    )
    sources_of: Mapping[str, tuple[str, ...]] = _sources_of()
    aliases: tuple[str, ...] = _aliases()
    note: str = _note()


@dataclass(frozen=True, slots=True)
class Blank:
    """An invented but realistic blank. ``areas`` gives the printable area at each placement."""

    title: str = required(Text(100), about="what it is")
    kind: str = required(Choice(PIECE_KINDS), about="what kind of piece")
    substrate: str = required(Name(name_of="substrates"))
    colour: str = required(Text(40), about="sRGB hex or CSS name")
    areas: Mapping[str, Size] = required(
        Table(Choice(PLACEMENTS), Object(Size), 15), about="printable area at each placement"
    )
    sources: tuple[str, ...] = _sources()
    full_face: bool = optional(
        Flag(),
        False,
        about="whether its printable areas are whole flat faces, coated out to an even edge: a dye print may run"
        " over it",
    )
    fibres: Mapping[str, float] | None = optional(
        Table(Name(name_of="fibres"), Number(0.1, 100)), about="percent by ISO 2076 code"
    )
    coating: str = optional(Name(name_of="coatings"), "none")
    finishes: tuple[str, ...] | None = optional(
        Many(Name(name_of="finishes"), 8, distinct=True), about="textile finishes; left out where nobody knows"
    )
    dye: str | None = optional(Choice(DYES), about="what it is dyed with")
    mass_per_area: float | None = optional(Quantity(units.AREA_DENSITY))
    thickness: float | None = optional(LENGTH)
    diameter: float | None = optional(LENGTH, about="of round ware")
    care: Care | None = optional(Object(Care), about="the care label")
    features: tuple[str, ...] = optional(
        Many(Choice(FEATURES), len(FEATURES), distinct=True), (), about="raised, fragile or dangerous things on it"
    )
    closure: str | None = optional(
        Choice(CLOSURES),
        about="where its zip, buttons or placket run: edge is in a seam beside what is printed; left out, the front"
        " of garments and the edge of all else",
    )
    loose: str | None = optional(Text(80), about="what is loose on it and comes off before it is pressed, in words")
    small_parts: str | None = optional(
        Text(80), about="what of it can be swallowed, loose or once it comes off, in words"
    )
    uses: tuple[str, ...] = optional(Many(Choice(USES), 14, distinct=True), (), about="what it is made for")
    worn_over: bool = optional(Flag(), False, about="whether it is worn over other clothes")
    age_from: float | None = optional(Number(0, 18), about="years; what a children's blank is made for")
    alternatives: tuple[str, ...] = optional(
        Many(Name(name_of="blanks"), 6, distinct=True), (), about="blanks that may do instead"
    )
    aliases: tuple[str, ...] = _aliases()


def _span(of: Reader, about: str) -> Any:
    return required(Many(of, 2, 1), about=f"{about}: one figure, or least and most")


@dataclass(frozen=True, slots=True)
class PracticePoint:
    """Settings known to work: what plans, and the heat estimate, are held against."""

    title: str = required(Text(100), about="the piece and the transfer in words")
    transfer: str = required(Name(name_of="transfers|products"), about="a family stands for its common sheets")
    press: str = required(Name(name_of="press_types"))
    temperature: tuple[float, ...] = _span(TEMPERATURE, "what the press is set to")
    read_at: str = required(Choice(READ_AT), about="where that is read")
    time: tuple[float, ...] = _span(TIME, "dwell")
    independent: int = required(Whole(0, 20), about="how many independent places say so")
    sources: tuple[str, ...] = _sources()
    blank: str | None = optional(Name(name_of="blanks"), about="the piece; or its substrate")
    substrate: str | None = optional(Name(name_of="substrates"))
    thickness: float | None = optional(LENGTH, about="where it is not the piece's own")
    size: Size | None = optional(Object(Size), about="of the print, where it bears on the dwell")
    pressure: tuple[str, ...] = optional(
        Many(Choice(PRESSURES), 3, distinct=True), (), about="words that are said of it"
    )
    peel: tuple[str, ...] = optional(Many(Choice(PEELS), 4, distinct=True), (), about="how warm it is peeled")
    cover: str | None = optional(Name(name_of="consumables"))
    pad: str | None = optional(Name(name_of="consumables"))
    pre_press: float | None = optional(Quantity(units.TIME, zero=True))
    second_press: float | None = optional(Quantity(units.TIME, zero=True))
    own_sheet: bool = optional(
        Flag(),
        False,
        about="whether sheets say it of certain products alone, so that plans without such a sheet need not aim there",
    )
    note: str = _note()


@dataclass(frozen=True, slots=True)
class MigrationCell:
    """How hot a light print may be pressed on dyed polyester: one cell of the table of dye, share and shade.

    Surface temperatures of the hottest spot, °C, for a dwell of ``TABLE_DWELL_S``. Lower is stricter.
    """

    dye: str = required(Choice(MIGRATION_DYES), about="the dye of the ground")
    share: str = required(Choice(MIGRATION_SHARES), about="how much of the cloth is polyester")
    shade: str = required(Choice(MIGRATION_SHADES), about="how deep the ground is dyed")
    fine: float = required(TEMPERATURE, about="up to here nothing is said")
    caution: float = required(TEMPERATURE, about="up to here it is cautioned")
    most: float = required(TEMPERATURE, about="up to here a test or a blocker is required; above, it is refused")
    seen: str = required(Choice(("secondary", "practice", "judgement")), about="how far a source stands behind it")
    sources: tuple[str, ...] = _sources()
    note: str = _note()


SENTENCE = Text(300)


@dataclass(frozen=True, slots=True)
class Advice:
    """What people ask that is no setting, with its answer."""

    title: str = required(Text(160), about="the question, as people ask it")
    answer: tuple[str, ...] = required(Many(SENTENCE, 8, 1), about="the answer, sentence by sentence")
    sources: tuple[str, ...] = _sources()
    aliases: tuple[str, ...] = optional(Many(Text(40), 12, distinct=True), (), about="words that it is looked for by")


@dataclass(frozen=True, slots=True)
class NotCovered:
    """What the book says nothing of, on purpose."""

    title: str = required(Text(100), about="what it is")
    because: str = required(SENTENCE, about="why the book says nothing of it, as a sentence")
    instead: str = required(SENTENCE, about="what to do, as a sentence")
    sources: tuple[str, ...] = _sources()
    aliases: tuple[str, ...] = optional(Many(Text(40), 12, distinct=True), (), about="words that people use for it")


# Kind of entry -> dataclass; the key is the name of its file, or folder, under book/, and the word in
# /v1/catalogue/<kind>.
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
        "practice": PracticePoint,
        "markets": Market,
        "migration": MigrationCell,
        "advice": Advice,
        "not_covered": NotCovered,
    }
)
