"""The order in which rows of the book are told, whoever tells them."""

from __future__ import annotations

from collections.abc import Iterable

from accord_rules.revision.catalogue import MIGRATION_DYES, MIGRATION_SHADES, MIGRATION_SHARES
from accord_rules.verdict import STAGES
from accord_service.cli.told import Document, StepRow


def in_order(rows: Iterable[StepRow]) -> list[StepRow]:
    """As plans have them; stages that this command does not know come last."""
    stages = {stage: place for place, stage in enumerate(STAGES)}
    return sorted(rows, key=lambda row: (stages.get(row.stage, len(stages)), row.rank, row.id))


def by_words(cells: Iterable[Document]) -> list[Document]:
    """In the order of the table's words; those that this command does not know come last."""
    words = {"dye": MIGRATION_DYES, "share": MIGRATION_SHARES, "shade": MIGRATION_SHADES}

    def place(cell: Document) -> list[int]:
        return [known.index(cell[key]) if cell[key] in known else len(known) for key, known in words.items()]

    return sorted(cells, key=place)
