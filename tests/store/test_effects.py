"""The work on effects: compared and set, nobody's act, and gone when it is over."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from accord_service.store import Event, Run, Store

RUN = Run("p1", "run_1")


def test_work_is_written_only_over_what_was_seen(store: Store) -> None:
    assert (store.effects.work(RUN).version, store.effects.work(RUN).state) == (0, None)
    assert store.effects.swap(RUN, 0, {"a": 1}, {"sum": 1})
    assert not store.effects.swap(RUN, 0, {"a": 2}), "somebody was faster"
    assert store.effects.swap(RUN, 1, {"a": 3})
    work = store.effects.work(RUN, total=True)
    assert (work.version, work.state, work.total) == (2, {"a": 3}, {"sum": 1})
    assert store.effects.work(RUN).total is None, "the sum is read by whoever wants it"


def test_of_many_at_once_each_counts_once(open_store: Callable[[], Store]) -> None:
    stores = [open_store() for _ in range(4)]

    def count(store: Store) -> None:
        for _ in range(25):
            while True:
                work = store.effects.work(RUN)
                number = 0 if work.state is None else work.state["number"]
                if store.effects.swap(RUN, work.version, {"number": number + 1}):
                    break

    threads = [threading.Thread(target=count, args=(store,)) for store in stores]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert stores[0].effects.work(RUN).state == {"number": 100}


def test_work_stands_in_no_audit_and_an_effect_does(store: Store) -> None:
    record = store.proposals.create(
        {"x": 1}, author="ann", state="draft", also=lambda record: store.effects.starting(Run(record.id, "run_1"))
    )
    assert store.effects.runs() == (RUN,)
    before = store.audit.head()
    assert store.effects.swap(RUN, 0, {"a": 1}, {"sum": 1})
    store.effects.forget(RUN)
    assert store.audit.head() == before
    store.proposals.replace(
        record.id,
        1,
        {"x": 2},
        state="open",
        event=Event.PROPOSAL_OPENED,
        who="ann",
        also=lambda _: store.effects.keeping(record.id, {"effect": 1}),
    )
    (entry,) = store.audit.entries(before.seq)
    assert set(entry.written) == {"proposal:p1", "effect:p1"}
    assert store.effects.get(record.id) == {"effect": 1}
    assert (store.effects.get("p2"), store.check().faults) == (None, ())


def test_what_is_over_is_forgotten_and_what_nobody_forgets_ends(store: Store, raw: Any) -> None:
    assert store.effects.swap(RUN, 0, {"a": 1}, {"sum": 1})
    (key,) = [key for key in raw.keys("*") if b"effect-work" in key]
    assert 0 < raw.ttl(key) <= 7 * 86_400
    store.effects.forget(RUN)
    assert (store.effects.runs(), raw.exists(key)) == ((), 0)


def test_the_oldest_run_comes_first(store: Store, clock: Any) -> None:
    for number in (1, 2, 3):
        clock.now_s += 1
        store.proposals.create(
            {}, author="ann", state="draft", also=lambda record: store.effects.starting(Run(record.id, "run_1"))
        )
        assert store.effects.runs()[-1].proposal_id == f"p{number}"
    assert [run.proposal_id for run in store.effects.runs()] == ["p1", "p2", "p3"]
