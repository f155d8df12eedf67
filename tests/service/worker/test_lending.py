"""What many use at once is closed once, after the last of them, and never under anybody's hands."""

from __future__ import annotations

import logging
import random
import threading
import time

import pytest

from accord_service.worker.lending import Lent, Shelf


class Resource:
    def __init__(self, name: int = 0) -> None:
        self.name = name
        self.closed = 0

    def close(self) -> None:
        self.closed += 1


def test_given_up_while_idle_it_is_closed_at_once_and_lent_no_more() -> None:
    resource = Resource()
    lent = Lent(resource, Resource.close)
    lent.give_up()
    lent.give_up()
    assert resource.closed == 1
    assert not lent.take()


def test_given_up_in_use_it_is_closed_after_the_last_user() -> None:
    resource = Resource()
    lent = Lent(resource, Resource.close)
    assert lent.take()
    assert lent.take()
    lent.give_up()
    lent.give_back()
    assert resource.closed == 0
    lent.give_back()
    assert resource.closed == 1


def test_what_can_not_be_closed_is_logged_and_nobodys_trouble(caplog: pytest.LogCaptureFixture) -> None:
    def fail(resource: Resource) -> None:
        raise RuntimeError("stuck")

    with caplog.at_level(logging.ERROR):
        Lent(Resource(), fail).give_up()
    assert "stuck" in str(caplog.records[0].exc_info)


def test_the_one_not_used_for_longest_makes_room() -> None:
    resources: list[Resource] = []
    shelf: Shelf[int, Resource] = Shelf(2, Resource.close)

    def make(name: int) -> Resource:
        resources.append(Resource(name))
        return resources[-1]

    for name in (1, 2, 1, 3, 1, 2):
        with shelf.lend(name, lambda name=name: make(name)) as resource:
            assert (resource.name, resource.closed) == (name, 0)
    assert [(resource.name, resource.closed) for resource in resources] == [(1, 0), (2, 1), (3, 1), (2, 0)]
    shelf.clear()
    assert all(resource.closed == 1 for resource in resources)


def test_what_fails_to_be_made_is_tried_again() -> None:
    shelf: Shelf[int, Resource] = Shelf(2, Resource.close)

    def fail() -> Resource:
        raise LookupError

    for _ in range(2):
        with pytest.raises(LookupError), shelf.lend(1, fail):
            pass
    with shelf.lend(1, Resource) as resource:
        assert resource.closed == 0


def test_on_many_threads_nothing_is_used_after_it_was_closed_or_made_twice_at_once() -> None:
    shelf: Shelf[int, Resource] = Shelf(2, Resource.close)
    living: dict[int, int] = {}
    wrong: list[str] = []
    lock = threading.Lock()
    resources: list[Resource] = []

    def make(name: int) -> Resource:
        with lock:
            living[name] = living.get(name, 0) + 1
            resources.append(Resource(name))
            return resources[-1]

    def use(seed: int) -> None:
        choice = random.Random(seed)
        for _ in range(300):
            name = choice.randrange(4)
            with shelf.lend(name, lambda name=name: make(name)) as resource:
                time.sleep(choice.random() / 5000)
                if resource.name != name or resource.closed:
                    wrong.append(f"{resource.name} {resource.closed}")

    threads = [threading.Thread(target=use, args=(seed,)) for seed in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    shelf.clear()
    assert wrong == []
    assert {resource.closed for resource in resources} == {1}
