"""Outcomes: how pressed pieces came out, and how often, for each transfer, substrate and press type."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from accord_rules.governance.outcomes import Cell
from accord_service.store import names
from accord_service.store.audit import AuditEntry
from accord_service.store.commit import ABSENT, AddToIndex, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.connection import Connection
from accord_service.store.errors import AllReported, Conflict, StoreAway

ATTEMPTS = 50


@dataclass(frozen=True, slots=True)
class CellCount:
    """Reports for one cell. ``failures``: what failed to how often; a report counts once for its own failure."""

    cell: Cell
    good: int
    failures: Mapping[str, int]

    @property
    def failed(self) -> int:
        return sum(self.failures.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRecord:
    """``failure`` is None for a good piece. ``at``: seconds since 1970 (UTC)."""

    id: str
    shop: str
    verdict: str
    cell: Cell
    failure: str | None
    document: Mapping[str, Any]
    at: float


class Outcomes:
    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def add(
        self,
        shop: str,
        verdict: str,
        document: Mapping[str, Any],
        *,
        decoration: int,
        quantity: int,
        cell: Cell,
        failure: str | None,
        who: str,
        also: Callable[[OutcomeRecord], Transaction] = nothing_else,
    ) -> OutcomeRecord:
        """Keep a report on a piece's ``decoration`` and count it, together. Raises AllReported where the ``quantity``
        of pieces is reported already, by whichever of the shop's keys.

        Whether the verdict is the shop's, and what its order says, is the caller's to check.
        """
        record = OutcomeRecord(
            id=secrets.token_hex(8),
            shop=shop,
            verdict=verdict,
            cell=cell,
            failure=failure,
            document=document,
            at=self._committer.clock(),
        )
        key = names.name("outcome", shop, verdict, record.id)
        kept = {
            "cell": [cell.transfer, cell.substrate, cell.press_type],
            "failure": failure,
            "document": document,
            "at": record.at,
        }
        pieces = _pieces_key(shop, verdict, decoration)
        for _ in range(ATTEMPTS):
            reported, version = self._reported(shop, verdict, decoration)
            _leave_room(pieces, reported, quantity)
            before = self._committer.get(_cell_key(cell))
            own = Transaction(
                {key: ABSENT, pieces: version, _cell_key(cell): before.version if before else ABSENT},
                (
                    Put(key, kept),
                    Put(pieces, {"reported": reported + 1}),
                    AddToIndex(names.name("outcomes", shop, verdict), record.id, record.at),
                    Put(_cell_key(cell), _counted(before, failure)),
                    AddToIndex(names.CELLS, names.member(cell.transfer, cell.substrate, cell.press_type), 0),
                ),
            )
            try:
                self._committer.apply(own + also(record), AuditEntry(who, "outcome.add", record.id))
            except Conflict as conflict:
                if conflict.key not in (pieces, _cell_key(cell)):
                    raise
                continue
            return record
        raise StoreAway(f"others counted first {ATTEMPTS} times")

    def leave_room(self, shop: str, verdict: str, decoration: int, quantity: int) -> None:
        """Raises AllReported where ``add`` would."""
        reported, _ = self._reported(shop, verdict, decoration)
        _leave_room(_pieces_key(shop, verdict, decoration), reported, quantity)

    def _reported(self, shop: str, verdict: str, decoration: int) -> tuple[int, int]:
        """The pieces reported for a decoration, and the version of that count."""
        kept = self._committer.get(_pieces_key(shop, verdict, decoration))
        if kept is not None:
            return int(kept.document["reported"]), kept.version
        # Reports that were kept before pieces were counted.
        return sum(each.document.get("decoration") == decoration for each in self.of(shop, verdict)), ABSENT

    def of(self, shop: str, verdict: str) -> tuple[OutcomeRecord, ...]:
        """The reports on one verdict, oldest first."""
        ids = [each.decode() for each in self._connection.ask("ZRANGE", names.name("outcomes", shop, verdict), 0, -1)]
        kept = self._committer.get_all([names.name("outcome", shop, verdict, id_) for id_ in ids])
        return tuple(
            OutcomeRecord(id=id_, shop=shop, verdict=verdict, **{**each.document, "cell": Cell(*each.document["cell"])})
            for id_, each in zip(ids, kept, strict=True)
            if each is not None
        )

    def counts(self) -> tuple[CellCount, ...]:
        """The counts of every cell that has any."""
        members = [each.decode() for each in self._connection.ask("ZRANGE", names.CELLS, 0, -1)]
        cells = [Cell(*(unquote(part) for part in member.split("/"))) for member in members]
        kept = self._committer.get_all([_cell_key(cell) for cell in cells])
        return tuple(
            CellCount(cell, each.document["good"], each.document["failures"])
            for cell, each in zip(cells, kept, strict=True)
            if each is not None
        )


def _counted(before: Versioned | None, failure: str | None) -> dict[str, Any]:
    good, failures = (before.document["good"], dict(before.document["failures"])) if before else (0, {})
    if failure is None:
        return {"good": good + 1, "failures": failures}
    return {"good": good, "failures": {**failures, failure: failures.get(failure, 0) + 1}}


def _leave_room(key: str, reported: int, quantity: int) -> None:
    if reported >= quantity:
        raise AllReported(key, quantity, reported)


def _pieces_key(shop: str, verdict: str, decoration: int) -> str:
    return names.name("outcome-pieces", shop, verdict, decoration)


def _cell_key(cell: Cell) -> str:
    return names.name("outcome-count", cell.transfer, cell.substrate, cell.press_type)
