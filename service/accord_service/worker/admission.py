"""Which questions are heavy, and how they get from the threads that answer quick ones to the lane of their own.

The lane belongs to the server (``serving.worker``), and what is heavy is known only once a request is read and its
caller known; so the thread that reads it reserves a place and gives the request back to the server, which has it
answered anew in that lane. Where no server says otherwise (tests, other servers) everything is answered on the spot.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_service.http.roles import COLLECTIVE, STOREFRONT

# Prints times presses from which judging an order is heavy, if it has several prints. A rejected one of four prints on
# four presses takes some 0.2 CPU seconds with its remedies, one of twelve 0.6 (measured).
HEAVY_FROM = 17

# The lanes: heavy questions have one, writes that load a book or try rules another, so that these hold up no answer.
# Orders that come line by line, which may take minutes, have a third.
LANES = QUESTIONS, BOOKS, LINES = ("questions", "books", "lines")
# Of that lane, a key has so many places, and its shop.
LINES_MOST_A_KEY, LINES_MOST_A_SHOP = 2, 3
# Of each lane, the storefronts of a shop together.
STOREFRONT_MOST = 2
# After so many seconds a request that is answered line by line ends, to be gone on with in another: at once where
# others wait for the lane, else when a key that was revoked meanwhile, or a new revision, has waited long enough.
TURN_S, TURN_MOST_S = 10.0, 300.0

_here = threading.local()


class HandedOn(BaseException):
    """The request has a place in a lane of its own, under ``key``, an ``asker``; nothing is to be answered here.

    No Exception: whatever handles those must let it through.
    """

    def __init__(self, key: str, lane: str) -> None:
        self.key, self.lane = key, lane
        super().__init__(key, lane)


def asker(shop_id: str, key_id: str, role: str = "") -> str:
    """Who has places in the lane: a key, and behind it its shop. A key of the collective stands for itself, and all
    keys of a shop's storefronts, which anybody may have, for one."""
    who = STOREFRONT if role == STOREFRONT else key_id
    return f"{key_id if shop_id == COLLECTIVE else shop_id}/{who}"


def public_most(asker: str) -> int | None:
    """How many places a shop's storefronts have, None for other askers: whoever opens their pages could take them."""
    return STOREFRONT_MOST if asker.endswith(f"/{STOREFRONT}") else None


def shop_of(asker: str) -> str:
    """Whose places an asker shares."""
    return asker.partition("/")[0]


@contextmanager
def reserving(
    reserve: Callable[[str, str], bool] | None, has_to_end: Callable[[float], bool] | None = None
) -> Iterator[None]:
    """In this thread, while the block runs, heavy requests are handed on; ``reserve`` takes a place for a key's in a
    lane. None: this is such a lane, and the request was admitted before.

    ``has_to_end``: whether a request that is answered line by line for so many seconds has to end.
    """
    _here.reserve, _here.again, _here.has_to_end = reserve, reserve is None, has_to_end
    try:
        yield
    finally:
        _here.reserve, _here.again, _here.has_to_end = None, False, None


def has_to_end(for_s: float) -> bool:
    """Whether the request that this thread answers line by line, for ``for_s`` seconds now, has to end."""
    of_server: Callable[[float], bool] | None = getattr(_here, "has_to_end", None)
    return for_s >= TURN_MOST_S or (of_server is not None and of_server(for_s))


def admitted_before() -> bool:
    """Whether this request is answered for the second time, in a lane of heavy requests."""
    return bool(getattr(_here, "again", False))


def admit_heavy(key: str, lane: str = QUESTIONS) -> bool:
    """Returns True where the heavy request of ``key`` may be answered here, False where there is no place for it.

    Raises HandedOn where it got a place elsewhere.
    """
    reserve: Callable[[str, str], bool] | None = getattr(_here, "reserve", None)
    if reserve is None:
        return True
    if reserve(key, lane):
        raise HandedOn(key, lane)
    return False


def is_heavy(order: Order, shop: Shop) -> bool:
    """Whether judging it may take long: remedies are looked for on all of the shop's presses."""
    prints = len(order.decorations)
    return prints > 1 and prints * len(shop.presses) >= HEAVY_FROM
