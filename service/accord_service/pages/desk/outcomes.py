"""How reported pieces came out, by transfer, substrate and type of press."""

from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.counted import counted
from accord_service.api.v1.get_outcomes import get_outcomes
from accord_service.pages.desk.words import Document, page_of, share
from accord_service.pages.visit import Visit, page


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One cell of the counts, in words."""

    transfer: str
    transfer_id: str
    substrate: str
    press_type: str
    good: int
    failed: int
    share: str
    failures: str
    seen_by: str
    poor: bool


def outcomes_of(visit: Visit, *, poor: bool = False) -> tuple[Outcome, ...]:
    """Every cell of which something was reported, the poor ones first; or these alone."""
    cells = visit.entries(get_outcomes, query={"poor": "true"} if poor else {})
    return tuple(map(_outcome, sorted(cells, key=lambda cell: (not cell["poor"], -cell["failed"]))))


def _outcome(cell: Document) -> Outcome:
    titles = cell["titles"]
    return Outcome(
        transfer=titles["transfer"],
        transfer_id=cell["transfer"],
        substrate=titles["substrate"],
        press_type=titles["press_type"],
        good=cell["good"],
        failed=cell["failed"],
        share=share(cell),
        failures=_failures(cell),
        seen_by=f"{counted(cell['shops'], 'shop')}, {counted(cell['orders'], 'recorded order')}",
        poor=cell["poor"],
    )


def _failures(cell: Document) -> str:
    ranked = sorted(cell["failures"].items(), key=lambda failure: (-failure[1], failure[0]))
    return ", ".join(f"{name.replace('-', ' ')} {count}" for name, count in ranked)


@page("/desk/outcomes")
def desk_outcomes(visit: Visit) -> str:
    """Counts with what they say about the share that comes out good."""
    return page_of("outcomes.html", outcomes=outcomes_of(visit))
