"""The heat the piece bears: care label by edition, and the lowest of all ceilings with what binds it.

The care label is no ceiling of its own: it speaks of a moving iron, and pieces are pressed above it every day once a
sample has been. The settings keep below it where they can, and the rules ask for the sample where they cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from accord_rules.documents import units
from accord_rules.orders.order import NO_LABEL, Care
from accord_rules.revision.catalogue import Blank, Coating, Fibre, Finish, Substrate, Transfer
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Assume,
    Scope,
    entries,
    fact,
    later,
    limit,
    limits,
    maybe,
    number,
    one_of,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

ORDER = Scope.ORDER
CEILING_KINDS = ("fibre", "substrate", "coating", "finish", "earlier-decoration")
# ISO 3758: sole-plate temperature by iron dots; the 2023 edition raised each by 10 K. A label does not tell
# its edition, so the older, lower figures hold unless the order gives it.
_EDITION_WITH_HIGHER_CAPS = 2023


@dataclass(frozen=True, slots=True)
class Ceiling:
    """One ceiling on the surface temperature, °C, and a clause that says what it is."""

    value_c: float
    kind: str
    text: str


@fact("item.care", DATA, ORDER, Assume("/item/care", NO_LABEL, "no label unless said: its materials alone count"))
def care(
    said: Care | str | None = source("/item/care"), blank: Blank | None = maybe("blank.entry")
) -> Care | str | None:
    """The care label; the word none where the piece has none."""
    return said if said is not None or blank is None else blank.care


@fact("item.do_not_iron", BOOL, ORDER)
def do_not_iron(label: Care | str = read("item.care")) -> bool:
    """Whether the label says do not iron."""
    return isinstance(label, Care) and label.iron == 0


@fact("item.iron_dots", number(units.COUNT), ORDER)
def iron_dots(label: Care | str = read("item.care")) -> float | None:
    """Iron dots on the label, 0 to 3; unknown without a label."""
    return float(label.iron) if isinstance(label, Care) else None


@fact("item.care_capped", BOOL, ORDER)
def care_capped(label: Care | str = read("item.care")) -> bool:
    """Whether the label gives an iron temperature (one to three dots)."""
    return isinstance(label, Care) and label.iron > 0


@fact("item.care_edition_known", BOOL, ORDER)
def care_edition_known(label: Care | str = read("item.care")) -> bool:
    """Whether the label's edition is known."""
    return isinstance(label, Care) and label.edition is not None


@fact("item.care_cap_c", number(units.TEMPERATURE), ORDER)
def care_cap_c(
    label: Care | str = read("item.care"),
    caps: Mapping[str, float] = limits(
        "care.iron_1_older",
        "care.iron_1_2023",
        "care.iron_2_older",
        "care.iron_2_2023",
        "care.iron_3_older",
        "care.iron_3_2023",
    ),
) -> float | None:
    """The iron temperature the label allows, by its edition; the lower figures if the edition is unknown."""
    if not isinstance(label, Care) or label.iron == 0:
        return None
    newer = label.edition is not None and label.edition >= _EDITION_WITH_HIGHER_CAPS
    return caps[f"care.iron_{label.iron}_{'2023' if newer else 'older'}"]


@fact("item.keep_below_c", DATA, ORDER)
def keep_below_c(
    label_c: float | None = maybe("item.care_cap_c"),
    elastane: float | None = maybe("item.elastane_share"),
    viscose: float | None = maybe("item.viscose_share"),
    olefin: float | None = maybe("item.olefin_share"),
    counted_from: float = limit("fibres.counted_from"),
    elastane_c: float = limit("heat.elastane_sample_above"),
    viscose_c: float = limit("heat.viscose_weakens_above"),
    olefin_c: float = limit("heat.olefin_glazes_above"),
) -> float | None:
    """What settings left open stay below where the transfer can: the label's iron, and what fibres bear untested."""
    shy = ((elastane, elastane_c), (viscose, viscose_c), (olefin, olefin_c))
    caps = [cap for share, cap in shy if share is not None and share >= counted_from]
    return min((cap for cap in (label_c, *caps) if cap is not None), default=None)


@fact("item.ceilings", DATA, ORDER)
def ceilings(
    entry: Substrate = read("substrate.entry"),
    fibres: Callable[[], Mapping[str, float] | None] = later("item.fibres"),
    binding: Callable[[], Fibre | None] = later("item.binding"),
    coating: Callable[[], Coating | None] = later("coating.entry"),
    finishes: Callable[[], tuple[str, ...] | None] = later("item.finishes"),
    already: Callable[[], tuple[str, ...] | None] = later("item.already"),
    finish_entries: Mapping[str, Finish] = entries("finishes"),
    transfers: Mapping[str, Transfer] = entries("transfers"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> tuple[Ceiling, ...] | None:
    """Every known ceiling of the piece, lowest first; None while its fibres or substrate are unknown."""
    if fibres() is None:
        return None

    def ceiling(kind: str, value_c: float, harm: str) -> Ceiling:
        return Ceiling(value_c, kind, f"{harm} {units.show(units.TEMPERATURE, value_c, preferences)}")

    ceilings = [ceiling("substrate", entry.limit, f"{in_a_sentence(entry.title)} {entry.harm} from")]
    if (fibre := binding()) is not None:
        ceilings.append(ceiling("fibre", fibre.harmful_from, f"{fibre.name} {fibre.harm} from"))
    if (coat := coating()) is not None and coat.limit is not None:
        ceilings.append(ceiling("coating", coat.limit, f"its {in_a_sentence(coat.title)} {coat.harm} from"))
    for finish in map(finish_entries.__getitem__, finishes() or ()):
        if finish.limit is not None:
            ceilings.append(ceiling("finish", finish.limit, f"its {in_a_sentence(finish.title)} {finish.harm} from"))
    for earlier in map(transfers.__getitem__, already() or ()):
        if earlier.reheat_limit is not None:
            carried = f"the {in_a_sentence(earlier.title)} it already carries must not pass"
            ceilings.append(ceiling("earlier-decoration", earlier.reheat_limit, carried))
    return _lowest_first(ceilings)


def _lowest_first(ceilings: Iterable[Ceiling]) -> tuple[Ceiling, ...]:
    return tuple(sorted(ceilings, key=lambda ceiling: (ceiling.value_c, ceiling.kind, ceiling.text)))


@fact("item.ceiling_c", number(units.TEMPERATURE), ORDER)
def ceiling_c(ceilings: tuple[Ceiling, ...] = read("item.ceilings")) -> float:
    """The lowest ceiling of the piece: what it bears at the surface under the platen."""
    return ceilings[0].value_c


@fact("item.ceiling_kind", one_of(CEILING_KINDS), ORDER)
def ceiling_kind(ceilings: tuple[Ceiling, ...] = read("item.ceilings")) -> str:
    """What sets the lowest ceiling."""
    return ceilings[0].kind


@fact("item.ceiling_by", TEXT, ORDER)
def ceiling_by(ceilings: tuple[Ceiling, ...] = read("item.ceilings")) -> str:
    """What sets the lowest ceiling, in words with the number."""
    return ceilings[0].text
