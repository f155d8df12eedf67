"""How reported pieces came out, by transfer, substrate and type of press."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from accord_rules.documents.counted import counted
from accord_service.api.v1.get_catalogue_entry import get_catalogue_entry
from accord_service.api.v1.get_catalogue_kind import get_catalogue_kind
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


def outcomes_of(visit: Visit) -> tuple[Outcome, ...]:
    """Every cell of which something was reported, the poor ones first."""
    return tuple(sorted(_cells(visit), key=lambda cell: (not cell.poor, -cell.failed, cell.transfer, cell.substrate)))


def _cells(visit: Visit) -> Iterator[Outcome]:
    titles = {kind: _titles(visit, kind) for kind in ("transfers", "substrates", "press_types")}
    for family, title in titles["transfers"].items():
        told = visit.ask(get_catalogue_entry, path={"kind": "transfers", "name": family}).document
        for cell in told["outcomes"]:
            yield Outcome(
                transfer=title,
                transfer_id=family,
                substrate=titles["substrates"].get(cell["substrate"], cell["substrate"]),
                press_type=titles["press_types"].get(cell["press_type"], cell["press_type"]),
                good=cell["good"],
                failed=cell["failed"],
                share=share(cell),
                failures=_failures(cell),
                seen_by=f"{counted(cell['shops'], 'shop')}, {counted(cell['orders'], 'recorded order')}",
                poor=cell["poor"],
            )


def _titles(visit: Visit, kind: str) -> dict[str, str]:
    told = visit.ask(get_catalogue_kind, path={"kind": kind}, query={"limit": "200"}).document
    return {entry["id"]: entry["entry"].get("title", entry["id"]) for entry in told["entries"]}


def _failures(cell: Document) -> str:
    ranked = sorted(cell["failures"].items(), key=lambda failure: (-failure[1], failure[0]))
    return ", ".join(f"{name.replace('-', ' ')} {count}" for name, count in ranked)


@page("/desk/outcomes")
def desk_outcomes(visit: Visit) -> str:
    """Counts with what they say about the share that comes out good."""
    return page_of("outcomes.html", outcomes=outcomes_of(visit))
