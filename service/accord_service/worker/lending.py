"""Things that many threads use at once and that have to be closed: only after the last of their users is done."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

logger = logging.getLogger(__name__)
K = TypeVar("K", bound=Hashable)
T = TypeVar("T")


class Lent(Generic[T]):
    """One thing, lent to any number of users. After ``give_up`` it is closed when the last of them is done."""

    def __init__(self, resource: T, close: Callable[[T], None]) -> None:
        self.resource = resource
        self._close = close
        self._lock = threading.Lock()
        self._users = 0
        self._given_up = False

    def take(self) -> bool:
        """Become a user; False if it was given up already, so that whoever asks has to look for the newer one."""
        with self._lock:
            if self._given_up:
                return False
            self._users += 1
            return True

    def give_back(self) -> None:
        """One user is done; the last one after ``give_up`` closes the thing."""
        with self._lock:
            self._users -= 1
            last = self._given_up and not self._users
        if last:
            self._end()

    def give_up(self) -> None:
        """Lend it to nobody any more."""
        with self._lock:
            idle = not self._given_up and not self._users
            self._given_up = True
        if idle:
            self._end()

    def _end(self) -> None:
        try:
            self._close(self.resource)
        except Exception:  # whatever it is, the answer of the thread that happens to be last must not fail for it
            logger.exception("could not be closed; its memory stays taken")


class Shelf(Generic[K, T]):
    """The few things used last, each made when it is first asked for, and given up when it has to make room."""

    def __init__(self, most: int, close: Callable[[T], None]) -> None:
        self._most = most
        self._close = close
        self._lock = threading.Lock()
        self._making = threading.Lock()
        self._lent: OrderedDict[K, Lent[T]] = OrderedDict()

    @contextmanager
    def lend(self, key: K, make: Callable[[], T]) -> Iterator[T]:
        """The thing of ``key`` for as long as the block runs. What ``make`` raises is raised."""
        lent = self._taken(key) or self._made(key, make)
        try:
            yield lent.resource
        finally:
            lent.give_back()

    def clear(self) -> None:
        """Give everything up."""
        with self._lock:
            given_up = list(self._lent.values())
            self._lent.clear()
        for lent in given_up:
            lent.give_up()

    def _taken(self, key: K) -> Lent[T] | None:
        with self._lock:
            lent = self._lent.get(key)
            if lent is None or not lent.take():
                return None
            self._lent.move_to_end(key)
            return lent

    def _made(self, key: K, make: Callable[[], T]) -> Lent[T]:
        with self._making:  # two that want the same must not both make it
            lent = self._taken(key)
            if lent is not None:
                return lent
            lent = Lent(make(), self._close)
            lent.take()
            with self._lock:
                self._lent[key] = lent
                surplus = [self._lent.popitem(last=False)[1] for _ in range(len(self._lent) - self._most)]
        for evicted in surplus:
            evicted.give_up()
        return lent
