"""The breaker by itself, with a clock that the test moves: who may try a store that was found away, and when."""

from __future__ import annotations

import pytest

from accord_service.store import StoreAway, WriteRefused
from accord_service.store.breaker import Breaker


class Monotonic:
    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


class Store:
    """Counts how often it is asked; away as long as it is told to be."""

    def __init__(self) -> None:
        self.asks = 0
        self.away = True

    def ask(self) -> str:
        self.asks += 1
        if self.away:
            raise StoreAway("no answer")
        return "answer"


@pytest.fixture
def monotonic() -> Monotonic:
    return Monotonic()


@pytest.fixture
def breaker(monotonic: Monotonic) -> Breaker:
    return Breaker(retry_s=1.0, monotonic=monotonic)


def refused(breaker: Breaker, store: Store) -> None:
    with pytest.raises(StoreAway, match="no answer"):
        breaker.call(store.ask)


def test_nobody_asks_a_store_that_was_just_found_away(breaker: Breaker, monotonic: Monotonic) -> None:
    store = Store()
    refused(breaker, store)
    monotonic.now_s += 0.99
    for _ in range(5):
        refused(breaker, store)
    assert store.asks == 1


def test_one_caller_tries_anew_while_all_others_go_on_failing(breaker: Breaker, monotonic: Monotonic) -> None:
    """Every thread of a worker comes at the moment the wait is over: only one of them may wait for the store."""
    store, others = Store(), Store()
    refused(breaker, store)
    monotonic.now_s += 1.5

    def slow() -> str:
        for _ in range(5):
            refused(breaker, others)
        return store.ask()

    store.away = False
    assert breaker.call(slow) == "answer"
    assert others.asks == 0, "the retry was under way"
    assert breaker.call(store.ask) == "answer", "it is back for everybody"


def test_a_retry_that_fails_is_the_only_one_of_its_time(breaker: Breaker, monotonic: Monotonic) -> None:
    store = Store()
    refused(breaker, store)
    for tries in range(2, 5):
        monotonic.now_s += 1.01
        for _ in range(3):
            refused(breaker, store)
        assert store.asks == tries


def test_a_store_that_takes_no_writes_is_there(breaker: Breaker, monotonic: Monotonic) -> None:
    """It answers, so that reading must go on at once."""
    store = Store()
    refused(breaker, store)
    monotonic.now_s += 1.5

    def write() -> str:
        raise WriteRefused("read only")

    with pytest.raises(WriteRefused):
        breaker.call(write)
    store.away = False
    assert breaker.call(store.ask) == "answer"
