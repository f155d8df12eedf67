"""A store with a password: services read it from a file, and nobody else reads it anywhere."""

from __future__ import annotations

import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.service.servers import Answer, Running, request, serving

PASSWORD = "open%sesame@7f3c"
# As it stands in an address, or in its bytes.
TRACES = (b"open%sesame@7f3c", b"open%25sesame%407f3c", b"sesame")


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A redis-server that asks for the password, on a socket in the test's folder."""
    program = shutil.which("redis-server")
    assert program is not None
    config = tmp_path / "redis.conf"
    config.write_text(f'port 0\nunixsocket {tmp_path}/guarded.sock\nsave ""\nrequirepass "{PASSWORD}"\n')
    process = subprocess.Popen([program, str(config)], stdout=subprocess.DEVNULL, cwd=tmp_path)
    until = time.monotonic() + 30
    while not (tmp_path / "guarded.sock").exists():
        assert time.monotonic() < until
        time.sleep(0.02)
    yield process
    process.kill()
    process.wait()


def family(pid: int) -> Iterator[int]:
    """A process and all that it started."""
    yield pid
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in (task / "children").read_text().split():
            yield from family(int(child))


# Where the password comes from, and that it is not shown, run/test_config.py holds.
@pytest.mark.long
@pytest.mark.needs("redis-server")
def test_the_password_stands_in_no_process_no_log_and_no_answer(
    guarded: subprocess.Popen[bytes], tmp_path: Path
) -> None:
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n", encoding="utf-8")
    settings = {"ACCORD_STORE_URL": f"unix://{tmp_path}/guarded.sock", "ACCORD_STORE_PASSWORD_FILE": str(file)}
    with serving(tmp_path, ACCORD_WORKERS="1", **settings) as running:
        assert ready(running).document["status"] == "ready", "it reaches the store"
        processes = list(family(running.process.pid))
        assert len(processes) >= 2, "a worker too"
        told = b"".join(
            Path(f"/proc/{pid}/{what}").read_bytes() for pid in processes for what in ("cmdline", "environ")
        )
        assert str(file).encode() in told
        guarded.kill()
        guarded.wait()
        until = time.monotonic() + 30
        while (answer := ready(running)).document["status"] != "degraded":
            assert time.monotonic() < until
            time.sleep(0.1)
        told += answer.body + running.ask(request("GET", "/metrics", "Connection: close")).body
        told += running.log.read_bytes()
    assert not [trace for trace in TRACES if trace in told]


def ready(running: Running) -> Answer:
    return running.ask(request("GET", "/readyz", "Connection: close"))
