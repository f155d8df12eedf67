"""When to ask again, and how long to wait before.

Asked again: connections that failed, and the answers 429, 502, 503 and 504. Not asked again: a service that went
silent (it has the question already and may be overloaded), and every other answer. Repeating a request that may have
arrived does no harm: questions write nothing, the POSTs about orders as well, and writes carry an Idempotency-Key, by
which the service does them once.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

STATUSES = (429, 502, 503, 504)
FIRST_WAIT_S = 0.25
LONGEST_WAIT_S = 20.0


@dataclass(frozen=True, slots=True)
class Retry:
    """``times`` tries after the first; ``sleep`` waits for seconds."""

    times: int
    sleep: Callable[[float], None]

    def wait(self, tries: int, asked_wait_s: float | None = None) -> bool:
        """Wait before trying again; False, at once, if that is no use.

        ``tries`` is how many have failed, ``asked_wait_s`` what the service said in Retry-After. A longer wait than
        LONGEST_WAIT_S is left to the caller, who finds it in the exception.
        """
        if tries > self.times or (asked_wait_s is not None and asked_wait_s > LONGEST_WAIT_S):
            return False
        backoff_s = min(FIRST_WAIT_S * 2 ** (tries - 1), LONGEST_WAIT_S)
        # Jitter, so that many shops whose service comes back do not all ask in the same instant.
        self.sleep(max(asked_wait_s or 0.0, backoff_s * random.uniform(0.5, 1.0)))
        return True


def retry_after_s(header: str | None) -> float | None:
    """The header Retry-After in seconds from now; None if it is missing or can't be read."""
    text = (header or "").strip()
    if text.isascii() and text.isdecimal():
        return float(text)
    try:
        then = parsedate_to_datetime(text)
    except ValueError:
        return None
    if then.tzinfo is None:
        then = then.replace(tzinfo=UTC)
    return max(0.0, (then - datetime.now(UTC)).total_seconds())
