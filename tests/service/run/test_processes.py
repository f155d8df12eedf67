"""A start beside forks returns, whoever inherits what."""

from __future__ import annotations

import os
import signal
import sys
import threading

import pytest
from tests.tiers import of_this_run

from accord_service.run import processes

STARTS, PATIENCE_S = of_this_run(5, 15, 15), 30.0


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")  # gunicorn forks beside threads, and so does this
def test_a_start_does_not_wait_for_children_that_others_fork_meanwhile() -> None:
    started: list[int] = []

    def start_all() -> None:
        for _ in range(STARTS):
            started.append(processes.start([sys.executable, "-S", "-c", ""]).wait())

    starting = threading.Thread(target=start_all, daemon=True)
    starting.start()
    children: list[int] = []
    try:
        while starting.is_alive() and len(children) < 10 * STARTS:
            child = os.fork()
            if not child:
                signal.pause()  # as a worker of gunicorn's, it runs no other program
            children.append(child)
        starting.join(PATIENCE_S)
        assert not starting.is_alive(), f"{len(started)} of {STARTS} starts returned"
    finally:
        for child in children:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
    assert children, "nobody forked meanwhile"
