"""Dye migration: which cell of the book's table holds for a print, and how hot and long it is pressed for that.

The table (``book/migration.toml``) is keyed by dye, share of polyester and shade of the ground. Temperatures are of the
hottest spot at the surface, °C; dwells are of all pressings together, s.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import log2
from types import MappingProxyType
from typing import NamedTuple

from accord_rules.derive.process import Closing
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.documents.colour import Colour
from accord_rules.revision.catalogue import (
    MIGRATION_SHADES,
    MIGRATION_SHARES,
    TABLE_DWELL_S,
    MigrationCell,
    TimeWindow,
    Transfer,
)
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Scope,
    entries,
    fact,
    later,
    limit,
    limits,
    number,
    one_of,
    read,
    source,
)

ORDER, DECORATION, PRESSING = Scope.ORDER, Scope.DECORATION, Scope.PRESSING
_OPEN = ("set.open",)
# The dye of an order or blank -> that of the table; other dyes stay in the cloth.
TABLED: Mapping[str, str] = MappingProxyType(
    {
        "disperse": "unknown",
        "disperse-low-energy": "low-energy",
        "disperse-medium-energy": "medium-energy",
        "disperse-high-energy": "high-energy",
        "sublimated": "sublimated",
        "fluorescent": "fluorescent",
    }
)
_DYE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "unknown": "disperse dye of unknown energy",
        "low-energy": "low-energy disperse dye",
        "medium-energy": "medium-energy disperse dye",
        "high-energy": "high-energy disperse dye",
        "sublimated": "sublimated dye",
        "fluorescent": "fluorescent dye",
    }
)
# What dye is driven into, and so comes out of again; a receptive film is pressed with its dye.
_DYED = ("dye-vapour", "receptive-film")
_SHIFTS = ("migration.longer_by", "migration.shorter_by", "migration.margin")


class Levels(NamedTuple):
    """Up to where nothing is said, up to where it is cautioned, and up to where a test or blocker is required, °C."""

    fine_c: float
    caution_c: float
    most_c: float


# -- the ground ------------------------------------------------------------------------------------------------------


@fact("item.disperse_dyed", BOOL, ORDER)
def disperse_dyed(
    cloth: bool = read("item.textile"),
    white: Callable[[], bool | None] = later("item.ground_white"),
    polyester: Callable[[], float | None] = later("item.polyester_share"),
    said: str | None = source("/item/dye"),
    dye_class: Callable[[], str | None] = later("item.dye"),
    polyester_least: float = limit("migration.polyester_share_least"),
) -> bool | None:
    """Whether the ground carries disperse dye that heat can drive into a print; white cloth only where it is said to be
    sublimated, since a print all over leaves white between."""
    if not cloth or (said != "sublimated" and white()):
        return False
    share, dyed_with = polyester(), dye_class()
    return None if share is None or dyed_with is None else dyed_with in TABLED and share >= polyester_least


@fact("migration.over_fresh", BOOL, DECORATION)
def over_fresh(stack: tuple[Transfer | None, ...] = read("layer.entries")) -> bool | None:
    """Whether it lies on a dye print of this order, with no other print's face between that blocks dye."""
    for layer in stack[1:]:
        if layer is None:
            return None
        if layer.blocks_migration:
            return False
        if layer.principle in _DYED:
            return True
    return False


@fact("migration.dye", one_of(("none", *_DYE_WORDS)), DECORATION)
def migration_dye(
    fresh: Callable[[], bool | None] = later("migration.over_fresh"),
    dyed: Callable[[], bool | None] = later("item.disperse_dyed"),
    dye_class: Callable[[], str | None] = later("item.dye"),
) -> str | None:
    """The dye beneath it, as the table of migration has it; a fresh dye print beneath counts as sublimated."""
    lies_fresh = fresh()
    if lies_fresh is not False:
        return "sublimated" if lies_fresh else None
    on_dyed = dyed()
    if not on_dyed:
        return None if on_dyed is None else "none"
    named = dye_class()
    return None if named is None else TABLED[named]


@fact("migration.share", one_of(MIGRATION_SHARES), DECORATION)
def migration_share(
    fresh: bool = read("migration.over_fresh"),
    polyester: Callable[[], float | None] = later("item.polyester_share"),
    middle_least: float = limit("migration.share_middle_least"),
    rich_least: float = limit("migration.share_rich_least"),
) -> str | None:
    """The band of the ground's share of polyester; a fresh dye print counts as all polyester."""
    share = 100.0 if fresh else polyester()
    if share is None:
        return None
    return "rich" if share >= rich_least else "middle" if share >= middle_least else "lean"


@fact("migration.shade", one_of(MIGRATION_SHADES), DECORATION)
def migration_shade(
    fresh: bool = read("migration.over_fresh"),
    ground: Callable[[], Colour | None] = later("item.ground"),
    light_least: float = limit("migration.light_lightness_least"),
    deep_below: float = limit("migration.deep_lightness_below"),
    red_chroma_least: float = limit("migration.red_chroma_least"),
) -> str | None:
    """How deep the ground is dyed, by its colour; a fresh dye print counts as deep, since it may have every colour.

    Near red: within 45° of the red axis of CIELAB. Reds bleed worst, so they count as deep unless they are light.
    """
    colour = None if fresh else ground()
    if colour is None:
        return "deep" if fresh else None
    if colour.lightness >= light_least:
        return "light"
    red = colour.a >= abs(colour.b) and colour.chroma >= red_chroma_least
    return "deep" if red or colour.lightness < deep_below else "medium"


