"""How often a key may ask: so many requests a minute by its role, counted in the store over all workers; and how often
all keys of a shop together, since a shop may have any number of them.

A worker takes requests from the store in blocks, so that the store is asked once in a hundred requests and not with
every one. While the store is away nothing is counted: orders are still judged then.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil

from accord_service.store import RateStore, StoreError

logger = logging.getLogger(__name__)
WINDOW_S = 60
# Of the limit, what a worker takes at once: what other workers hold of it unused may be this much each.
_BLOCKS = 100
KEY, SHOP = "key", "shop"
# A shop may ask as often as so many keys of the role that may ask most.
SHARES_A_SHOP = 3


@dataclass(frozen=True, slots=True)
class Standing:
    """What a key, or its shop, may still ask: ``remaining`` of ``limit`` requests, until all are there again in
    ``reset_s``.

    ``over``: this request is one too many. ``of``: whose these are, the key's or the shop's.
    """

    limit: int
    remaining: int
    reset_s: int
    over: bool = False
    of: str = KEY

    @property
    def headers(self) -> dict[str, str]:
        """The fields of draft-ietf-httpapi-ratelimit-headers, as it is since it has two of them."""
        return {
            "RateLimit-Policy": f'"{self.of}";q={self.limit};w={WINDOW_S}',
            "RateLimit": f'"{self.of}";r={self.remaining};t={self.reset_s}',
        }


@dataclass(slots=True)
class _Block:
    """``left`` requests that the worker may let pass; ``taken``: by all workers, as the store said last."""

    left: int = 0
    taken: int = 0


class Rates:
    """One worker's. ``limits``: requests in ``WINDOW_S`` by role."""

    def __init__(self, store: RateStore, limits: Mapping[str, int]) -> None:
        self._store, self._limits = store, limits
        self._lock = threading.Lock()
        # Of one window alone, by id of a key or shop that the directory knows.
        self._window, self._blocks = 0, dict[str, _Block]()

    def spend(self, key_id: str, role: str, now_s: float, count: int = 1, shop_id: str | None = None) -> Standing:
        """Let a request pass, or say that it is over the limit; ``count`` 0 only looks. ``now_s``: since 1970.

        Where the key belongs to a shop, whichever of the two has less left is told.
        """
        own = self._spend(key_id, self._limits[role], now_s, count)
        if shop_id is None or own.over:
            return own
        limit = SHARES_A_SHOP * max(self._limits.values())
        shop = replace(self._spend(f"shop/{shop_id}", limit, now_s, count), of=SHOP)
        return shop if shop.over or shop.remaining < own.remaining else own

    def _spend(self, key_id: str, limit: int, now_s: float, count: int) -> Standing:
        window = int(now_s // WINDOW_S)
        reset_s = max(1, ceil((window + 1) * WINDOW_S - now_s))
        block = self._block(key_id, window)
        if count and block.left < count and block.taken < limit:
            self._take(block, key_id, window, max(count, limit // _BLOCKS), limit)
        with self._lock:
            if block.left < count:
                return Standing(limit, 0, reset_s, over=True)
            block.left -= count
            return Standing(limit, max(0, limit - block.taken) + block.left, reset_s)

    def _block(self, key_id: str, window: int) -> _Block:
        with self._lock:
            if window != self._window:
                self._window, self._blocks = window, {}
            return self._blocks.setdefault(key_id, _Block())

    def _take(self, block: _Block, key_id: str, window: int, count: int, limit: int) -> None:
        """Not under the lock: nobody waits for the store because another key does."""
        try:
            taken = self._store.take(key_id, window, count, 2 * WINDOW_S)
        except StoreError as error:
            logger.warning("requests are not counted: %s", error)
            with self._lock:
                block.left += 1  # for this request; the next one tries again
            return
        with self._lock:
            block.taken = max(block.taken, taken)
            block.left += max(0, min(count, limit - (taken - count)))
