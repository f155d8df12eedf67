"""A thread or two for questions that take long, with so many places for each key and so many in all."""

from __future__ import annotations

import logging
import threading
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")
logger = logging.getLogger(__name__)


class FairLane(Generic[T]):
    """``threads`` threads that do ``work``; keys take turns, so that nobody waits for all that another key asked.

    At most ``most_a_key`` tasks of one key and ``most`` in all have a place, from ``reserve`` until they are done.
    """

    def __init__(self, name: str, threads: int, work: Callable[[T], None], *, most: int, most_a_key: int) -> None:
        self._most, self._most_a_key = most, most_a_key
        self._ready = threading.Condition()
        # Keys whose tasks wait, whoever's turn comes next first; and how many places each has, gone with the last one.
        self._waiting: OrderedDict[str, deque[T]] = OrderedDict()
        self._places: Counter[str] = Counter()
        for number in range(threads):
            # Daemons, or a request that never ends would keep the process from ending.
            threading.Thread(target=self._serve, args=(work,), name=f"{name}-{number}", daemon=True).start()

    def reserve(self, key: str) -> bool:
        """Take a place for a task that will be ``put``; False where the key, or the lane, has no more."""
        with self._ready:
            if self._places[key] >= self._most_a_key or self._places.total() >= self._most:
                self._places += Counter()  # a key without places is not remembered
                return False
            self._places[key] += 1
            return True

    def put(self, key: str, task: T) -> None:
        """Have the task done in the key's turn; its place was reserved."""
        with self._ready:
            self._waiting.setdefault(key, deque()).append(task)
            self._ready.notify()

    def _serve(self, work: Callable[[T], None]) -> None:
        while True:
            key, task = self._take()
            try:
                work(task)
            except Exception:  # the next task must find a thread
                logger.exception("a task of %s failed", threading.current_thread().name)
            finally:
                self._give_back(key)

    def _take(self) -> tuple[str, T]:
        with self._ready:
            while not self._waiting:
                self._ready.wait()
            key, tasks = self._waiting.popitem(last=False)
            task = tasks.popleft()
            if tasks:
                self._waiting[key] = tasks  # behind all the others
            return key, task

    def _give_back(self, key: str) -> None:
        with self._ready:
            self._places[key] -= 1
            if not self._places[key]:
                del self._places[key]