@fact("migration.cell", DATA, DECORATION)
def migration_cell(
    dye: str = read("migration.dye"),
    share: Callable[[], str | None] = later("migration.share"),
    shade: Callable[[], str | None] = later("migration.shade"),
    cells: Mapping[str, MigrationCell] = entries("migration"),
) -> MigrationCell | None:
    """The cell of the table that holds; unknown where nothing beneath can migrate."""
    return None if dye == "none" else cells.get(f"{dye}-{share()}-{shade()}")


@fact("migration.ground_words", TEXT, DECORATION)
def ground_words(cell: MigrationCell = read("migration.cell"), fresh: bool = read("migration.over_fresh")) -> str:
    """What can migrate, in words."""
    if fresh:
        return "a fresh dye print beneath"
    share = {"rich": "polyester", "middle": "polyester-rich blends", "lean": "blends with some polyester"}
    return f"{_DYE_WORDS[cell.dye]} on {cell.shade}-dyed {share[cell.share]}"


# -- heat and dwell --------------------------------------------------------------------------------------------------


def at_dwell(cell: MigrationCell, time_s: float, shifts_k: Mapping[str, float]) -> Levels:
    """The levels of a cell for a dwell, s: lower by so many K for each doubling, higher for each halving."""
    doublings = log2(time_s / TABLE_DWELL_S)
    per_doubling_k = shifts_k["migration.longer_by" if doublings > 0 else "migration.shorter_by"]
    lower_k = per_doubling_k * doublings + shifts_k["migration.margin"]
    return Levels(*(round(level_c - lower_k, 6) for level_c in (cell.fine, cell.caution, cell.most)))


@fact("migration.usual", DATA, PRESSING)
def usual_levels(
    cell: MigrationCell = read("migration.cell"),
    needed: Needed = read("transfer.needed"),
    second: TimeWindow = read("process.second_press"),
    said_s: float | None = source("/decorations/{i}/settings/time"),
    shifts_k: Mapping[str, float] = limits(*_SHIFTS),
) -> Levels:
    """The levels for the dwell that is said, else the usual one, with the second press: what a temperature left open
    keeps to."""
    time_s = needed.time.aim if said_s is None else said_s
    return at_dwell(cell, time_s + second.aim, shifts_k)


@fact("migration.untested_c", DATA, PRESSING)
def untested_c(levels: Levels = read("migration.usual"), migrates: bool = read("transfer.migrates")) -> float | None:
    """Up to where a light print is pressed without a test, for the usual dwell; unknown where no dye can tint it."""
    return levels.caution_c if migrates else None


@fact("migration.hottest_c", number(units.TEMPERATURE), PRESSING, blamed=_OPEN)
def hottest_c(
    closings: tuple[Closing, ...] = read("process.closings"), spread_k: float = source("chosen/spread_k")
) -> float | None:
    """The hottest spot of the surface in any of its pressings on the piece."""
    on_piece = [closing.surface_c for closing in closings if closing.name != "marry"]
    hot_c = [surface_c for surface_c in on_piece if surface_c is not None]
    return round(max(hot_c) + spread_k, 6) if hot_c and len(hot_c) == len(on_piece) else None


@fact("migration.dwell_s", number(units.TIME), PRESSING, blamed=_OPEN)
def dwell_s(
    closings: tuple[Closing, ...] = read("process.closings"),
    under_another: bool = read("layer.under_another"),
) -> float | None:
    """How long it is pressed on the piece in all; what is tacked is pressed again with the print on top, for at least
    the dwell that the table holds for."""
    total_s = sum(closing.time_s for closing in closings if closing.name != "marry")
    return float(max(total_s, TABLE_DWELL_S) if under_another else total_s) or None


@fact("migration.levels", DATA, PRESSING)
def levels(
    cell: MigrationCell = read("migration.cell"),
    time_s: float = read("migration.dwell_s"),
    shifts_k: Mapping[str, float] = limits(*_SHIFTS),
) -> Levels:
    """The levels of its cell for its dwell."""
    return at_dwell(cell, time_s, shifts_k)


@fact("migration.fine_c", number(units.TEMPERATURE), PRESSING)
def fine_c(levels: Levels = read("migration.levels")) -> float:
    """Up to here, for this dwell, a light print on this ground is nothing to speak of."""
    return levels.fine_c


@fact("migration.caution_c", number(units.TEMPERATURE), PRESSING)
def caution_c(levels: Levels = read("migration.levels")) -> float:
    """Up to here, for this dwell, a light print on this ground may tint; above, it takes a test or a blocker."""
    return levels.caution_c


@fact("migration.most_c", number(units.TEMPERATURE), PRESSING)
def most_c(levels: Levels = read("migration.levels")) -> float:
    """Up to here, for this dwell, a light print on this ground can be tried; above, it is refused."""
    return levels.most_c
