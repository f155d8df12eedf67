"""A worker on effects in the tests' own thread, for tests about what comes of an effect.

What becomes of one when its process dies is tried with real processes, in ``steps/test_effect_faults.py``.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from accord_service.steps.effects import EffectWorker
from accord_service.store import Store

FEW_EDGES = 30  # so that tests are quick; the effect's own tests replay all of them
PATIENT_S = 20.0


@contextmanager
def effect_worker(url: str, *, edges_most: int = FEW_EDGES, **how: Any) -> Iterator[EffectWorker]:
    """A worker of a name of its own, on the store at ``url``."""
    store = Store.at(url, timeout_s=PATIENT_S)
    worker = EffectWorker(store, f"test-{secrets.token_hex(4)}", edges_most=edges_most, **how)
    try:
        yield worker
    finally:
        worker.close()
        store.close()


def work_out(url: str, **how: Any) -> None:
    """Work out all effects that wait in the store at ``url``."""
    with effect_worker(url, **how) as worker:
        while worker.turn():
            pass
