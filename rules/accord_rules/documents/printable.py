"""Text from elsewhere, as it may be shown on a terminal."""

from __future__ import annotations

import re

_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def plain_text(text: str) -> str:
    """The text without control characters, by which a file could write on a terminal as it likes."""
    return _CONTROL.sub(" ", text)
