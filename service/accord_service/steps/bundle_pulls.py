"""Which bundle each shop pulled last: noted behind the answers, so that no bundle waits for that."""

from __future__ import annotations

import logging
from concurrent.futures import ThreadPoolExecutor

from accord_service.store import BundlePull, Store, StoreError

logger = logging.getLogger(__name__)


class BundlePulls:
    """One worker's. While the store is away pulls go unnoted."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="bundle-pulls")

    def note(self, shop_id: str, pull: BundlePull) -> None:
        """A shop pulled this."""
        self._writer.submit(self._write, shop_id, pull)

    def _write(self, shop_id: str, pull: BundlePull) -> None:
        try:
            self._store.shops.note_pull(shop_id, pull)
        except StoreError as error:
            details = {"details": {"shop": shop_id}}
            logger.warning("the pull of a bundle could not be noted: %s", error, extra=details)
        except Exception:  # nobody looks at what became of this thread's work
            logger.exception("noting the pull of a bundle failed")

    def close(self) -> None:
        """Wait for what is being noted."""
        self._writer.shutdown()
