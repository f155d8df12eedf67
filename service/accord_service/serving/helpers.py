"""Programs that run beside the service for as long as it does, started again whenever one ends.

They are started anew, not forked off: the process that keeps them has threads.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence

from accord_service.run import processes

logger = logging.getLogger("accord_service.start")
SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.1, 10.0
SETTLED_S = 60.0  # one that lived so long did not end for the way it was started
END_S = 10.0


class Helpers:
    """``count`` processes of ``command`` (words behind the interpreter's own), kept until ``stop``.

    Each is told by ``--owner`` whose it is, and has to end when that process is gone.
    """

    def __init__(self, command: Sequence[str], count: int, env: Mapping[str, str] = os.environ) -> None:
        self._command = [sys.executable, *command, "--owner", str(os.getpid())]
        # A helper's counters are not a worker's.
        self._env = {name: value for name, value in env.items() if name != "PROMETHEUS_MULTIPROC_DIR"}
        self._owner_pid = os.getpid()
        self._stopping = threading.Event()
        self._processes: dict[int, subprocess.Popen[bytes]] = {}
        self._keepers = [
            threading.Thread(target=self._keep, args=(number,), name=f"helper-keeper-{number}", daemon=True)
            for number in range(count)
        ]

    def start(self) -> None:
        """Start them."""
        for keeper in self._keepers:
            keeper.start()

    @property
    def pids(self) -> tuple[int, ...]:
        """Those that live."""
        return tuple(process.pid for process in [*self._processes.values()] if process.poll() is None)

    def stop(self) -> None:
        """End them; whatever they were at is left to others. Does nothing in a forked child."""
        if os.getpid() != self._owner_pid:
            return
        self._stopping.set()
        for process in [*self._processes.values()]:
            process.terminate()
        for process in [*self._processes.values()]:
            try:
                process.wait(END_S)
            except subprocess.TimeoutExpired:
                process.kill()

    def _keep(self, number: int) -> None:
        pause_s = SHORTEST_PAUSE_S
        while not self._stopping.is_set():
            began_s = time.monotonic()
            # Ctrl-C in the owner's terminal is for the owner to handle.
            process = processes.start(self._command, stdin=subprocess.DEVNULL, env=self._env, start_new_session=True)
            self._processes[number] = process
            if self._stopping.is_set():
                process.terminate()
            process.wait()
            if self._stopping.is_set():
                return
            logger.warning("a process for jobs ended; starting it again")
            settled = time.monotonic() - began_s > SETTLED_S
            pause_s = SHORTEST_PAUSE_S if settled else min(LONGEST_PAUSE_S, 2 * pause_s)
            self._stopping.wait(pause_s)
