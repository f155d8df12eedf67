"""Pages of a sorted set, newest first, and numbers as ids and cursors write them."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from accord_service.store.connection import Connection

T = TypeVar("T")
MOST = 500


@dataclass(frozen=True, slots=True)
class Page(Generic[T]):
    """Some items, and what leads to the page that follows (a cursor, an address); None at the end."""

    items: tuple[T, ...]
    next: str | None


def page_of_members(connection: Connection, key: str, cursor: str | None, limit: int) -> Page[str]:
    """Members with the highest scores first. Raises ValueError for a cursor that no page gave, or a bad limit.

    What is added meanwhile has a higher score and moves nothing that is still to come.
    """
    if not 1 <= limit <= MOST:
        raise ValueError(f"limit must be between 1 and {MOST}, not {limit}")
    start = 0 if cursor is None else _start(connection, key, cursor)
    flat: Sequence[bytes] = connection.ask("ZREVRANGE", key, start, start + limit)
    members = tuple(member.decode() for member in flat)
    if len(members) <= limit:
        return Page(members, None)
    last = members[limit - 1]
    return Page(members[:limit], _cursor(last, float(connection.ask("ZSCORE", key, last) or 0)))


def number_of(text: str) -> int | None:
    """A number from 1 as an id, an address or a cursor writes it: up to nine digits, no leading zero; else None."""
    sound = text.isascii() and text.isdecimal() and len(text) <= 9 and not text.startswith("0")
    return int(text) if sound else None


def _start(connection: Connection, key: str, cursor: str) -> int:
    score, member = _read_cursor(cursor)
    rank, above = connection.ask_all((("ZREVRANK", key, member), ("ZCOUNT", key, f"({score!r}", "+inf")))
    # A member that went meanwhile leaves its score: those of the same score may then come twice, but none is missed.
    return int(above) if rank is None else int(rank) + 1


def _cursor(member: str, score: float) -> str:
    return base64.urlsafe_b64encode(f"{score!r} {member}".encode()).decode().rstrip("=")


def _read_cursor(cursor: str) -> tuple[float, str]:
    try:
        text = base64.urlsafe_b64decode(cursor.encode("ascii") + b"=" * (-len(cursor) % 4)).decode()
        score, _, member = text.partition(" ")
        return float(score), member
    except (ValueError, binascii.Error):
        raise ValueError("not a cursor that a page gave") from None
