"""Threads of their own for some of the requests."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class Lane(Generic[T]):
    """``threads`` threads that do ``work`` on one task after the other, in the order in which they were put."""

    def __init__(self, name: str, threads: int, work: Callable[[T], None]) -> None:
        self._tasks: queue.SimpleQueue[T] = queue.SimpleQueue()
        for number in range(threads):
            # Daemons, or a request that never ends would keep the process from ending.
            threading.Thread(target=self._serve, args=(work,), name=f"{name}-{number}", daemon=True).start()

    def put(self, task: T) -> None:
        """Have one of the lane's threads do the task, in its turn."""
        self._tasks.put(task)

    def _serve(self, work: Callable[[T], None]) -> None:
        while True:
            work(self._tasks.get())
