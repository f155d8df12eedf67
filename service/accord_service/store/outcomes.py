"""Outcomes: how the pieces of recorded orders came out, and how often, for each transfer, substrate, press type."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from accord_rules.governance.outcomes import Cell
from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, AddToIndex, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.connection import Connection
from accord_service.store.errors import AllReported, Conflict, StoreAway
from accord_service.store.index import Page, number_of
from accord_service.store.records import OrderRecord

ATTEMPTS = 50
PAGE = 50


@dataclass(frozen=True, slots=True)
class CellCount:
    """Reports for one cell. ``failures``: what failed to how often; a report counts once for its own failure."""

    cell: Cell
    good: int
    failures: Mapping[str, int]

    @property
    def failed(self) -> int:
        """Pieces that failed, whatever failed."""
        return sum(self.failures.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRecord:
    """``outcome_id``: o1, o2 ... in the order in which a record's outcomes were reported, None before it is kept.

    ``failure`` is None for a good piece. ``reported_at``: seconds since 1970 (UTC). ``drafted_proposal_id``: the
    proposal that this report drafted.
    """

    outcome_id: str | None
    record_id: str
    cell: Cell
    failure: str | None
    document: Mapping[str, Any]
    reported_at: float
    drafted_proposal_id: str | None = None


class OutcomeStore:
    """Reports on the pieces of recorded orders. All there is about a record's outcomes ends when the record does."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def add(
        self,
        record: OrderRecord,
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

        What the record's order says is the caller's to check.
        """
        now = self._committer.clock()
        lives_s = None if record.expires_at is None else max(1, math.ceil(record.expires_at - now))
        pieces = _pieces_key(record)
        for _ in range(ATTEMPTS):
            reported, version = self._reported(record)
            _leave_room(pieces, reported[decoration], quantity)
            number = reported.total() + 1
            outcome = OutcomeRecord(
                outcome_id=f"o{number}",
                record_id=record.record_id,
                cell=cell,
                failure=failure,
                document=document,
                reported_at=now,
            )
            before = self._committer.get(_cell_key(cell))
            own = Transaction(
                {pieces: version, _cell_key(cell): before.version if before else ABSENT},
                (
                    Put(_outcome_key(record, number), _kept(outcome), lives_s),
                    Put(pieces, _one_more(reported, decoration), lives_s),
                    Put(_cell_key(cell), _counted(before, failure)),
                    AddToIndex(names.CELLS, names.member(cell.transfer, cell.substrate, cell.press_type), 0),
                ),
            )
            entry = UnsealedEntry(who, Event.OUTCOME_REPORTED, names.member(record.record_id, f"o{number}"))
            try:
                self._committer.apply(own + also(outcome), entry)
            except Conflict as conflict:
                if conflict.key not in (pieces, _cell_key(cell)):
                    raise
                continue
            return outcome
        raise StoreAway(f"others counted first {ATTEMPTS} times")

    def drafting(self, record: OrderRecord, outcome: OutcomeRecord, proposal_id: str) -> Transaction:
        """Notes with a report just added which proposal it drafted, in the commit that keeps the proposal."""
        number = _number_in(outcome.outcome_id or "")
        if number is None:
            raise ValueError("the report is not kept yet")
        key = _outcome_key(record, number)
        return Transaction({key: 1}, (Put(key, _kept(replace(outcome, drafted_proposal_id=proposal_id))),))

    def leave_room(self, record: OrderRecord, decoration: int, quantity: int) -> None:
        """Raises AllReported where ``add`` would."""
        reported, _ = self._reported(record)
        _leave_room(_pieces_key(record), reported[decoration], quantity)

    def get(self, record: OrderRecord, outcome_id: str) -> OutcomeRecord | None:
        """One report on a record's order."""
        number = _number_in(outcome_id)
        if number is None:
            return None
        return _outcome(record, number, self._committer.get(_outcome_key(record, number)))

    def page(self, record: OrderRecord, cursor: str | None = None, limit: int = PAGE) -> Page[OutcomeRecord]:
        """The reports on a record's order, newest first. Raises ValueError for a cursor that no page gave."""
        newest = self._reported(record)[0].total()
        if cursor is not None:
            start = number_of(cursor)
            if start is None:
                raise ValueError("not a cursor that a page gave")
            newest = min(start, newest)
        numbers = range(newest, max(newest - limit, 0), -1)
        documents = self._committer.get_all([_outcome_key(record, number) for number in numbers])
        outcomes = (_outcome(record, number, versioned) for number, versioned in zip(numbers, documents, strict=True))
        following = str(newest - limit) if newest > limit else None
        return Page(tuple(outcome for outcome in outcomes if outcome is not None), following)

    def _reported(self, record: OrderRecord) -> tuple[Counter[int], int]:
        """The pieces reported for each decoration, and the version of that count."""
        versioned = self._committer.get(_pieces_key(record))
        if versioned is None:
            return Counter(), ABSENT
        return Counter({int(decoration): count for decoration, count in versioned.document.items()}), versioned.version

    def counts(self) -> tuple[CellCount, ...]:
        """The counts of every cell that has any."""
        members = [member.decode() for member in self._connection.ask("ZRANGE", names.CELLS, 0, -1)]
        cells = [Cell(*names.parts(member)) for member in members]
        documents = self._committer.get_all([_cell_key(cell) for cell in cells])
        return tuple(
            CellCount(cell, versioned.document["good"], versioned.document["failures"])
            for cell, versioned in zip(cells, documents, strict=True)
            if versioned is not None
        )


def _number_in(outcome_id: str) -> int | None:
    return number_of(outcome_id.removeprefix("o")) if outcome_id.startswith("o") else None


def _counted(before: Versioned | None, failure: str | None) -> dict[str, Any]:
    good, failures = (before.document["good"], dict(before.document["failures"])) if before else (0, {})
    if failure is None:
        return {"good": good + 1, "failures": failures}
    return {"good": good, "failures": {**failures, failure: failures.get(failure, 0) + 1}}


def _one_more(reported: Counter[int], decoration: int) -> dict[str, int]:
    return {str(place): count for place, count in (reported + Counter([decoration])).items()}


def _leave_room(key: str, reported: int, quantity: int) -> None:
    if reported >= quantity:
        raise AllReported(key, quantity, reported)


def _pieces_key(record: OrderRecord) -> str:
    return names.name("outcome-pieces", record.shop_id, record.record_id)


def _outcome_key(record: OrderRecord, number: int) -> str:
    return names.name("outcome", record.shop_id, record.record_id, number)


def _kept(outcome: OutcomeRecord) -> dict[str, Any]:
    cell = [outcome.cell.transfer, outcome.cell.substrate, outcome.cell.press_type]
    return {
        "cell": cell,
        "failure": outcome.failure,
        "document": outcome.document,
        "reported_at": outcome.reported_at,
        "drafted_proposal_id": outcome.drafted_proposal_id,
    }


def _outcome(record: OrderRecord, number: int, versioned: Versioned | None) -> OutcomeRecord | None:
    if versioned is None:
        return None
    fields = {**versioned.document, "cell": Cell(*versioned.document["cell"])}
    return OutcomeRecord(outcome_id=f"o{number}", record_id=record.record_id, **fields)


def _cell_key(cell: Cell) -> str:
    return names.name("outcome-count", cell.transfer, cell.substrate, cell.press_type)
