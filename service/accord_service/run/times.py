"""Points in time as answers write them."""

from __future__ import annotations

from datetime import UTC, datetime


def instant(seconds: float) -> str:
    """Seconds since 1970 (UTC) as RFC 3339 has it."""
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
