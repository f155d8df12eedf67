"""How often Python's collector looks for rings of garbage in a worker that holds a book for as long as it lives."""

from __future__ import annotations

import gc

# An answer makes some ten thousand short-lived objects and hardly a ring, so that looking after each 700 finds next to
# nothing; a look through all of them, kept answers included, stops the worker for some 25 ms.
_YOUNGEST_AFTER = 20_000
_MIDDLE_AFTER = 20
_ALL_AFTER = 50


def spare_the_book() -> None:
    """Take all that is there now out of the collector's sight, and have it look more rarely for what comes."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNGEST_AFTER, _MIDDLE_AFTER, _ALL_AFTER)
