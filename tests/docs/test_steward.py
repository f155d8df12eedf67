"""docs/steward.md, run word for word against a service of its own with the demo collective. No outside source."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.error import URLError

import pytest
from tests.docs import transcripts
from tests.docs.forking import command_at

pytestmark = pytest.mark.needs("curl")

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "steward.md"
PORT = 8080
START_S = 120.0
ACCORD = "from accord_service.cli.main import main; main(prog_name='accord')"


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Where ``accord`` is this tree's, in 80 columns, and a word for ``. .venv/bin/activate`` is no trouble."""
    own = ("ACCORD_", "PROMETHEUS_", "NO_COLOR")
    program = tmp_path_factory.mktemp("bin") / "accord"
    inherited = {name: value for name, value in os.environ.items() if not name.startswith(own)}
    path = os.pathsep.join([str(program.parent), inherited["PATH"]])
    sources = os.pathsep.join(part for part in sys.path if part)
    whole = inherited | {"PATH": path, "PYTHONPATH": sources, "COLUMNS": "80", "ACCORD_BUNDLE": "/no/such/folder"}
    with command_at(program, sys.executable, whole):
        yield whole


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, environment: dict[str, str]) -> Iterator[tuple[Path, int]]:
    """A folder as the project's after ``make serve``, and the port of the service."""
    folder = tmp_path_factory.mktemp("project")
    (folder / ".venv" / "bin").mkdir(parents=True)
    (folder / ".venv" / "bin" / "activate").touch()
    (folder / "clients").symlink_to(ROOT / "clients")
    data = folder / ".data" / "demo"
    seed = [sys.executable, "-c", ACCORD, "seed", str(ROOT / "demo"), "--data", str(data)]
    subprocess.run(seed, env=environment, check=True, capture_output=True, timeout=START_S)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    serve = [sys.executable, "-c", ACCORD, "serve", "--data", str(data), "--port", str(port), "--workers", "1"]
    log = folder / "log"
    with log.open("wb") as out, subprocess.Popen(serve, env=environment, stdout=out, stderr=out) as process:
        try:
            wait_until_ready(f"http://127.0.0.1:{port}/readyz", process, log)
            yield folder, port
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(60)


def wait_until_ready(url: str, process: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        assert process.poll() is None, log.read_text(encoding="utf-8")
        try:
            with urllib.request.urlopen(url, timeout=10):
                return
        except (URLError, ConnectionError, TimeoutError):
            time.sleep(0.2)
    pytest.fail(f"not ready after {START_S:.0f} s")


# The commands are held one by one by cli/test_proposal.py, cli/test_audit.py and cli/test_administration.py.
@pytest.mark.long
def test_each_command_prints_what_the_page_shows(folder: tuple[Path, int], environment: dict[str, str]) -> None:
    place, port = folder
    shown = transcripts.shown_in(PAGE.read_text(encoding="utf-8").replace(str(PORT), str(port)))
    assert sum(of.command.startswith("accord ") for of in shown) >= 15
    lines = list(transcripts.printed(shown, cwd=place, env=environment))
    assert len(lines) == len(shown)
    for of, now in zip(shown, lines, strict=True):
        assert transcripts.agrees(of.lines, now), "\n".join((of.command, *now))


def test_what_is_shown_must_be_printed() -> None:
    """The comparison itself: a line too many, too few or another is seen; days and digests may differ."""
    shown = ("a  2026-01-01", "...", "z sha256:" + "0" * 64)
    assert transcripts.agrees(shown, ["a  2027-02-03T10:00:00Z", "b", "c", "z sha256:" + "1" * 64])
    assert transcripts.agrees(shown, ["a  2027-02-03", "z sha256:" + "1" * 64])
    assert not transcripts.agrees(shown, ["a  2027-02-03", "b"])
    assert not transcripts.agrees(("a",), ["a", "b"])
    assert not transcripts.agrees(("a", "b"), ["a"])
