"""Outcomes: how the pieces of recorded orders came out, and how often, for each transfer, substrate, press type."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from accord_rules.governance.outcomes import Cell, ShopCounts
from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, AddToIndex, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.connection import Connection
from accord_service.store.errors import AllReported, Conflict, NotThere, StoreAway
from accord_service.store.index import Page, number_of
from accord_service.store.records import OrderRecord

ATTEMPTS = 50
PAGE = 50


@dataclass(frozen=True, slots=True)
class CellCount:
    """Reports for one cell. ``failures``: what failed to how often; a report counts once for its own failure.
    ``shops``: the same shop by shop, without what was reported before shops were counted."""

    cell: Cell
    good: int
    failures: Mapping[str, int]
    shops: Mapping[str, ShopCounts]

    @property
    def failed(self) -> int:
        """Pieces that failed, whatever failed."""
        return sum(self.failures.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRecord:
    """``outcome_id``: o1, o2 ... in the order in which a record's outcomes were reported, None before it is kept.

    ``failure`` is None for a good piece. ``reported_at``: seconds since 1970 (UTC). ``drafted_proposal_id``: the
    proposal that this report drafted. ``reported_by``: the id of a key, None for one from before that was kept.
    ``withdrawn_at``: when its reporter took it back; it counts no more.
    """

    outcome_id: str | None
    record_id: str
    cell: Cell
    failure: str | None
    document: Mapping[str, Any]
    reported_at: float
    drafted_proposal_id: str | None = None
    reported_by: str | None = None
    withdrawn_at: float | None = None


@dataclass(frozen=True, slots=True)
class _Pieces:
    """What is reported of one record: pieces by decoration and by cell, and the number of the newest report. A report
    that was withdrawn keeps its number, and counts no piece."""

    by_decoration: Counter[int]
    by_cell: Counter[str]
    newest: int

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> _Pieces:
        """Of one written before reports could be withdrawn, the cells are not known, and each report is a piece."""
        pieces = document.get("pieces", document)
        by_decoration = Counter({int(decoration): count for decoration, count in pieces.items()})
        return cls(by_decoration, Counter(document.get("cells", {})), document.get("newest", by_decoration.total()))

    def document(self) -> dict[str, Any]:
        pieces = {str(decoration): count for decoration, count in self.by_decoration.items()}
        return {"pieces": pieces, "cells": dict(self.by_cell), "newest": self.newest}

    def changed(self, decoration: int, cell: Cell, by: int) -> _Pieces:
        """With a report more, or one less."""
        by_decoration, by_cell = Counter(self.by_decoration), Counter(self.by_cell)
        by_decoration[decoration] += by
        by_cell[_member(cell)] += by
        return _Pieces(+by_decoration, +by_cell, self.newest + max(by, 0))

    def is_first(self, cell: Cell) -> bool:
        """Whether one piece, and no more, counts for the cell."""
        return self.by_cell[_member(cell)] == 1


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
        lives_s, pieces = _lives_s(record, now), _pieces_key(record)
        for _ in range(ATTEMPTS):
            reported, version = self._reported(record)
            _leave_room(pieces, reported.by_decoration[decoration], quantity)
            after = reported.changed(decoration, cell, 1)
            number = after.newest
            outcome = OutcomeRecord(
                outcome_id=f"o{number}",
                record_id=record.record_id,
                cell=cell,
                failure=failure,
                document=document,
                reported_at=now,
                reported_by=who,
            )
            before = self._committer.get(_cell_key(cell))
            own = Transaction(
                {pieces: version, _cell_key(cell): before.version if before else ABSENT},
                (
                    Put(_outcome_key(record, number), _kept(outcome), lives_s),
                    Put(pieces, after.document(), lives_s),
                    Put(_cell_key(cell), _counted(before, record.shop_id, failure, 1, int(after.is_first(cell)))),
                    AddToIndex(names.CELLS, _member(cell), 0),
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

    def withdraw(
        self,
        record: OrderRecord,
        outcome_id: str,
        *,
        who: str,
        also: Callable[[OutcomeRecord], Transaction] = nothing_else,
    ) -> OutcomeRecord:
        """Take a report back: it stays to be read and counts no more, and another may be made of its piece. Whose it is
        is the caller's to see to. Raises NotThere; one that was withdrawn stays as it is."""
        number = _number_in(outcome_id)
        for _ in range(ATTEMPTS):
            key = _outcome_key(record, number or 0)
            versioned = self._committer.get(key)
            old = _outcome(record, number or 0, versioned)
            if old is None or versioned is None:
                raise NotThere(f"record {record.record_id} has no outcome {outcome_id!r}")
            if old.withdrawn_at is not None:
                return old
            now = self._committer.clock()
            withdrawn = replace(old, withdrawn_at=now)
            reported, version = self._reported(record)
            before = self._committer.get(_cell_key(old.cell))
            orders = int(reported.is_first(old.cell))
            counted = _counted(before, record.shop_id, old.failure, -1, -orders)
            pieces, cell = _pieces_key(record), _cell_key(old.cell)
            own = Transaction(
                {key: versioned.version, pieces: version, cell: before.version if before else ABSENT},
                (
                    Put(key, _kept(withdrawn)),
                    Put(
                        pieces,
                        reported.changed(old.document["decoration"], old.cell, -1).document(),
                        _lives_s(record, now),
                    ),
                    Put(cell, counted),
                ),
            )
            entry = UnsealedEntry(who, Event.OUTCOME_WITHDRAWN, names.member(record.record_id, outcome_id))
            try:
                self._committer.apply(own + also(withdrawn), entry)
            except Conflict as conflict:
                if conflict.key not in (key, pieces, cell):
                    raise
                continue
            return withdrawn
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
        _leave_room(_pieces_key(record), reported.by_decoration[decoration], quantity)

    def get(self, record: OrderRecord, outcome_id: str) -> OutcomeRecord | None:
        """One report on a record's order."""
        number = _number_in(outcome_id)
        if number is None:
            return None
        return _outcome(record, number, self._committer.get(_outcome_key(record, number)))

    def page(self, record: OrderRecord, cursor: str | None = None, limit: int = PAGE) -> Page[OutcomeRecord]:
        """The reports on a record's order, newest first. Raises ValueError for a cursor that no page gave."""
        newest = self._reported(record)[0].newest
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

    def _reported(self, record: OrderRecord) -> tuple[_Pieces, int]:
        """What is reported of a record, and the version of that count."""
        versioned = self._committer.get(_pieces_key(record))
        return (_Pieces.of({}), ABSENT) if versioned is None else (_Pieces.of(versioned.document), versioned.version)

    def counts(self) -> tuple[CellCount, ...]:
        """The counts of every cell that has any."""
        members = [member.decode() for member in self._connection.ask("ZRANGE", names.CELLS, 0, -1)]
        cells = [Cell(*names.parts(member)) for member in members]
        documents = self._committer.get_all([_cell_key(cell) for cell in cells])
        return tuple(
            CellCount(cell, versioned.document["good"], versioned.document["failures"], _shops(versioned.document))
            for cell, versioned in zip(cells, documents, strict=True)
            if versioned is not None
        )


