"""How many of something, as a sentence says it."""

from __future__ import annotations


def counted(number: int, one: str, several: str = "") -> str:
    """``1 fault``, ``3 faults``, ``1200 orders``. ``several``: where it is not ``one`` with an s at its end."""
    return f"{number} {one if number == 1 else several or one + 's'}"
