"""A real server under the service's own gunicorn configuration, and a client that sends whatever bytes it likes."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

START_S = 60.0
# How long an answer may take on a busy machine; nothing waits this long unless it is never answered.
PATIENCE_S = 20.0
STOP_S = 40.0
CONFIG = "python:accord_service.serving.gunicorn_config"
# A small shop, as its owner would write it down.
QUAY_SIDE = """
id = "quay-side"
name = "Quay Side Shirts"
market = "us"
unit_system = "us-customary"
standing = ["trained-operators"]
[[presses]]
id = "bench-38"
type = "swing-away"
platen = { width = "15 in", height = "15 in" }
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet", "plain-paper"]
"""


@dataclass(frozen=True)
class Running:
    """A server that answers. ``log``: what it wrote to standard error."""

    process: subprocess.Popen[bytes]
    port: int
    log: Path

    def client(self) -> Client:
        return Client(self.port)

    def ask(self, request: bytes) -> Answer:
        """On a connection of its own."""
        with self.client() as client:
            client.send(request)
            return client.answer()

    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.log.read_text().splitlines() if line.startswith("{")]


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def document(self) -> Any:
        return json.loads(self.body)

    @property
    def ends_connection(self) -> bool:
        return self.headers.get("connection") == "close"


class Client:
    """One connection. A reset shows as ConnectionResetError."""

    def __init__(self, port: int, receive_buffer: int | None = None) -> None:
        self.sock = socket.socket()
        if receive_buffer is not None:
            self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        self.sock.settimeout(PATIENCE_S)
        try:
            self.sock.connect(("127.0.0.1", port))
        except OSError:
            self.sock.close()
            raise
        self._reader = self.sock.makefile("rb")

    def __enter__(self) -> Client:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._reader.close()
        self.sock.close()

    def send(self, data: bytes) -> None:
        self.sock.sendall(data)

    def answer(self) -> Answer:
        """The next answer; one with neither length nor chunks is read until the end."""
        status = self._reader.readline()
        if not status:
            raise ConnectionError("the connection ended without an answer")
        headers = {}
        while (line := self._reader.readline()) not in (b"\r\n", b""):
            name, _, value = line.decode("latin-1").partition(":")
            headers[name.lower()] = value.strip()
        return Answer(int(status.split()[1]), headers, self._reader.read(int(headers.get("content-length", 0))))

    def is_silent(self) -> bool:
        """Nothing has come, not even an end."""
        self.sock.setblocking(False)
        try:
            self.sock.recv(1, socket.MSG_PEEK)
        except BlockingIOError:
            return True
        finally:
            self.sock.settimeout(PATIENCE_S)
        return False

    def rest(self) -> bytes:
        """All that comes until the server closes the connection."""
        return self._reader.read()


def request(method: str, path: str, *headers: str, body: bytes = b"") -> bytes:
    length = [f"Content-Length: {len(body)}"] if body else []
    lines = [f"{method} {path} HTTP/1.1", "Host: press.example", *headers, *length, "", ""]
    return "\r\n".join(lines).encode() + body


def chunked(*chunks: bytes) -> bytes:
    """A body in chunks (RFC 9112 section 7.1), whole if the last one is empty."""
    return b"".join(b"%x\r\n%b\r\n" % (len(chunk), chunk) for chunk in chunks)


@contextmanager
def serving(folder: Path, *arguments: str, **settings: str) -> Iterator[Running]:
    """gunicorn with ``arguments``, on a free port, its data in ``folder``."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    log = folder / f"{port}.log"
    words = [sys.executable, "-m", "gunicorn", "-c", CONFIG, "--bind", f"127.0.0.1:{port}", *arguments]
    with (
        log.open("wb") as out,
        subprocess.Popen(words, env=environment(folder, **settings), stderr=out) as process,
    ):
        running = Running(process, port, log)
        try:
            _wait_until_up(running)
            yield running
        finally:
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                raise


def environment(folder: Path, **settings: str) -> dict[str, str]:
    env = os.environ | {"PYTHONPATH": os.pathsep.join([str(folder), *sys.path]), "ACCORD_STORE_URL": ""}
    env.pop("PROMETHEUS_MULTIPROC_DIR", None)
    # Only tests of effects need the processes that work these out.
    return env | {"ACCORD_DATA": str(folder / "data"), "ACCORD_JOB_PROCESSES": "0"} | settings


def _wait_until_up(running: Running) -> None:
    end_s = time.monotonic() + START_S
    while time.monotonic() < end_s and running.process.poll() is None:
        try:
            if running.ask(request("GET", "/healthz", "Connection: close")).status == 200:
                return
        except OSError:
            time.sleep(0.05)
    raise AssertionError(f"the server did not start: {running.log.read_text()}")


# More than the kernel buffers for a client that does not read; six are less than a worker holds in all.
BIG_BYTES = 8 * 1024 * 1024
LAB = f"""
import os, pathlib, threading, time
from flask import Flask, Response, request

app = Flask(__name__)
gate = pathlib.Path(os.environ["LAB_GATE"])


@app.get("/healthz")
def healthz():
    return "ok"


@app.post("/echo")
def echo():
    return Response(request.get_data(), content_type="application/octet-stream")


@app.get("/big")
def big():
    return b"x" * {BIG_BYTES}


@app.get("/wait")
def wait():
    gate.with_name("waits").open("a").write("x")
    while not gate.exists():
        time.sleep(0.01)
    return "waited"


@app.get("/broken")
def broken():
    def parts():
        yield b"the first part"
        raise RuntimeError("no second part")
    return Response(parts())
"""


@contextmanager
def serving_lab(folder: Path, *arguments: str, **settings: str) -> Iterator[Running]:
    """A small application under the service's configuration: one worker, two threads, short deadlines.

    ``/wait`` answers once ``folder / "gate"`` is there, and leaves a letter in ``folder / "waits"`` before.
    """
    (folder / "lab.py").write_text(LAB, encoding="utf-8")
    defaults = {
        "LAB_GATE": str(folder / "gate"),
        "ACCORD_WORKERS": "1",
        "ACCORD_THREADS": "2",
        "ACCORD_HEADER_SECONDS": "2",
        "ACCORD_TRANSFER_SECONDS": "2",
        "ACCORD_TRANSFER_RATE": str(64 * 1024 * 1024),
    }
    with serving(folder, *arguments, "lab:app", **(defaults | settings)) as running:
        yield running
