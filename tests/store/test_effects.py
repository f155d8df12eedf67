"""The work on effects: compared and set, nobody's act, and gone when it is over."""

from __future__ import annotations

import threading
import time
import zlib
from collections.abc import Callable
from typing import Any

import pytest

from accord_service.store import AlteredWork, Event, Run, Store, Work, effects

RUN = Run("p1", "run_1")
KEY = "{accord}:effect-work:p1:run_1"
NOTHING = Work(0, None, None, 0.0)


def begin(store: Store) -> bool:
    return store.effects.swap(RUN, NOTHING, {"a": 1}, {"sum": 1})


def test_work_is_written_only_over_what_was_seen(store: Store) -> None:
    assert (store.effects.work(RUN).version, store.effects.work(RUN).state) == (0, None)
    assert begin(store)
    assert not store.effects.swap(RUN, NOTHING, {"a": 2}), "somebody was faster"
    assert store.effects.swap(RUN, store.effects.work(RUN), {"a": 3})
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
                if store.effects.swap(RUN, work, {"number": number + 1}):
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
    assert begin(store)
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
    assert begin(store)
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


# What whoever has the store and not the seal key may do to the work after its third writing, with what was kept of the
# second; a list of our own.
TAMPERINGS: dict[str, Callable[[Any, dict[bytes, bytes]], object]] = {
    "the state": lambda raw, kept: raw.hset(KEY, "d", raw.hget(KEY, "d").replace(b'"a":3', b'"a":4')),
    "the state, its own shape": lambda raw, kept: raw.hset(KEY, "d", b'{"a":3}'),
    "no state": lambda raw, kept: raw.hdel(KEY, "d"),
    "the sum": lambda raw, kept: raw.hset(KEY, "s", zlib.compress(b'{"sum":9}', 1)),
    "no sum": lambda raw, kept: raw.hdel(KEY, "s"),
    "a sum that is none": lambda raw, kept: raw.hset(KEY, "s", b"x"),
    "the sum of before": lambda raw, kept: raw.hset(KEY, "s", kept[b"s"]),
    "the state and sum of before": lambda raw, kept: raw.hset(KEY, mapping={"d": kept[b"d"], "s": kept[b"s"]}),
    "all of before but its sum": lambda raw, kept: raw.hset(
        KEY, mapping={name: kept[name] for name in (b"v", b"d", b"m")}
    ),
    "the version": lambda raw, kept: raw.hset(KEY, "v", 2),
    "a version that is none": lambda raw, kept: raw.hset(KEY, "v", "x"),
    "no seal": lambda raw, kept: raw.hdel(KEY, "m"),
    "what another run came to": lambda raw, kept: raw.copy("{accord}:effect-work:p2:run_1", KEY, replace=True),
    "another type": lambda raw, kept: (raw.delete(KEY), raw.set(KEY, "x")),
}


@pytest.mark.parametrize("tamper", TAMPERINGS.values(), ids=[*TAMPERINGS])
def test_what_no_service_wrote_is_not_read(
    store: Store, raw: Any, tamper: Callable[[Any, dict[bytes, bytes]], object]
) -> None:
    assert store.effects.swap(Run("p2", "run_1"), NOTHING, {"a": 1}, {"sum": 1})
    assert begin(store)
    assert store.effects.swap(RUN, store.effects.work(RUN), {"a": 2}, {"sum": 2})
    kept = raw.hgetall(KEY)
    assert store.effects.swap(RUN, store.effects.work(RUN), {"a": 3}, {"sum": 3})
    tamper(raw, kept)
    with pytest.raises(AlteredWork, match="effect-work:p1:run_1 is not as a service wrote it"):
        store.effects.work(RUN, total=True)
    store.effects.drop(RUN)
    assert begin(store)
    assert store.effects.work(RUN, total=True).total == {"sum": 1}


def test_the_work_of_before_put_back_whole_is_the_work_of_before(store: Store, raw: Any) -> None:
    assert begin(store)
    kept = raw.hgetall(KEY)
    assert store.effects.swap(RUN, store.effects.work(RUN), {"a": 2}, {"sum": 2})
    raw.hset(KEY, mapping=kept)
    work = store.effects.work(RUN, total=True)
    assert (work.version, work.state, work.total) == (1, {"a": 1}, {"sum": 1})


def test_whoever_said_so_lately_is_present(store: Store, raw: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the store's clock. Who was killed says nothing more, and does not count for long."""
    store.effects.be_present("killed")
    store.effects.be_present("there")
    assert store.effects.queue()[2] == 2
    monkeypatch.setattr(effects, "PRESENT_S", 0.3)
    time.sleep(0.4)
    store.effects.be_present("there")
    assert store.effects.queue()[2] == 1
    assert raw.zrange("{accord}:job-processes", 0, -1) == [b"there"], "who is gone does not stay behind"
    assert 0 < raw.ttl("{accord}:job-processes") <= 60
    store.effects.leave("there")
    assert (store.effects.queue()[2], store.check().faults) == (0, ())


def test_runs_are_told_with_their_time(store: Store, clock: Any) -> None:
    store.proposals.create(
        {}, author="ann", state="draft", also=lambda record: store.effects.starting(Run(record.id, "run_1"))
    )
    assert store.effects.queue()[1] == ((RUN, clock.now_s),)
