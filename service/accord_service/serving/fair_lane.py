"""A thread or two for questions that take long, with so many places for each key, each shop, and in all."""

from __future__ import annotations

import logging
import threading
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")
logger = logging.getLogger(__name__)


class FairLane(Generic[T]):
    """``threads`` threads that do ``work``; shops take turns, and of a shop its keys, so that nobody waits for all that
    another asked, with however many keys. ``shop_of`` says whose a key is; where it is left out, each is its own.

    At most ``most_a_key`` tasks of one key, ``most_a_shop`` of one shop and ``most`` in all have a place, from
    ``reserve`` until they are done; ``fewer_of`` says how many of a key that may have fewer than others, else None.
    """

    def __init__(
        self,
        name: str,
        threads: int,
        work: Callable[[T], None],
        *,
        most: int,
        most_a_key: int,
        most_a_shop: int | None = None,
        shop_of: Callable[[str], str] = lambda key: key,
        fewer_of: Callable[[str], int | None] = lambda key: None,
    ) -> None:
        self._most, self._most_a_key, self._shop_of = most, most_a_key, shop_of
        self._most_a_shop = most if most_a_shop is None else most_a_shop
        self._fewer_of = fewer_of
        self._ready = threading.Condition()
        # Shops whose tasks wait, whoever's turn comes next first, and of each its keys in the same way; and how many
        # places each key and shop has, gone with the last one.
        self._waiting: OrderedDict[str, OrderedDict[str, deque[T]]] = OrderedDict()
        self._places: Counter[str] = Counter()
        self._shops: Counter[str] = Counter()
        for number in range(threads):
            # Daemons, or a request that never ends would keep the process from ending.
            threading.Thread(target=self._serve, args=(work,), name=f"{name}-{number}", daemon=True).start()

    def reserve(self, key: str) -> bool:
        """Take a place for a task that will be ``put``; False where the key, its shop, or the lane has no more."""
        shop, fewer = self._shop_of(key), self._fewer_of(key)
        mosts = (self._most_a_key if fewer is None else min(fewer, self._most_a_key), self._most_a_shop, self._most)
        with self._ready:
            # Looked up without remembering whoever has no place.
            taken = (self._places.get(key, 0), self._shops.get(shop, 0), self._places.total())
            if any(has >= most for has, most in zip(taken, mosts, strict=True)):
                return False
            self._places[key] += 1
            self._shops[shop] += 1
            return True

    @property
    def has_waiting(self) -> bool:
        """Whether a task waits for a thread."""
        return bool(self._waiting)

    def put(self, key: str, task: T) -> None:
        """Have the task done in its shop's and key's turn; its place was reserved."""
        with self._ready:
            self._waiting.setdefault(self._shop_of(key), OrderedDict()).setdefault(key, deque()).append(task)
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
            shop, keys = self._waiting.popitem(last=False)
            key, tasks = keys.popitem(last=False)
            task = tasks.popleft()
            if tasks:
                keys[key] = tasks  # behind the shop's other keys
            if keys:
                self._waiting[shop] = keys  # behind all the other shops
            return key, task

    def _give_back(self, key: str) -> None:
        with self._ready:
            for places, name in ((self._places, key), (self._shops, self._shop_of(key))):
                places[name] -= 1
                if not places[name]:
                    del places[name]
