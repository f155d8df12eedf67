"""The command in this process and in one of its own, and a service that it asks."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from tests.served import serving

from accord_service.cli.main import main
from accord_service.run.config import Config
from accord_service.store import EmbeddedServer

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
# Nobody's bundle: whoever runs the tests may have pulled one.
NO_FOLDER = "/no/such/folder"


@dataclass(frozen=True)
class Served:
    """A running service. ``store``: where its store is."""

    url: str
    store: str


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
def data(collective: Path, seed: Callable[[Path], Path]) -> Path:
    """A data folder whose store ``accord seed`` filled."""
    return seed(collective)


@pytest.fixture(scope="session")
def seed(seeded_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Path]:
    """Has ``accord seed`` fill the store of a new data folder, on top of what a first start leaves."""

    def fill(folder: Path) -> Path:
        data = tmp_path_factory.mktemp("data")
        shutil.copytree(seeded_data, data, dirs_exist_ok=True)
        done = invoked({})("seed", str(folder), "--data", str(data))
        assert done.exit_code == 0, done.output
        return data

    return fill


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
def served(data: Path) -> Iterator[Served]:
    with served_from(data) as served:
        yield served


@contextmanager
def served_from(data: Path) -> Iterator[Served]:
    """A service of this process on a data folder; that ``accord serve`` is one is held in ``test_command.py``."""
    server = EmbeddedServer.start(data / "store")
    try:
        with serving(Config(store_url=server.url, data=data, log_level="WARNING")) as url:
            yield Served(url, server.url)
    finally:
        server.stop()


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
