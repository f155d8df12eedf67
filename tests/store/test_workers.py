"""The store under a web server: the master owns it, the workers share it, and it ends with the master."""

from __future__ import annotations

import dataclasses
import http.client
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from accord_service.store import EmbeddedServer, FolderOwned, Store

Until = Callable[[Callable[[], bool]], float]

CONFIG = """
import os
from pathlib import Path
from accord_service.store import EmbeddedServer

bind = f"127.0.0.1:{os.environ['PORT']}"
workers = 2
worker_class = "gthread"
threads = 2
control_socket_disable = True


def on_starting(server):
    global store
    store = EmbeddedServer.start(os.environ["FOLDER"], binary=Path(os.environ["BINARY"]))
    os.environ["STORE_URL"] = store.url


def on_exit(server):
    store.stop()
"""

APPLICATION = """
import dataclasses, json, os
from accord_service.store import Cell, Store, StoreError

store = Store.at(os.environ["STORE_URL"])
record = dataclasses.replace(store.records.draft("s", question={}, answer={}, revision=1), record_id="rec_1")


def application(environ, start_response):
    try:
        of_one = {"decoration": 0, "quantity": 100_000, "cell": Cell("t", "s", "p"), "failure": None}
        store.outcomes.add(record, {}, **of_one, who="worker")
        status = "200 OK"
    except StoreError:
        status = "503 Service Unavailable"
    start_response(status, [("Content-Type", "application/json"), ("Connection", "close")])
    return [json.dumps({"worker": os.getpid()}).encode()]
"""


@pytest.fixture
def service(
    tmp_path: Path, binary: Path, free_port: Callable[[], int], until: Until
) -> Iterator[tuple[subprocess.Popen[bytes], Callable[[], tuple[int, int]]]]:
    """The master's process, and a question to the workers: status and the worker's process id."""
    (tmp_path / "settings.py").write_text(CONFIG)
    (tmp_path / "shared.py").write_text(APPLICATION)
    port = free_port()
    more = {"PORT": str(port), "FOLDER": str(tmp_path / "data"), "BINARY": str(binary)}
    words = [sys.executable, "-m", "gunicorn", "-c", "settings.py", "shared:application"]
    master = subprocess.Popen(words, cwd=tmp_path, env={**os.environ, **more}, stderr=subprocess.DEVNULL)

    def ask() -> tuple[int, int]:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
        try:
            connection.request("GET", "/")
            answer = connection.getresponse()
            document: dict[str, Any] = json.loads(answer.read())
            return answer.status, document["worker"]
        except (OSError, http.client.HTTPException, ValueError):
            return 0, 0
        finally:
            connection.close()

    until(lambda: ask()[0] == 200)
    yield master, ask
    master.kill()
    master.wait()


def _server_of(master: int) -> int:
    """The store's server among the master's children."""
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            name, _, rest = path.read_text().partition("(")[2].rpartition(")")
        except (FileNotFoundError, ProcessLookupError):
            continue
        if rest.split()[1] == str(master) and "server" in name:
            return int(path.parent.name)
    return 0


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except (FileNotFoundError, ProcessLookupError):
        return False


def test_workers_share_one_store_that_comes_back_and_ends_with_the_master(
    service: tuple[subprocess.Popen[bytes], Callable[[], tuple[int, int]]], tmp_path: Path, binary: Path, until: Until
) -> None:
    master, ask = service
    workers: set[int] = set()

    def both() -> bool:
        workers.add(ask()[1])
        return len(workers - {0}) == 2

    until(both)
    first = _server_of(master.pid)
    assert first
    os.kill(first, signal.SIGKILL)
    until(lambda: _server_of(master.pid) not in (0, first))
    until(lambda: ask()[0] == 200)
    with pytest.raises(FolderOwned, match=str(master.pid)):
        EmbeddedServer.start(tmp_path / "data", binary=binary)
    second = _server_of(master.pid)
    master.kill()
    until(lambda: not _alive(second))
    again = EmbeddedServer.start(tmp_path / "data", binary=binary)
    store = Store.at(again.url)
    record = dataclasses.replace(store.records.draft("s", question={}, answer={}, revision=1), record_id="rec_1")
    assert store.outcomes.counts()[0].good == len(store.outcomes.page(record, limit=100_000).items) > 2
    assert store.audit.verify() is None
    store.close()
    again.stop()


def test_a_stopped_master_stops_the_store(
    service: tuple[subprocess.Popen[bytes], Callable[[], tuple[int, int]]],
) -> None:
    master, _ = service
    server = _server_of(master.pid)
    assert _alive(server)
    master.terminate()
    assert master.wait(60) == 0
    assert not _alive(server)
