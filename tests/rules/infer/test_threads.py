"""Conditions are read by several threads of a worker at once, as when two proposals are checked.

Source: https://github.com/python/cpython/issues/106905 and the threaded reports there; it shows on Python 3.11.
"""

from __future__ import annotations

import gc
import itertools
import threading
from collections.abc import Callable, Iterator

import pytest

from accord_rules.revision.book import Book
from accord_rules.revision.condition import parse

GIVE_WAY_S = 0.02  # long enough for another thread to read a condition, if it may

WAYS_GIVEN = 100


def deep_down(call: Callable[[], object], frames: int = 60) -> object:
    return deep_down(call, frames - 1) if frames else call()


@pytest.fixture
def busy_collector() -> Iterator[None]:
    """The garbage collector runs at nearly every allocation, so within readings as well."""
    before = gc.get_threshold()
    gc.set_threshold(1)
    yield
    gc.set_threshold(*before)


@pytest.mark.usefixtures("busy_collector")
def test_a_reading_is_not_upset_by_another_threads(book: Book) -> None:
    """While one thread reads, a collection gives way to another one that reads from deeper in its stack."""
    rule = max(book.rules.values(), key=lambda rule: len(rule.when))
    reader, wanted, done, over = threading.get_ident(), threading.Event(), threading.Event(), threading.Event()

    collections = itertools.count()

    def read() -> object:
        return parse(rule.when, book.vocabulary)

    def read_when_wanted() -> None:
        while not over.is_set():
            if wanted.wait(1.0):
                wanted.clear()
                deep_down(read)
                done.set()

    def give_way(phase: str, info: object) -> None:
        if threading.get_ident() == reader and phase == "start" and next(collections) < WAYS_GIVEN:
            done.clear()
            wanted.set()
            done.wait(GIVE_WAY_S)

    second_reader = threading.Thread(target=read_when_wanted)
    second_reader.start()
    gc.callbacks.append(give_way)
    try:
        readings = [read() for _ in range(3)]
    finally:
        gc.callbacks.remove(give_way)
        over.set()
        wanted.set()
        second_reader.join()
    assert readings == [rule.condition] * 3
    assert next(collections) > WAYS_GIVEN, "too few collections to mean anything"
