"""Whole numbers in forms, cookies and addresses, which anybody may have written."""

from __future__ import annotations

import re

_WHOLE = re.compile(r"[0-9]{1,9}", re.ASCII)


def whole(text: str) -> int | None:
    """The number of up to nine digits that a text is; None where it is anything else."""
    return int(text) if _WHOLE.fullmatch(text) else None
