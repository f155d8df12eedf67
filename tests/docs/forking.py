"""The command for pages that run it many times: each in a process of its own, forked from one that has loaded the book.

To import the command and load the book takes a program more than a second of a core, and nothing of it is what a page
shows. What starts anew each time is held in ``tests/cli/test_command.py`` and ``tests/packaging/test_wheel.py``.
"""

from __future__ import annotations

import subprocess
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

PATIENCE_S = 120.0

# Sends its words, folder, environment and three streams, and ends as the forked process does.
_CLIENT = """\
#!{python} -IS
import json, os, socket, sys
with socket.socket(socket.AF_UNIX) as server:
    server.connect({address!r})
    told = json.dumps([sys.argv[1:], os.getcwd(), dict(os.environ)]).encode()
    socket.send_fds(server, [len(told).to_bytes(4, "big")], [0, 1, 2])
    server.sendall(told)
    code = server.recv(1)
sys.exit(code[0] if code else "the command ended without a word")
"""
_SERVER = """\
import json, os, socket, sys
from contextlib import suppress
from importlib import import_module
from accord_service.cli import here
from accord_service.cli.main import GROUPS, main

def run(words, folder, environment):
    sys.argv = ["accord", *words]
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    try:
        main(prog_name="accord")
    except SystemExit as ended:
        return ended.code or 0
    finally:
        sys.stdout.flush()
        sys.stderr.flush()

for group in GROUPS.values():
    for line in group.values():
        import_module(f"accord_service.cli.{line.module}")
here._shipped()
owner = os.getppid()
listening = socket.socket(socket.AF_UNIX)
listening.bind(sys.argv[1])
listening.listen()
listening.settimeout(1.0)
while os.getppid() == owner:
    with suppress(ChildProcessError):
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass
    try:
        client, _ = listening.accept()
    except TimeoutError:
        continue
    client.setblocking(True)
    size, streams, _, _ = socket.recv_fds(client, 4, 3)
    with client, client.makefile("rb") as told:
        asked = json.loads(told.read(int.from_bytes(size, "big")))
        if not os.fork():
            for number, stream in enumerate(streams):
                os.dup2(stream, number)
            code = 1
            try:
                code = run(*asked)
            finally:
                client.sendall(bytes([code]))
                os._exit(0)
    for stream in streams:
        os.close(stream)
"""


@contextmanager
def command_at(program: Path, python: Path | str, environment: Mapping[str, str]) -> Iterator[None]:
    """Have the file ``program`` be the command, as ``python`` has it installed, for as long as the block runs."""
    address = program.with_suffix(".socket")
    with subprocess.Popen([python, "-c", _SERVER, str(address)], env=environment) as server:
        try:
            until = time.monotonic() + PATIENCE_S
            while not address.exists():
                assert server.poll() is None, "see above why it ended"
                assert time.monotonic() < until, f"not there after {PATIENCE_S:g} s"
                time.sleep(0.02)
            program.unlink(missing_ok=True)
            program.write_text(_CLIENT.format(python=python, address=str(address)), encoding="utf-8")
            program.chmod(0o755)
            yield
        finally:
            server.terminate()
