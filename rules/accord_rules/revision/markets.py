"""The entries of ``book/markets/<id>.toml``: what the law of one place says of decorated goods, a row a matter.

A row that is left out says that no such rule is known there, which does not mean that there is none. Ages are in years,
"under" as laws put it: what is under 13 is meant for 12 years or younger.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Choice, Flag, Many, Name, Number, Object, Quantity, Text, optional, required
from accord_rules.orders.order import EVIDENCE
from accord_rules.verdict import LEVELS

# How far the wording was seen, best first.
SEEN = (
    "text",  # on the page of the government or agency that issued it
    "copy",  # in somebody's copy of the law
    "opening",  # its beginning alone, the number not on view
    "secondary",  # repeated by a laboratory, a council, the trade or the press
    "memory",  # not seen
)
PRESSURE_UNITS = ("psi", "kPa", "bar")
ELSEWHERE = "elsewhere"  # the market of whoever sells where the book has none: every book has it
# Levels that an order has to be able to meet, and matters that no paper settles.
WITH_PROOF = ("blocks", "requires")
NEVER_PROVED = ("continuous_load", "plug_fuse")
# Fields of rows, and whether a higher value holds more people back.
HIGHER_IS_STRICTER = {
    **dict.fromkeys(("age_under", "height_most", "across", "plain_from", "together"), True),
    **dict.fromkeys(("out_most", "flux_index_under", "blank_most", "coating_most", "most", "release_most"), False),
    "plastic_most": False,
    **dict.fromkeys(("lead_most", "cadmium_most", "share_most", "rating", "long_load_most"), False),
}
LEVEL_FIELDS = ("level", "fitted_level")
# Fields that no rule weighs.
SAID_FIELDS = ("applies_to", "seen", "sources", "note")

_AGE = Number(0, 19)
_PART = Quantity(units.MASS_FRACTION)
_LENGTH = Quantity(units.LENGTH)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarketRow:
    """What a market's law, or this collective where the book knows none, says of one matter."""

    applies_to: str = required(Text(400), about="what it is said of")
    level: str = required(Choice(LEVELS), about="what it comes to for an order")
    seen: str = required(Choice(SEEN), about="how far its wording was seen")
    sources: tuple[str, ...] = required(Many(Name(name_of="sources"), 8, 1), about="ids of sources")
    lifted_by: tuple[str, ...] = optional(
        Many(Choice(EVIDENCE), 6, distinct=True), (), about="evidence of an order, any of which settles it"
    )
    note: str = optional(Text(1000), "", about="what else is worth knowing")

    def looser_in(self, after: MarketRow) -> Iterator[str]:
        """The fields in which another row of the same matter may hold back less than this one."""
        for name in type(self).__dataclass_fields__:
            if not _as_strict(name, getattr(self, name), getattr(after, name)):
                yield name


def _as_strict(field: str, before: Any, after: Any) -> bool:
    """Whether a row's field holds back as much as it did; in doubt it does not."""
    if before == after or field in SAID_FIELDS:
        return True
    if field in LEVEL_FIELDS:
        return LEVELS.index(after) <= LEVELS.index(before)
    if field == "lifted_by":
        return set(after) <= set(before)
    if field not in HIGHER_IS_STRICTER:
        return False
    if None in (before, after):  # an age that is left out holds for all, a height for nobody
        return (after is None) is (field == "age_under")
    return (after > before) is HIGHER_IS_STRICTER[field]


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeRow(MarketRow):
    """What holds for the young."""

    age_under: float = required(_AGE, about="years; for whom of this age or more it does not hold")


@dataclass(frozen=True, slots=True, kw_only=True)
class CordRow(AgeRow):
    """Cords of garments for the young."""

    height_most: float | None = optional(_LENGTH, about="body height up to which it holds as well")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaistCordRow(CordRow):
    """Cords at waist and hem, which may stick out a little."""

    out_most: float = required(_LENGTH, about="by how much their ends may stick out")


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallPartsRow(AgeRow):
    """Parts that a child can swallow."""

    across: float = required(_LENGTH, about="width of the cylinder into which no part may fit")


