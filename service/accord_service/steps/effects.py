"""Effects worked out beside the requests: what a worker does, one shard after the other, and how far it has come.

Any number of workers on any number of machines, each with the store alone: it says which runs there are, what is done
and who has what (``shards``). So whichever dies, the others finish, and what they come to is the same.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from accord_rules.documents.files import BookError
from accord_rules.governance import proposal as rules
from accord_rules.governance.changes import ChangeError, check
from accord_rules.governance.comparison import Comparison, Differences, EdgeOrder, FlipCount, RecordedOrder
from accord_rules.governance.effect import EDGES_MOST, compared, concluded, edge_orders
from accord_rules.governance.effort import refuse_dear_changes
from accord_rules.governance.proposal import ShownEffect
from accord_rules.infer.engine import EngineError
from accord_rules.revision.book import Book
from accord_service.steps.presence import Presence
from accord_service.steps.proposals import KeptEffect, StoredProposal, get, revision, stored_document
from accord_service.steps.runs import DONE, FAILED, WORKING
from accord_service.steps.shards import RECORDED, TRIAL, TRIES_MOST, Progress, Shard
from accord_service.steps.turns import Turns
from accord_service.store import AlteredWork, Conflict, Event, NotThere, Run, Store, StoreAway, StoreError, Work
from accord_service.worker.edition import loaded, tried_by, try_rules
from accord_service.worker.trials import trier

logger = logging.getLogger(__name__)
SHARD_MOST = 200  # orders: some two seconds of one core
LEASE_S = 15.0
RENEWALS = 5  # in the time of a lease
# Another program's work is begun anew once nobody of its own has touched it for so many leases: they may have gone on
# to other effects meanwhile, for some turns.
ABANDONED_LEASES = 8
READ_AT_ONCE = 50
AGAIN_S = 0.1
TURN_S = 20.0  # that a worker stays with one run while others wait: loading another's books takes it a second
WORKER = "effects"  # in the audit, for what is nobody's act
BECAUSE_MOST = 2000  # characters


@dataclass(frozen=True, slots=True)
class SoFar:
    """How far the working out of an effect has come. ``orders``: how many there are; None while the book is tried."""

    orders: int | None
    replayed: int
    left_s: float | None
    counts: tuple[FlipCount, ...]


def so_far(store: Store, stored: StoredProposal) -> SoFar:
    """Of a proposal whose effect is being worked out."""
    assert stored.run is not None
    try:
        work = store.effects.work(stored.run.of(stored.proposal.id), total=True)
    except AlteredWork:  # whoever works on it drops it and says so
        return SoFar(None, 0, None, ())
    if work.state is None:
        return SoFar(None, 0, None, ())
    progress = Progress.read(work.state)
    counts = () if work.total is None else Differences.read(work.total).counts
    return SoFar(progress.orders, progress.judged, progress.left_s(work.now_s), counts)


class _Failed(Exception):
    """The effect cannot be worked out; the message, a sentence, says why."""


class _Lost(Exception):
    """The shard is somebody else's by now, or nobody's any more: whatever was done of it counts for nothing."""


class _Stopped(Exception):
    """The worker is to end."""


@dataclass(slots=True)
class _Ready:
    """What one run's orders are judged with, held from shard to shard."""

    run: Run
    old: Book
    new: Book
    comparison: Comparison
    edges: tuple[EdgeOrder, ...]


def _never() -> bool:
    return False


