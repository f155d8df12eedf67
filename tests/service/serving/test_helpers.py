"""Processes beside the service: started again when they end, ended with it, however it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import requests
from tests.service.servers import Running, serving

from accord_service.serving.helpers import Helpers

PATIENCE_S = 60.0
# Ends when its owner is gone, as ``accord work`` does.
_IDLE = "import os, sys, time\nwhile os.getppid() == int(sys.argv[-1]): time.sleep(0.05)"
_OWNER = """
import sys, time
from accord_service.serving.helpers import Helpers
helpers = Helpers(("-c", sys.argv[1]), 1)
helpers.start()
while not helpers.pids:
    time.sleep(0.01)
print(*helpers.pids, flush=True)
time.sleep(600)
"""


def wait_for(holds: Callable[[], Any]) -> None:
    until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


def lives(pid: int) -> bool:
    """Whether a process is there, and no zombie that nobody waited for yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_one_that_is_killed_is_started_again_and_all_end_with_their_owner() -> None:
    helpers = Helpers(("-c", _IDLE), 2)
    helpers.start()
    try:
        wait_for(lambda: len(helpers.pids) == 2)
        before = helpers.pids
        os.kill(before[0], signal.SIGKILL)
        wait_for(lambda: len(helpers.pids) == 2 and before[0] not in helpers.pids)
        after = helpers.pids
        assert before[1] in after
    finally:
        helpers.stop()
    wait_for(lambda: not any(map(lives, after)))


def test_they_end_when_their_owner_is_killed() -> None:
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    with subprocess.Popen([sys.executable, "-c", _OWNER, _IDLE], stdout=subprocess.PIPE, env=env) as owner:
        assert owner.stdout is not None
        pid = int(owner.stdout.readline())
        assert lives(pid)
        owner.kill()
    wait_for(lambda: not lives(pid))


# -- under the service's own configuration ----------------------------------------------------------------------------


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    with serving(tmp_path, ACCORD_JOB_PROCESSES="1", ACCORD_EDGES_MOST="40", ACCORD_WORKERS="1") as started:
        yield started


def helper_of(running: Running) -> int | None:
    """The one process for jobs that the master keeps."""
    children = Path(f"/proc/{running.process.pid}/task").glob("*/children")
    pids = [int(pid) for file in children for pid in file.read_text().split()]
    return next((pid for pid in pids if b"\0work\0" in Path(f"/proc/{pid}/cmdline").read_bytes()), None)


@pytest.mark.long
def test_the_service_brings_a_niced_worker_that_is_started_again(running: Running, tmp_path: Path) -> None:
    """An effect is worked out by no process that answers, at low priority; killed or told to end, it comes back."""
    token = (tmp_path / "data" / "keys" / "admin").read_text().strip()
    url, headers = f"http://127.0.0.1:{running.port}", {"Authorization": f"Bearer {token}"}

    def ask(method: str, path: str, body: Any = None) -> Any:
        answer = requests.request(method, url + path, json=body, headers=headers, timeout=20)
        assert answer.status_code in (200, 201, 202), answer.text
        return answer.json()

    wait_for(lambda: helper_of(running))
    first = helper_of(running)
    assert first is not None
    wait_for(lambda: os.getpriority(os.PRIO_PROCESS, first) == os.getpriority(os.PRIO_PROCESS, 0) + 10)
    os.kill(first, signal.SIGKILL)
    wait_for(lambda: helper_of(running) not in (None, first))
    head = ask("GET", "/v1/revisions")["entries"][0]
    entry = ask("GET", "/v1/limits/dye.polyester_share_full")["entry"]
    change = {"kind": "limits", "id": "dye.polyester_share_full", "value": {**entry, "value": entry["value"] + 1}}
    base = {"revision": head["revision"], "digest": head["digest"]}
    body = {"base": base, "changes": [change], "reason": "Pale.", "evidence": "Reports."}
    own = f"/v1/proposals/{ask('POST', '/v1/proposals', body)['proposal_id']}"
    assert ask("POST", f"{own}/open")["state"] == "working"
    wait_for(lambda: ask("GET", f"{own}/effect")["orders"] == 40)
    second = helper_of(running)
    if second is not None:
        os.kill(second, signal.SIGTERM)
    wait_for(lambda: ask("GET", f"{own}/effect")["state"] == "done")
    assert ask("GET", f"{own}/status")["state"] == "open"
