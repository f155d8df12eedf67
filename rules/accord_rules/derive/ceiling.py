"""The heat the piece bears: care label by edition, and the lowest of all ceilings with what binds it.

The care label is no ceiling of its own: it speaks of a moving iron, and pieces are pressed above it every day once a
sample has been. The settings keep below it where they can, and the rules ask for the sample where they cannot.
"""

from __future__ import annotations

from dataclasses import dataclass

from accord_rules.derive.case import Case
from accord_rules.derive.fibres import binding
from accord_rules.documents import units
from accord_rules.orders.order import NO_LABEL, Care
from accord_rules.revision.facts import BOOL, DATA, TEXT, Assume, Scope, fact, number, one_of
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


@fact("item.care", DATA, ORDER, Assume("/item/care", NO_LABEL, "no care label said: judged by its materials alone"))
def care(case: Case) -> str | Care | None:
    """The care label; the word none where the piece has none."""
    said: str | Care | None = case.said("care")
    return said


@fact("item.do_not_iron", BOOL, ORDER)
def do_not_iron(case: Case) -> bool | None:
    """Whether the label says do not iron."""
    label = case["item.care"]
    return None if label is None else label != NO_LABEL and label.iron == 0


@fact("item.iron_dots", number(units.COUNT), ORDER)
def iron_dots(case: Case) -> float | None:
    """Iron dots on the label, 0 to 3; unknown without a label."""
    label = case["item.care"]
    return None if label in (None, NO_LABEL) else float(label.iron)


@fact("item.care_capped", BOOL, ORDER)
def care_capped(case: Case) -> bool | None:
    """Whether the label gives an iron temperature (one to three dots)."""
    label = case["item.care"]
    return None if label is None else label != NO_LABEL and label.iron > 0


@fact("item.care_edition_known", BOOL, ORDER)
def care_edition_known(case: Case) -> bool | None:
    """Whether the label's edition is known."""
    label = case["item.care"]
    return None if label is None else label != NO_LABEL and label.edition is not None


@fact("item.care_cap_c", number(units.TEMPERATURE), ORDER)
def care_cap_c(case: Case) -> float | None:
    """The iron temperature the label allows, by its edition; the lower figures if the edition is unknown."""
    label = case["item.care"]
    if label in (None, NO_LABEL) or label.iron == 0:
        return None
    newer = label.edition is not None and label.edition >= _EDITION_WITH_HIGHER_CAPS
    return case.limit(f"care.iron_{label.iron}_{'2023' if newer else 'older'}")


@fact("item.ceilings", DATA, ORDER)
def ceilings(case: Case) -> tuple[Ceiling, ...] | None:
    """Every known ceiling of the piece, lowest first; None while its fibres or substrate are unknown."""
    if case.substrate is None or case["item.fibres"] is None:
        return None
    found = [*_fibre(case), *_substrate(case), *_coating(case), *_finishes(case), *_earlier(case)]
    return tuple(sorted(found, key=lambda each: (each.value_c, each.kind, each.text)))


def _at(case: Case, value_c: float) -> str:
    return case.show(units.TEMPERATURE, value_c)


def _fibre(case: Case) -> list[Ceiling]:
    bound = binding(case)
    if bound is None:
        return []
    fibre = bound[1]
    return [Ceiling(fibre.harmful_from, "fibre", f"{fibre.name} {fibre.harm} from {_at(case, fibre.harmful_from)}")]


def _substrate(case: Case) -> list[Ceiling]:
    entry = case.substrate
    if entry is None:
        return []
    return [
        Ceiling(entry.limit, "substrate", f"{in_a_sentence(entry.title)} {entry.harm} from {_at(case, entry.limit)}")
    ]


def _coating(case: Case) -> list[Ceiling]:
    name = case["item.coating"]
    entry = case.entry("coatings", name) if name is not None else None
    if entry is None or entry.limit is None:
        return []
    return [
        Ceiling(entry.limit, "coating", f"its {in_a_sentence(entry.title)} {entry.harm} from {_at(case, entry.limit)}")
    ]


def _finishes(case: Case) -> list[Ceiling]:
    entries = [case.entry("finishes", name) for name in case["item.finishes"] or ()]
    return [
        Ceiling(entry.limit, "finish", f"its {in_a_sentence(entry.title)} {entry.harm} from {_at(case, entry.limit)}")
        for entry in entries
        if entry.limit is not None
    ]


def _earlier(case: Case) -> list[Ceiling]:
    entries = [case.entry("transfers", name) for name in case["item.already"] or ()]
    return [
        Ceiling(
            entry.reheat_limit,
            "earlier-decoration",
            f"the {in_a_sentence(entry.title)} it already carries must not pass {_at(case, entry.reheat_limit)}",
        )
        for entry in entries
        if entry.reheat_limit is not None
    ]


@fact("item.ceiling_c", number(units.TEMPERATURE), ORDER)
def ceiling_c(case: Case) -> float | None:
    """The lowest ceiling of the piece: what it bears at the surface under the platen."""
    found = case["item.ceilings"]
    return found[0].value_c if found else None


@fact("item.ceiling_kind", one_of(CEILING_KINDS), ORDER)
def ceiling_kind(case: Case) -> str | None:
    """What sets the lowest ceiling."""
    found = case["item.ceilings"]
    return found[0].kind if found else None


@fact("item.ceiling_by", TEXT, ORDER)
def ceiling_by(case: Case) -> str | None:
    """What sets the lowest ceiling, in words with the number."""
    found = case["item.ceilings"]
    return found[0].text if found else None