class EffectWorker:
    """One process's or thread's. ``name``: like no other's; ``stopping``: whether it is to end, asked between orders.

    ``program``: as ``trier`` tells it, so that nothing is judged by another program than tried the book.
    """

    def __init__(
        self,
        store: Store,
        name: str,
        *,
        edges_most: int = EDGES_MOST,
        shard_most: int = SHARD_MOST,
        lease_s: float = LEASE_S,
        stopping: Callable[[], bool] = _never,
        program: str | None = None,
    ) -> None:
        self._store, self._name = store, name
        self._edges_most, self._shard_most, self._lease_s = edges_most, shard_most, lease_s
        self._stopping = stopping
        self._program = program or trier()
        self._presence = Presence(store, name)
        self._turns = Turns(self._shop_of)
        self._ready: _Ready | None = None
        self._ready_since_s = 0.0

    def close(self) -> None:
        """Let go of the books that are held."""
        if self._ready is not None:
            self._ready.comparison.close()
            self._ready = None

    def turn(self) -> bool:
        """One piece of work, on one of the runs; False if there is none now. Raises StoreAway, StoreBroken."""
        self._presence()
        for run in self._in_turn(self._store.effects.runs()):
            if self._turn_on(run):
                self._turns.took(run)
                return True
        return False

    def _in_turn(self, runs: Sequence[Run]) -> Sequence[Run]:
        """The runs in the order in which they are looked at: it stays with one for a while, since its books have to be
        loaded; then another shop has its turn, so that no shop waits for all that another asked for."""
        order = self._turns.order(runs)
        if self._ready is None or self._ready.run not in runs:
            self.close()
        elif time.monotonic() - self._ready_since_s <= TURN_S:
            return [self._ready.run, *(run for run in order if run != self._ready.run)]
        return order

    def _shop_of(self, run: Run) -> str:
        try:
            return get(self._store, run.proposal_id).proposal.author_shop or ""
        except NotThere:
            return ""

    def _turn_on(self, run: Run) -> bool:
        stored = self._live(run)
        if stored is None:
            self._store.effects.forget(run)
            return True
        try:
            return self._work_on(run, stored)
        except (_Lost, Conflict):
            return True
        except _Stopped:
            return False
        except AlteredWork as error:
            logger.error("worked out anew: %s", error)
            self._store.effects.drop(run)
            return True
        except StoreError:
            raise
        except _Failed as failure:
            self._fail(run, str(failure))
        except EngineError as error:
            self._fail(run, f"The inference engine failed over it: {error}")
        except Exception as error:  # whatever it is, whoever waits must be told, and it must not be tried for ever
            logger.exception("an effect could not be worked out")
            self._fail(run, f"The program failed over it ({type(error).__name__}); its log says where.")
        return True

    def _live(self, run: Run) -> StoredProposal | None:
        """The proposal, where this run of it is still wanted."""
        try:
            stored = get(self._store, run.proposal_id)
        except NotThere:
            return None
        wanted = stored.run is not None and stored.run.run_id == run.run_id and stored.run.state == WORKING
        return stored if wanted else None

    def _work_on(self, run: Run, stored: StoredProposal) -> bool:
        """Take a shard and do it, or end the run. False where there is nothing to take now."""
        taken = self._take(run)
        if taken is None:
            return False
        number, progress = taken
        if number is None:
            self._conclude(run, stored, progress)
            return True
        try:
            if progress.is_tried:
                self._judge(run, stored, number, progress)
            else:
                with self._kept(run, number):
                    self._try(run, stored, number)
        except _Stopped:
            self._change(run, number, lambda progress, now_s: progress.given_back(number, now_s))
            raise
        return True

    # -- who does what -------------------------------------------------------------------------------------------------

    def _take(self, run: Run) -> tuple[int | None, Progress] | None:
        """The number of a shard, and the work; no number where all are done, and nothing where others have the rest."""
        while not self._stopping():
            work = self._store.effects.work(run)
            progress = self._progress(work)
            if progress is None:
                return None
            if progress.is_done:
                return None, progress
            number = progress.free(self._name, work.now_s)
            if number is None and progress.is_tried:
                progress = self._cut(progress)
                number = progress.free(self._name, work.now_s)
            if number is None:
                if not progress.is_done:
                    return None
                swapped = self._store.effects.swap(run, work, progress.document())
            else:
                swapped = self._hand(run, work, progress, number)
            if swapped and number is not None:
                return number, progress
        raise _Stopped

    def _hand(self, run: Run, work: Work, progress: Progress, number: int) -> bool:
        shard = progress.shards[number]
        if shard.tries >= TRIES_MOST and shard.by != self._name:
            raise _Failed(
                f"A part of it ({_called(shard)}) was begun {shard.tries} times, and whoever was at it ended each time."
            )
        handed = progress.handed(number, self._name, work.now_s, self._lease_s)
        anew = work.state is None or Progress.read(work.state).program != self._program
        total = Differences().document() if anew else None
        return self._store.effects.swap(run, work, handed.document(), total)

    def _progress(self, work: Work) -> Progress | None:
        """The work as this program goes on with it; None where another program is at it."""
        if work.state is None:
            return Progress.begun(self._program, work.now_s)
        progress = Progress.read(work.state)
        if progress.program == self._program:
            return progress
        if progress.may_begin_anew(self._program, work.now_s, self._lease_s * ABANDONED_LEASES):
            logger.warning("another program's work on an effect is begun anew")
            return Progress.begun(self._program, work.now_s)
        return None

    def _cut(self, progress: Progress) -> Progress:
        """With one more shard, if there is more to be judged."""
        if not progress.all_recorded:
            page = self._store.records.places(progress.cursor, self._shard_most)
            progress = progress.cut_recorded(page.items, page.next)
            if page.items:
                return progress
        return progress.cut_edges(self._shard_most)

    def _change(
        self,
        run: Run,
        number: int,
        change: Callable[[Progress, float], Progress],
        more: Callable[[Differences], None] | None = None,
    ) -> None:
        """Change the work, as long as the shard is this worker's; ``more`` changes the sum. Raises _Lost.

        What was judged is not let go because the store is away for a moment: for a lease it is asked again.
        """
        until_s = time.monotonic() + self._lease_s
        while True:
            try:
                return self._change_at_once(run, number, change, more)
            except StoreAway:
                if time.monotonic() > until_s or self._stopping():
                    raise
                time.sleep(AGAIN_S)

    def _change_at_once(
        self,
        run: Run,
        number: int,
        change: Callable[[Progress, float], Progress],
        more: Callable[[Differences], None] | None,
    ) -> None:
        while True:
            work = self._store.effects.work(run, total=more is not None)
            if work.state is None:
                raise _Lost
            progress = Progress.read(work.state)
            if progress.program != self._program or not progress.has(number, self._name):
                raise _Lost
            total = None
            if more is not None:
                differences = Differences.read(work.total or Differences().document())
                more(differences)
                total = differences.document()
            if self._store.effects.swap(run, work, change(progress, work.now_s).document(), total):
                return

    def _fail(self, run: Run, because: str) -> None:
        stored = self._live(run)
        if stored is None or stored.run is None:
            return
        ended = stored.run.ended(FAILED, self._now_s(run), because[:BECAUSE_MOST])
        try:
            self._store.proposals.replace(
                run.proposal_id,
                stored.version,
                stored_document(stored.proposal, ended),
                state=stored.proposal.state,
                event=Event.PROPOSAL_EFFECT_ENDED,
                who=WORKER,
            )
        except Conflict:
            return  # whoever was faster may have ended it; if not, the next turn fails again
        self._store.effects.forget(run)

    def _now_s(self, run: Run) -> float:
        return self._store.effects.work(run).now_s

    # -- the work ------------------------------------------------------------------------------------------------------

    def _try(self, run: Run, stored: StoredProposal, number: int) -> None:
        """Try the changed book, in a process of its own, and find the orders at edges."""
        record = revision(self._store, stored.proposal.base.revision)
        try:
            old = loaded(record)
            new = check(old.documents, stored.proposal.changes, old.revision + 1)
            try_rules(new, vetted=old if record.tried_by == trier() else None)
            refuse_dear_changes(old, new, stored.proposal.changes)
        except (BookError, ChangeError, EngineError) as error:
            raise _Failed(f"The changed book cannot be used: {error}") from None
        passed = tried_by(new)
        if not passed:
            raise _Failed("The changed book does not pass its own test.")
        edges, left_out = self._hold(run, old, new, self._edges_most)
        recorded = self._store.records.count()
        self._change(
            run,
            number,
            lambda progress, now_s: progress.tried(number, passed, recorded, edges, left_out, now_s),
            lambda differences: differences.add(self._of(run, stored, edges).comparison.differences()),
        )

    def _hold(self, run: Run, old: Book, new: Book, edges_most: int) -> tuple[int, int]:
        """Make ready what orders are judged with; how many orders there are at edges, and whether there were more."""
        self.close()
        edges, left_out = edge_orders(old, new, edges_most)
        self._ready, self._ready_since_s = _Ready(run, old, new, compared(old, new), edges), time.monotonic()
        return len(edges), left_out

    def _of(self, run: Run, stored: StoredProposal, edges: int | None) -> _Ready:
        """What the run's orders are judged with. The book was tried by this program, if by another worker, who found so
        many orders at edges: it may have been told of another bound."""
        if self._ready is None or self._ready.run != run:
            old = loaded(revision(self._store, stored.proposal.base.revision))
            self._hold(run, old, check(old.documents, stored.proposal.changes, old.revision + 1), edges or 0)
        assert self._ready is not None
        return self._ready

    def _judge(self, run: Run, stored: StoredProposal, number: int, progress: Progress) -> None:
        if self._ready is None or self._ready.run != run:
            with self._kept(run, number):  # to load the books may take a busy machine as long as a lease
                self._of(run, stored, progress.edges)
        ready, shard = self._of(run, stored, progress.edges), progress.shards[number]
        differences, mind = Differences(), _Mind(self, run, number)
        read = 0
        if shard.kind == RECORDED:
            for record in self._records(shard):
                mind()
                ready.comparison.add_recorded(record, differences)
                read += 1
        else:
            for edge in ready.edges[shard.first : shard.end]:
                mind()
                ready.comparison.add_edge(edge, differences)
                read += 1
        gone = shard.orders - read
        self._change(
            run,
            number,
            lambda progress, now_s: progress.finished(number, gone, now_s),
            lambda total: total.add(differences),
        )

    def _records(self, shard: Shard) -> Iterator[RecordedOrder]:
        for first in range(0, len(shard.places), READ_AT_ONCE):
            for record in self._store.records.at(shard.places[first : first + READ_AT_ONCE]):
                question = record.question
                yield RecordedOrder(record.record_id, record.shop_id, question["shop"], question["order"])

    def mind(self, run: Run, number: int) -> None:
        """Keep the shard for longer. Raises _Lost where the run is not wanted any more, or the shard is another's."""
        self._presence()
        if self._live(run) is None:
            raise _Lost
        self._change(run, number, lambda progress, now_s: progress.renewed(number, now_s, self._lease_s))

    @contextmanager
    def _kept(self, run: Run, number: int) -> Iterator[None]:
        """Keep the shard from beside what is done to it, which can't do so itself: the trial of a book waits for a
        process of its own. Should it be lost all the same, writing down what came of it tells."""
        over = threading.Event()

        def keep() -> None:
            while not over.wait(self._lease_s / RENEWALS):
                try:
                    self.mind(run, number)
                except _Lost:
                    return
                except StoreError as error:
                    logger.debug("a trial's lease could not be renewed: %s", error)

        keeper = threading.Thread(target=keep, name="trial-keeper", daemon=True)
        keeper.start()
        try:
            yield
        finally:
            over.set()
            keeper.join()

    def _conclude(self, run: Run, stored: StoredProposal, progress: Progress) -> None:
        """Show what all shards come to, and put the proposal to the stewards. Of several workers one does."""
        work = self._store.effects.work(run, total=True)
        if work.state != progress.document() or work.total is None or stored.run is None:
            raise _Lost
        ready = self._of(run, stored, progress.edges)
        effect = concluded(ready.old, ready.new, Differences.read(work.total), progress.edges_left_out)
        kept = KeptEffect(effect.document(), effect.replay_digest, progress.trier)
        shown = rules.show(stored.proposal, ShownEffect(effect.replay_digest, effect.loosens_safety))
        opened = rules.open_(shown) if shown.state == "draft" else shown
        orders = effect.replayed.recorded + effect.replayed.edges
        ended = stored.run.ended(DONE, work.now_s, orders=orders)
        effects = self._store.effects
        self._store.proposals.replace(
            run.proposal_id,
            stored.version,
            stored_document(opened, ended),
            state=opened.state,
            event=Event.PROPOSAL_OPENED,
            who=stored.run.started_by,
            also=lambda _: effects.keeping(run.proposal_id, kept.document()),
        )
        effects.forget(run)


class _Mind:
    """Called before each order: stops where the worker is to end, and keeps the shard while it takes long."""

    def __init__(self, worker: EffectWorker, run: Run, number: int) -> None:
        self._worker, self._run, self._number = worker, run, number
        self._renewed_s = time.monotonic()

    def __call__(self) -> None:
        if self._worker._stopping():
            raise _Stopped
        if time.monotonic() - self._renewed_s > self._worker._lease_s / RENEWALS:
            self._worker.mind(self._run, self._number)
            self._renewed_s = time.monotonic()


def _called(shard: Shard) -> str:
    if shard.kind == TRIAL:
        return "the trial of the changed book"
    if shard.kind == RECORDED:
        return f"{shard.orders} recorded orders"
    return f"orders {shard.first + 1} to {shard.end} at edges"
