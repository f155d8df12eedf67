"""Outcomes: which cell a report counts for, what the counts say, and the proposal that a poor cell drafts."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.advise.plans import NO_EXPERIENCE, Experience, Experiences
from accord_rules.derive.case import Case
from accord_rules.documents.answers import INTEGER, STRING, mapped
from accord_rules.documents.canonical import digest
from accord_rules.documents.reading import Flag, Object, required
from accord_rules.documents.writing import Documented
from accord_rules.governance import outcomes as rules
from accord_rules.governance import proposal as proposals
from accord_rules.governance.outcomes import Cell, OutcomeSummary
from accord_rules.governance.proposal import Base
from accord_rules.orders.order import Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_service.steps.proposals import NEW, listed, stored_document
from accord_service.store import CellCount, Conflict, ProposalRecord, Store, StoreError, Transaction, nothing_else

logger = logging.getLogger(__name__)
AUTHOR = "outcomes"
READ_ANEW_S = 5.0


def cell_of(book: Book, order: Order, shop: Shop, verdict: Mapping[str, Any], index: int) -> Cell | None:
    """What a report on one decoration counts for; None where the order leaves transfer or material open.

    Raises reading.DocumentError where the book can't read the order.
    """
    case = Case(book, shop, resolve(order, book, shop))
    family, substrate = case.decoration_case(index)["transfer.family"], case["item.substrate"]
    press = order.press if isinstance(order.press, Press) else shop.press(verdict["judged_on"])
    if family is None or substrate is None or press is None:
        return None
    return Cell(str(family), str(substrate), press.type)


def summary(count: CellCount) -> OutcomeSummary:
    """The share of a cell's pieces that comes out good."""
    return rules.summary(rules.OutcomeCounts(count.good, count.failed))


@dataclass(frozen=True, slots=True)
class CellOutcomes(Documented):
    """Reported pieces of one substrate and type of press, and the share that comes out good."""

    substrate: str = required(STRING, "the substrate")
    press_type: str = required(STRING, "the type of press")
    summary: OutcomeSummary = required(Object(OutcomeSummary), "the share that comes out good", spread=True)
    failures: Mapping[str, int] = required(mapped(INTEGER), "what failed to how often")
    shops: int = required(INTEGER, "how many shops reported, as far as shops were counted")
    orders: int = required(INTEGER, "of how many recorded orders")
    poor: bool = required(Flag(), "whether so many failed that chance does not explain it")


@dataclass(frozen=True, slots=True)
class TransferOutcomes(Documented):
    """Reported pieces of one transfer family on one substrate and type of press, as people call these."""

    transfer: str = required(STRING, "the transfer family")
    titles: Mapping[str, str] = required(
        mapped(STRING), "what people say for transfer, substrate and press_type; an id where the book has it no more"
    )
    cell: CellOutcomes = required(Object(CellOutcomes), "what was reported", spread=True)


def told(counts: Iterable[CellCount], book: Book, *, poor_only: bool) -> dict[str, TransferOutcomes]:
    """Every cell that anything was reported of, by a name of its own."""
    cells = {f"{count.cell.transfer}/{count.cell.substrate}/{count.cell.press_type}": count for count in counts}
    outcomes = {
        name: TransferOutcomes(count.cell.transfer, _titles(count.cell, book), _shown_cell(count))
        for name, count in cells.items()
    }
    return {name: told_of for name, told_of in outcomes.items() if told_of.cell.poor or not poor_only}


def _titles(cell: Cell, book: Book) -> Mapping[str, str]:
    ids = {"transfers": cell.transfer, "substrates": cell.substrate, "press_types": cell.press_type}
    return {
        kind.removesuffix("s"): str(book.documents[kind].get(id_, {}).get("title", id_)) for kind, id_ in ids.items()
    }


def shown(counts: Sequence[CellCount], family: str) -> tuple[CellOutcomes, ...]:
    """The cells of one transfer family, as the catalogue shows them."""
    of_family = sorted((count for count in counts if count.cell.transfer == family), key=lambda count: count.cell)
    return tuple(map(_shown_cell, of_family))


