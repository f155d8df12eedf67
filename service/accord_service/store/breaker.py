"""A circuit breaker: once the store is found away, nobody waits for it again until a single call has tried anew."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TypeVar

from accord_service.store.errors import StoreAway, WriteRefused

T = TypeVar("T")
RETRY_S = 1.0


class Breaker:
    """Lets calls through while they are answered. After one StoreAway, lets one call through each ``retry_s``.

    All others raise StoreAway at once. There is no thread behind it: the call that is let through is the retry.
    """

    def __init__(self, retry_s: float = RETRY_S, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._retry_s = retry_s
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._why = ""
        self._next_try_s = 0.0

    def call(self, ask: Callable[[], T]) -> T:
        """``ask()``, or StoreAway at once."""
        self._enter()
        try:
            answer = ask()
        except WriteRefused:
            self._close()
            raise
        except StoreAway as error:
            with self._lock:
                self._why = str(error) or "the store is away"
                self._next_try_s = self._monotonic() + self._retry_s
            raise
        self._close()
        return answer

    def _close(self) -> None:
        if self._why:
            with self._lock:
                self._why = ""

    def _enter(self) -> None:
        if not self._why:
            return
        with self._lock:
            now_s = self._monotonic()
            if self._why and now_s < self._next_try_s:
                raise StoreAway(self._why)
            # This call is the retry; nobody else tries while it is under way.
            self._next_try_s = now_s + self._retry_s
