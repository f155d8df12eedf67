"""The command in this process and in one of its own, and a service started by ``accord serve`` itself."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.error import URLError

import pytest
from click.testing import CliRunner, Result

from accord_service.cli.main import main

# Metric, with a press that is named in the orders below, and next to nothing in stock.
SHOP = """
id = "mill-loft"
name = "The Mill Loft"
market = "eu"
unit_system = "metric"
standing = ["extraction", "heat-gloves", "trained-operators"]
[[presses]]
id = "bench"
type = "swing-away"
platen = { width = "400 mm", height = "500 mm" }
[[presses]]
id = "mini"
type = "hand-held-mini"
[stock]
products = ["sub-paper-fast-dry", "film-soft-matte"]
consumables = ["ptfe-sheet", "silicone-paper", "plain-paper", "heat-tape"]
"""
ACCORD = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')"]
START_S = 60
# Nobody's bundle: whoever runs the tests may have pulled one.
NO_FOLDER = "/no/such/folder"


@dataclass(frozen=True)
class Served:
    """A running service."""

    url: str
    process: subprocess.Popen[str]
    log: Path


@pytest.fixture(scope="session")
def collective(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a shop and the keys it wants, for ``accord seed``."""
    folder = tmp_path_factory.mktemp("collective")
    (folder / "shops").mkdir()
    (folder / "shops" / "mill-loft.toml").write_text(SHOP, encoding="utf-8")
    keys = "\n".join(
        f'[[key]]\nshop = "mill-loft"\nrole = "{role}"\nholder = "The {role}"'
        for role in ("counter", "owner", "admin", "operator")
    )
    (folder / "keys.toml").write_text(keys, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def data(collective: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder whose store ``accord seed`` filled."""
    data = tmp_path_factory.mktemp("data")
    command = [*ACCORD, "seed", str(collective), "--data", str(data)]
    subprocess.run(command, check=True, capture_output=True, env=plain_environment(), timeout=START_S)
    return data


def token_in(data: Path, name: str) -> str:
    return (data / "keys" / name).read_text(encoding="ascii").strip()


def plain_environment() -> dict[str, str]:
    """This process's environment without what a reader may have set for the command."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("ACCORD_", "PROMETHEUS_")) and k != "NO_COLOR"}
    return kept | {"ACCORD_BUNDLE": NO_FOLDER}


def a_free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture(scope="session")
def served(data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(data, tmp_path_factory.mktemp("served") / "log") as served:
        yield served


@contextmanager
def serving(data: Path, log: Path) -> Iterator[Served]:
    """``accord serve`` on a data folder, with a free port."""
    port = a_free_port()
    command = [*ACCORD, "serve", "--port", str(port), "--workers", "1", "--threads", "2", "--data", str(data)]
    with log.open("w", encoding="utf-8") as file:
        process = subprocess.Popen(command, stdout=file, stderr=file, text=True, env=plain_environment())
    served = Served(f"http://127.0.0.1:{port}", process, log)
    try:
        _await(served)
        yield served
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)


def _await(served: Served) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        assert served.process.poll() is None, served.log.read_text(encoding="utf-8")
        try:
            with urllib.request.urlopen(served.url + "/readyz", timeout=2):
                return
        except (URLError, ConnectionError, TimeoutError):
            time.sleep(0.1)
    pytest.fail(f"not ready within {START_S} s: {served.log.read_text(encoding='utf-8')}")


Accord = Callable[..., Result]


def invoked(environment: dict[str, str | None]) -> Accord:
    def run(*arguments: str, stdin: str | bytes | None = None, **changed: str) -> Result:
        runner = CliRunner(env={"COLUMNS": "80", "ACCORD_BUNDLE": NO_FOLDER, **environment, **changed})
        return runner.invoke(main, arguments, input=stdin, catch_exceptions=False, prog_name="accord")

    return run


@pytest.fixture
def accord(served: Served, data: Path) -> Accord:
    """The command in this process, asking the service as the shop's counter."""
    return invoked({"ACCORD_URL": served.url, "ACCORD_TOKEN": token_in(data, "mill-loft-counter")})


@pytest.fixture
def as_admin(served: Served, data: Path) -> Accord:
    """The same with the key that the first start made."""
    return invoked({"ACCORD_URL": served.url, "ACCORD_TOKEN": token_in(data, "admin")})


@pytest.fixture
def second_admin(data: Path) -> str:
    """The token of another admin than ``as_admin``."""
    return token_in(data, "mill-loft-admin")


@pytest.fixture
def alone() -> Accord:
    """The command in this process, with nothing in its environment."""
    return invoked({"ACCORD_URL": None, "ACCORD_TOKEN": None})


@pytest.fixture
def started() -> Callable[..., subprocess.Popen[bytes]]:
    """Starts the command in a process of its own, with its output where the test wants it."""

    def start(*arguments: str, stdout: Any = subprocess.PIPE, stderr: Any = subprocess.PIPE, **changed: str) -> Any:
        environment = plain_environment() | changed
        return subprocess.Popen([*ACCORD, *arguments], stdout=stdout, stderr=stderr, env=environment)

    return start


@pytest.fixture
def free_port() -> int:
    return a_free_port()


@pytest.fixture
def own_process() -> Callable[..., subprocess.CompletedProcess[bytes]]:
    """The command in a process of its own."""

    def run(*arguments: str, stdin: bytes = b"", **changed: str) -> subprocess.CompletedProcess[bytes]:
        environment = plain_environment() | changed
        return subprocess.run([*ACCORD, *arguments], input=stdin, capture_output=True, env=environment, timeout=60)

    return run


@pytest.fixture
def order(tmp_path: Path) -> Callable[..., str]:
    """Writes an order file and gives its name."""

    def write(name: str, document: Any) -> str:
        file = tmp_path / f"{name}.json"
        file.write_bytes(document if isinstance(document, bytes) else json.dumps(document).encode())
        return str(file)

    return write