def _shown_cell(count: CellCount) -> CellOutcomes:
    share = summary(count)
    return CellOutcomes(
        count.cell.substrate,
        count.cell.press_type,
        share,
        dict(sorted(count.failures.items())),
        len(count.shops),
        sum(own.orders for own in count.shops.values()),
        rules.poor(share),
    )


def experiences(counts: Sequence[CellCount]) -> Experiences:
    """The counts as the ranking of plans takes them."""
    if not counts:
        return NO_EXPERIENCE
    cells = {(c.cell.transfer, c.cell.substrate, c.cell.press_type): (c, summary(c)) for c in counts}
    return MappingProxyType(
        {
            key: Experience(count.good, count.failed, share.low, share.high)
            for key, (count, share) in cells.items()
            if count.good + count.failed  # all of them withdrawn is no experience
        }
    )


class Tally:
    """The counts as a worker holds them: read anew every few seconds, and the last ones while the store is away."""

    def __init__(
        self, store: Store, read_anew_s: float = READ_ANEW_S, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._store = store
        self._read_anew_s = read_anew_s
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._read_s: float | None = None
        self._counts: tuple[CellCount, ...] = ()
        self._experiences: Experiences = NO_EXPERIENCE

    @property
    def counts(self) -> tuple[CellCount, ...]:
        """Of every cell, no older than ``read_anew_s`` while the store answers."""
        self._read()
        return self._counts

    @property
    def experiences(self) -> Experiences:
        """The same counts, as the ranking of plans takes them."""
        self._read()
        return self._experiences

    def _read(self) -> None:
        """One thread reads; the others go on with what is held."""
        due = self._read_s is None or self._monotonic() - self._read_s >= self._read_anew_s
        if not due or not self._lock.acquire(blocking=False):
            return
        try:
            self._read_s = self._monotonic()
            counts = self._store.outcomes.counts()
            if counts != self._counts:
                self._counts, self._experiences = counts, experiences(counts)
        except StoreError as error:
            logger.warning("outcomes could not be read: %s", error)
        finally:
            self._lock.release()


def propose_if_poor(
    store: Store,
    book: Book,
    cell: Cell,
    who: str,
    also: Callable[[ProposalRecord], Transaction] = nothing_else,
) -> str | None:
    """Draft a proposal for a cell whose outcomes are poor by several shops' word, once.

    Gives its id, or None where there is nothing to draft.

    ``also``: what is written together with the proposal. Raises StoreAway; the next report on the cell tries again.
    """
    count = next((count for count in store.outcomes.counts() if count.cell == cell), None)
    if count is None or not rules.poor(summary(count)) or not rules.widely_seen(count.shops):
        return None
    rule = rules.rule_name(cell, book)
    draft = rules.draft_proposal(cell, summary(count), count.shops, book)
    if not draft.changes or _proposed(store, rule):
        return None
    base = Base(book.revision, book.digest)
    proposal = proposals.draft(NEW, base, draft.changes, draft.reason, draft.evidence, AUTHOR)

    def with_mark(record: ProposalRecord) -> Transaction:
        # Two workers may see the same at once; the mark lets only one of them draft.
        mark = store.idempotency.remembering(AUTHOR, f"{rule} {base.digest}", digest(rule), record.id)
        return mark + also(record)

    try:
        record = store.proposals.create(
            stored_document(proposal),
            author=AUTHOR,
            state=proposal.state,
            also=with_mark,
        )
    except Conflict:
        return None
    logger.info("poor outcomes drafted a proposal", extra={"details": {"proposal": record.id, "by": who}})
    return record.id


def _proposed(store: Store, rule: str) -> bool:
    """Whether outcomes proposed that rule before; one that a newer book left behind does not count."""
    return any(
        change["kind"] == "rules" and change["id"] == rule
        for record in listed(store)
        if record.author == AUTHOR and record.state != "void"
        for change in record.document["proposal"]["changes"]
    )