def _number_in(outcome_id: str) -> int | None:
    return number_of(outcome_id.removeprefix("o")) if outcome_id.startswith("o") else None


def _counted(before: Versioned | None, shop: str, failure: str | None, pieces: int, orders: int) -> dict[str, Any]:
    """A cell's counts with so many pieces and recorded orders more of one shop's, or less."""
    document: Mapping[str, Any] = before.document if before else {"good": 0, "failures": {}}
    good, failed = (pieces, 0) if failure is None else (0, pieces)
    failures = Counter(document["failures"])
    if failure is not None:
        failures[failure] += pieces
    shops = dict(_shops(document))
    own = shops.pop(shop, ShopCounts())
    own = ShopCounts(own.good + good, own.failed + failed, own.orders + orders)
    if own != ShopCounts():
        shops[shop] = own
    return {
        "good": document["good"] + good,
        "failures": dict(+failures),
        "shops": {name: asdict(counts) for name, counts in shops.items()},
    }


def _shops(document: Mapping[str, Any]) -> dict[str, ShopCounts]:
    """None of what was reported before shops were counted."""
    return {shop: ShopCounts(**counts) for shop, counts in document.get("shops", {}).items()}


def _lives_s(record: OrderRecord, now: float) -> int | None:
    return None if record.expires_at is None else max(1, math.ceil(record.expires_at - now))


def _member(cell: Cell) -> str:
    return names.member(cell.transfer, cell.substrate, cell.press_type)


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
        "reported_by": outcome.reported_by,
        "withdrawn_at": outcome.withdrawn_at,
    }


def _outcome(record: OrderRecord, number: int, versioned: Versioned | None) -> OutcomeRecord | None:
    if versioned is None:
        return None
    fields = {**versioned.document, "cell": Cell(*versioned.document["cell"])}
    return OutcomeRecord(outcome_id=f"o{number}", record_id=record.record_id, **fields)


def _cell_key(cell: Cell) -> str:
    return names.name("outcome-count", cell.transfer, cell.substrate, cell.press_type)
