"""How many requests each key has had in a window of time, over all workers that reach the store."""

from __future__ import annotations

from accord_service.store import names
from accord_service.store.connection import Connection


class RateStore:
    """Counts that end by themselves; nothing here is in the audit's chain."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def take(self, key_id: str, window: int, count: int, lives_s: int) -> int:
        """Count so many more requests of a key in a window; gives how many that makes. The count is kept for
        ``lives_s`` seconds. Raises StoreError."""
        name = names.name("rate", key_id, window)
        taken, _ = self._connection.ask_all((("INCRBY", name, count), ("EXPIRE", name, lives_s)))
        return int(taken)
