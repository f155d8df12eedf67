"""Points in time as answers write them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

# The first to have a new day: Kiribati's Line Islands (IANA time zone Pacific/Kiritimati).
_FIRST_ZONE = timezone(timedelta(hours=14))


def instant(seconds: float) -> str:
    """Seconds since 1970 (UTC) as RFC 3339 has it."""
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def newest_day(seconds: float) -> date:
    """The last day that has begun anywhere on earth at seconds since 1970 (UTC)."""
    return datetime.fromtimestamp(seconds, _FIRST_ZONE).date()
