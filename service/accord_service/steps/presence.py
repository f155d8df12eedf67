"""How a process that works on effects says that it is there."""

from __future__ import annotations

import time

from accord_service.store import Store

EVERY_S = 5.0  # well within the time that the store takes somebody for present


class Presence:
    """Called again and again by the process of this ``name``, between whatever it does. Raises StoreError."""

    def __init__(self, store: Store, name: str) -> None:
        self._store, self._name = store, name
        self._due_s = 0.0  # by time.monotonic

    def __call__(self) -> None:
        """Say so, if that was not said a moment ago."""
        if time.monotonic() >= self._due_s:
            self._store.effects.be_present(self._name)
            self._due_s = time.monotonic() + EVERY_S

    def end(self) -> None:
        """It goes in order: nobody waits for it."""
        self._store.effects.leave(self._name)