@dataclass(frozen=True, slots=True, kw_only=True)
class MagnetRow(MarketRow):
    """Magnets that can be swallowed."""

    flux_index_under: float = required(Quantity(units.FLUX_INDEX))


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadRow(AgeRow):
    """Lead in what children use."""

    blank_most: float = required(_PART, about="in any part that can be touched")
    coating_most: float = required(_PART, about="in paint and similar coatings")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhthalateRow(MarketRow):
    """Plasticisers."""

    most: float = required(_PART, about="of plasticised material")
    substances: str = required(Text(80), about="which")
    together: bool = required(Flag(), about="whether that is for all of them together; else for each")
    age_under: float | None = optional(_AGE, about="years; left out where it holds for all")


@dataclass(frozen=True, slots=True, kw_only=True)
class NickelRow(MarketRow):
    """Nickel of metal parts on the skin."""

    release_most: float = required(Quantity(units.METAL_RELEASE))


@dataclass(frozen=True, slots=True, kw_only=True)
class CadmiumRow(MarketRow):
    """Cadmium of metal parts."""

    most: float = required(_PART, about="of a metal part")
    plastic_most: float | None = optional(
        _PART, about="of PVC and other named plastics; left out where it is metal alone"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothSubstanceRow(MarketRow):
    """A substance of dyes and finishes of cloth."""

    most: float = required(_PART, about="of it")
    substances: str = required(Text(80), about="which, in words")


@dataclass(frozen=True, slots=True, kw_only=True)
class FibreLabelRow(MarketRow):
    """What a fibre label may leave out of decoration made of fibres."""

    share_most: float = required(Number(0.1, 100), about="percent of the piece; of its mass or its surface")


@dataclass(frozen=True, slots=True, kw_only=True)
class NightwearRow(AgeRow):
    """Fire in nightwear for the young; its level is that of loose cuts."""

    fitted_level: str = required(Choice(LEVELS), about="the level where it is cut to fit tightly")


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothRow(MarketRow):
    """Fire in clothing of any age."""

    plain_from: float = required(Quantity(units.AREA_DENSITY), about="from here on plain cloth is not tested")


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodRow(MarketRow):
    """Metals that ware gives off into food: the figures of hollow ware, or of cups where they have their own."""

    lead_most: float = required(Quantity(units.LEACHING))
    cadmium_most: float = required(Quantity(units.LEACHING))


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadRow(MarketRow):
    """Loads that last for hours; its level is that of more than this share and not more than the whole."""

    share_most: float = required(Number(1, 100), about="percent of a circuit's rating")


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseRow(MarketRow):
    """Plugs that have a fuse of their own."""

    rating: float = required(Quantity(units.CURRENT))
    long_load_most: float = required(Quantity(units.CURRENT), about="what it bears for hours without getting hot")
    voltage: float = required(Quantity(units.VOLTAGE))


def _row(into: type, about: str) -> Any:
    return optional(Object(into), about=about)


@dataclass(frozen=True, slots=True, kw_only=True)
class Market:
    """One place where pieces are sold, or where a shop stands."""

    title: str = required(Text(80), about="the place")
    where: str = required(Text(80), about="the same as a sentence says it: in the place")
    pressure_unit: str = required(Choice(PRESSURE_UNITS), about="what gauges and sheets usually show there")
    childrens_product: AgeRow = required(Object(AgeRow), about="who is a child where goods for children are meant")
    toys: AgeRow | None = _row(AgeRow, "tests and markings of toys")
    hood_cords: CordRow | None = _row(CordRow, "cords in hood or neck that may not be there at all")
    hood_cord_ends: CordRow | None = _row(CordRow, "cords in hood or neck that may have no free ends")
    waist_cords: WaistCordRow | None = _row(WaistCordRow, "cords at waist and hem")
    small_parts: SmallPartsRow | None = _row(SmallPartsRow, "parts that come off, or are small from the start")
    small_parts_warning: AgeRow | None = _row(AgeRow, "the warning on toys with small parts for those older than that")
    magnets: MagnetRow | None = _row(MagnetRow, "magnets that can be swallowed")
    lead: LeadRow | None = _row(LeadRow, "lead in what children use")
    certificate: AgeRow | None = _row(AgeRow, "papers that the seller of a child's piece issues")
    nickel: NickelRow | None = _row(NickelRow, "nickel on the skin")
    cadmium: CadmiumRow | None = _row(CadmiumRow, "cadmium in metal parts")
    toy_phthalates: PhthalateRow | None = _row(PhthalateRow, "plasticisers of toys and childcare articles")
    skin_phthalates: PhthalateRow | None = _row(PhthalateRow, "plasticisers of what lies on the skin for long")
    azo_dyes: ClothSubstanceRow | None = _row(ClothSubstanceRow, "amines of dyes of cloth and leather on the skin")
    cloth_metals: ClothSubstanceRow | None = _row(ClothSubstanceRow, "what harms genes and cells, in clothing")
    fluorine: ClothSubstanceRow | None = _row(ClothSubstanceRow, "fluorine of repellent finishes")
    protective_wear: MarketRow | None = _row(MarketRow, "whoever alters wear that protects")
    medical_devices: MarketRow | None = _row(MarketRow, "whoever alters medical wear")
    fibre_label: FibreLabelRow | None = _row(FibreLabelRow, "fibres of a decoration on the label")
    nightwear: NightwearRow | None = _row(NightwearRow, "fire in children's nightwear")
    clothing_fire: ClothRow | None = _row(ClothRow, "fire in clothing")
    food_contact: FoodRow | None = _row(FoodRow, "prints where food or drink touches")
    decorated_ware: MarketRow | None = _row(MarketRow, "decorated ware for food, wherever the print is")
    continuous_load: LoadRow | None = _row(LoadRow, "circuits under a load that lasts")
    plug_fuse: FuseRow | None = _row(FuseRow, "fuses in plugs")
    aliases: tuple[str, ...] = optional(
        Many(Text(40), 12, distinct=True), (), about="other words for it that an order may use"
    )
    note: str = optional(Text(1000), "", about="what else is worth knowing")

    @property
    def rows(self) -> Iterator[tuple[str, MarketRow]]:
        """The rows there are, by the names of their matters."""
        for name in type(self).__dataclass_fields__:
            if isinstance(row := getattr(self, name), MarketRow):
                yield name, row

    @property
    def contradictions(self) -> Iterator[tuple[str, str]]:
        """Pointer and message of what cannot be: what is milder for the younger, or for the heavier load."""
        young, older = self.hood_cords, self.hood_cord_ends
        if young is not None and older is not None and older.age_under < young.age_under:
            yield "/hood_cord_ends/age_under", f"must not be below that of hood_cords, {young.age_under:g}"
        if self.small_parts is not None and self.small_parts_warning is not None:
            if self.small_parts_warning.age_under <= self.small_parts.age_under:
                why = f"must be above that of small_parts, {self.small_parts.age_under:g}"
                yield "/small_parts_warning/age_under", why
        if self.nightwear is not None and LEVELS.index(self.nightwear.fitted_level) < LEVELS.index(
            self.nightwear.level
        ):
            yield "/nightwear/fitted_level", f"must not be firmer than for loose cuts, {self.nightwear.level}"
        if self.plug_fuse is not None and self.plug_fuse.long_load_most > self.plug_fuse.rating:
            yield "/plug_fuse/long_load_most", "must not be above the rating"
        for name, row in self.rows:
            if row.level in WITH_PROOF and not row.lifted_by and name not in NEVER_PROVED:
                yield f"/{name}/lifted_by", f"is required where the level is {row.level}: name what settles it"

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources of all its rows."""
        return tuple(sorted({source for _, row in self.rows for source in row.sources}))
