"""How far it is, on a terminal's standard error: rows done, how fast, how long still. Never among the results."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

_EVERY_S = 0.2
_CLEARED = "\r\x1b[K"
_FEW = 10  # before so many rows nobody knows how fast it goes


class Progress:
    """One line that is written over and over; nothing where standard error is no terminal."""

    def __init__(self, *, wanted: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._is_on = wanted
        self._clock = clock
        self._began = clock()
        self._shown_at = 0.0
        self._is_shown = False

    @classmethod
    def of_terminal(cls) -> Progress:
        """On this process's standard error, if that is a terminal."""
        return cls(wanted=sys.stderr.isatty())

    def clear(self) -> None:
        """Take the line away, so that something else may be written there."""
        if self._is_shown:
            sys.stderr.write(_CLEARED)
            sys.stderr.flush()
            self._is_shown = False

    def show(self, rows: int, share: float | None) -> None:
        """Say how far it is, a few times a second at most."""
        now = self._clock()
        if not self._is_on or now - self._shown_at < _EVERY_S:
            return
        self._shown_at = now
        sys.stderr.write(f"{_CLEARED}{told(rows, share, now - self._began)}")
        sys.stderr.flush()
        self._is_shown = True


def told(rows: int, share: float | None, taken_s: float) -> str:
    """Rows done, rows a second, and the time left where ``share``, the part of the file that was read, tells it."""
    text = f"{rows:,} orders"
    if rows < _FEW or taken_s <= 0:
        return text
    text += f", {rows / taken_s:.0f} a second"
    if not share:
        return text
    left_s = taken_s * (1 - share) / share
    return text + (f", {share:.0%} read, about {_duration(left_s)} left" if left_s >= 1 else "")


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
