"""When keys were used last: noted behind the answers, once an hour for each key."""

from __future__ import annotations

import logging
from concurrent.futures import ThreadPoolExecutor

from accord_service.store import USED_EVERY_S, Store, StoreError

logger = logging.getLogger(__name__)
TRY_AGAIN_S = 60.0


class KeyUses:
    """One worker's. It asks the store no more than once in ``USED_EVERY_S`` for each key, in a thread of its own, so
    that no answer waits for that; the store keeps to once for all workers. While the store is away uses go unnoted.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._due_s: dict[str, float] = {}
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="key-uses")

    def note(self, key_id: str, now_s: float) -> None:
        """A key that is known was used now (seconds since 1970, UTC)."""
        if now_s >= self._due_s.get(key_id, now_s):
            self._due_s[key_id] = now_s + USED_EVERY_S
            self._writer.submit(self._write, key_id, now_s)

    def _write(self, key_id: str, at_s: float) -> None:
        try:
            self._store.keys.used(key_id, at_s)
        except StoreError as error:
            self._due_s[key_id] = at_s + TRY_AGAIN_S
            logger.warning("the use of a key could not be noted: %s", error, extra={"details": {"key": key_id}})
        except Exception:  # nobody looks at what became of this thread's work
            logger.exception("noting the use of a key failed")

    def close(self) -> None:
        """Wait for what is being noted."""
        self._writer.shutdown()
