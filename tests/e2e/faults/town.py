"""The topology of docker-compose.yml by hand, each part of which can be ended, frozen, slowed and started again.

Two services on one store. ``replicated``: a primary, its replica and three Sentinels, as compose has them; else one
redis-server behind a proxy that can delay. All of it on this machine's loopback, with a password.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import requests

from accord_service.run.config import Config
from accord_service.store import Seals, Store, StoreError
from accord_service.store.connection import connect
from accord_service.store.embedded import wheel_binary

ROOT = Path(__file__).resolve().parents[3]
DEMO = ROOT / "demo"
STORE_CONF = ROOT / "service" / "containers" / "store.conf"
ACCORD = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')"]
START_S = 300.0
FAKED_CLOCK = str(Path(__file__).with_name("clock"))
PATIENT_S = 5.0
LISTENS = "Listening at"  # gunicorn's words


class NotStarted(RuntimeError):
    """A part of the town does not start; the message has the end of what it logged."""


def until(holds: Callable[[], object], seconds: float = START_S, what: str = "it") -> float:
    """Wait until it holds; the seconds that took. Raises NotStarted."""
    began_s = time.monotonic()
    while not holds():
        if time.monotonic() - began_s > seconds:
            raise NotStarted(f"{what} is not there after {seconds:.0f} s")
        time.sleep(0.02)
    return time.monotonic() - began_s


def free_ports(count: int) -> list[int]:
    with contextlib.ExitStack() as stack:
        probes = [stack.enter_context(socket.create_server(("127.0.0.1", 0))) for _ in range(count)]
        return [int(probe.getsockname()[1]) for probe in probes]


@dataclass
class Server:
    """One process of the town. It starts again as it was started first."""

    name: str
    words: list[str]
    folder: Path
    env: Mapping[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> Path:
        return self.folder / f"{self.name}.log"

    @property
    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    def start(self) -> None:
        env = {**os.environ, **self.env}
        env.pop("PROMETHEUS_MULTIPROC_DIR", None)  # each service has a folder of its own
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self.words, env=env, cwd=self.folder, stdout=log, stderr=log)

    def runs(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def end(self, how: signal.Signals = signal.SIGKILL, seconds: float = 40.0) -> int:
        """Its exit code."""
        if self.process is None:
            return 0
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(how)
        return self.process.wait(seconds)

    def log_text(self, message: str) -> list[str]:
        """The lines of its log with ``message``."""
        lines = self.log.read_text(encoding="utf-8", errors="replace").splitlines()
        return [line for line in lines if message in line]

    def log_end(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")[-1500:]


@dataclass
class RedisServer(Server):
    """A redis-server; ``data`` is its folder."""

    port: int = 0
    password: str = ""
    data: Path = Path()

    @property
    def url(self) -> str:
        return f"redis://:{self.password}@127.0.0.1:{self.port}/0"

    def answers(self) -> bool:
        return bool(self.told("PING"))

    def told(self, *command: str) -> object:
        """Its answer; None while it gives none."""
        client = connect(self.url, timeout_s=1.0)
        try:
            return client.execute_command(*command)
        except Exception:  # the library's, of many kinds: it is away, loading, or refuses
            return None
        finally:
            client.close()

    def is_replica(self) -> bool:
        role = self.told("ROLE")
        return isinstance(role, list) and role[0] == b"slave" and role[3] == b"connected"

    def is_primary(self) -> bool:
        role = self.told("ROLE")
        return isinstance(role, list) and role[0] == b"master"

    def freeze(self) -> None:
        os.kill(self.pid, signal.SIGSTOP)

    def thaw(self) -> None:
        os.kill(self.pid, signal.SIGCONT)


@dataclass
class Service(Server):
    """``accord serve``."""

    port: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start_again(self) -> None:
        """As a supervisor does, until it stays: the workers of a killed master hold the port until they have ended."""
        before = len(self.log_text(LISTENS))

        def stays() -> bool:
            if not self.runs():
                self.start()
            return len(self.log_text(LISTENS)) > before and self.runs()

        until(stays, what=self.name)

    def is_ready(self) -> bool:
        if not self.runs():
            raise NotStarted(f"{self.name} ended: {self.log_end()}")
        try:
            return requests.get(f"{self.url}/readyz", timeout=5).status_code == 200
        except requests.RequestException:
            return False

    def workers(self) -> list[int]:
        """The process ids of its workers."""
        pids = []
        for stat in Path("/proc").glob("[0-9]*/stat"):
            with contextlib.suppress(OSError):
                text = stat.read_text().rpartition(")")[2].split()
                if int(text[1]) == self.pid and text[0] not in "ZX":
                    pids.append(int(stat.parent.name))
        return sorted(pids)


@dataclass
class Town:
    """All of it. ``stores``: the first is the primary at the start."""

    folder: Path
    services: tuple[Service, Service]
    stores: tuple[RedisServer, ...]
    sentinels: tuple[RedisServer, ...]
    proxy: Server | None
    store_url: str
    clock: Path

    @property
    def keys(self) -> Path:
        return self.folder / "keys"

    def token(self, key: str) -> str:
        return (self.keys / key).read_text(encoding="ascii").strip()

    def primary(self) -> RedisServer:
        """The store that writes go to now."""
        if not self.sentinels:
            return self.stores[0]
        address = self._address_told()
        if address is None:
            raise NotStarted("no Sentinel names a primary")
        return next(store for store in self.stores if store.port == int(address[1]))

    def _address_told(self) -> list[bytes] | None:
        """Host and port of the primary, as the first Sentinel that answers has them."""
        for sentinel in self.sentinels:
            told = sentinel.told("SENTINEL", "GET-MASTER-ADDR-BY-NAME", "accord")
            if isinstance(told, list):
                return told
        return None

    def start(self, store: RedisServer) -> None:
        """As service/containers/store.sh does: in the role that the Sentinels tell, or else the one it had last."""
        told = self._address_told()
        whom = [] if told is None else ["no", "one"] if int(told[1]) == store.port else ["127.0.0.1", told[1].decode()]
        store.words = [*store.words[:2], *(["--replicaof", *whom] if whom else [])]
        store.start()

    def other(self, store: RedisServer) -> RedisServer:
        return next(other for other in self.stores if other is not store)

    @contextlib.contextmanager
    def store(self) -> Iterator[Store]:
        """The primary itself, past proxy and Sentinels, asked patiently."""
        seals = Seals.read(Config.from_env(os.environ | self.services[0].env).seal_key_file)
        opened = Store.at(self.primary().url, timeout_s=PATIENT_S, seals=seals)
        try:
            yield opened
        finally:
            opened.close()

    def delay(self, milliseconds: int) -> None:
        """Let each answer of the store take so much longer."""
        (self.folder / "delay").write_text(str(milliseconds), encoding="ascii")

    def set_clock(self, offset_s: int) -> None:
        """The clock of services and store, ahead of the machine's by so many seconds; moved in one step."""
        moved = self.clock.with_suffix(".new")
        moved.write_text(f"{offset_s:+d}\n", encoding="ascii")
        moved.replace(self.clock)

    def is_whole(self) -> bool:
        """Whether the stores are where they belong: one primary that answers and, where there is one, its replica."""
        try:
            primary = self.primary()
        except NotStarted:
            return False
        return primary.is_primary() and all(store.is_replica() for store in self.stores if store is not primary)


def _faked_clock(folder: Path) -> dict[str, str]:
    """The environment in which a store has the clock of ``folder / "clock"``, and the machine's monotonic one."""
    (folder / "clock").write_text("+0\n", encoding="ascii")
    library = next(Path("/usr/lib").glob("**/faketime/libfaketimeMT.so.1"), None)
    if library is None:
        raise NotStarted("the library of faketime is not there")
    return {
        "LD_PRELOAD": str(library),
        "FAKETIME_TIMESTAMP_FILE": str(folder / "clock"),
        "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        "DONT_FAKE_MONOTONIC": "1",
    }


def _store(name: str, folder: Path, port: int, password: str, env: Mapping[str, str], more: str = "") -> RedisServer:
    """As service/containers/store.sh starts one, with a port and a folder of its own."""
    data = folder / name
    data.mkdir(exist_ok=True)
    given = STORE_CONF.read_text(encoding="utf-8").replace("port 6379", f"port {port}")
    given = given.replace("dir /data", f"dir {data}") + f"bind 127.0.0.1\nrepl-diskless-sync-delay 0\n{more}"
    config = folder / f"{name}.conf"
    config.write_text(f"{given}\nrequirepass {password}\nmasterauth {password}\n", encoding="utf-8")
    # Debian's redis-server comes with an allocator that the library of faketime does not get on with.
    program = str(wheel_binary()) if env else shutil.which("redis-server") or "redis-server"
    return RedisServer(name, [program, str(config)], folder, env, port=port, password=password, data=data)


def _sentinel(name: str, folder: Path, port: int, primary: RedisServer, down_after_ms: int) -> RedisServer:
    config = folder / f"{name}.conf"
    config.write_text(
        f"port {port}\nbind 127.0.0.1\ndir {folder}\n"
        f"sentinel monitor accord 127.0.0.1 {primary.port} 2\n"
        f"sentinel down-after-milliseconds accord {down_after_ms}\n"
        "sentinel failover-timeout accord 10000\n"
        f"sentinel auth-pass accord {primary.password}\n",
        encoding="utf-8",
    )
    words = [shutil.which("redis-server") or "redis-server", str(config), "--sentinel"]
    return RedisServer(name, words, folder, port=port)


def _service(name: str, folder: Path, port: int, env: Mapping[str, str], workers: int) -> Service:
    words = [*ACCORD, "serve", "--port", str(port), "--workers", str(workers)]
    return Service(name, words, folder, env, port=port)


@contextlib.contextmanager
def town(
    folder: Path, *, replicated: bool, workers: int = 2, down_after_ms: int = 3000, faked_clock: bool = False
) -> Iterator[Town]:
    """The town, seeded with the demo collective, ready, for as long as the block runs."""
    up = _planned(folder, replicated, workers, down_after_ms, faked_clock)
    with contextlib.ExitStack() as stack:
        for server in (*up.stores, *up.sentinels, *((up.proxy,) if up.proxy else ())):
            stack.callback(server.end)
            server.start()
        until(up.is_whole, what="the store")
        if replicated:
            until(lambda: all(_sees_all(sentinel) for sentinel in up.sentinels), what="the Sentinels' quorum")
        _seed(up)
        for service in up.services:
            stack.callback(service.end, signal.SIGTERM)
            service.start()
        with ThreadPoolExecutor(2) as threads:
            list(threads.map(lambda service: until(service.is_ready, what=service.name), up.services))
        yield up


def _planned(folder: Path, replicated: bool, workers: int, down_after_ms: int, faked_clock: bool) -> Town:
    ports, password = free_ports(8), secrets.token_hex(16)
    (folder / "password").write_text(f"{password}\n", encoding="ascii")
    clock = _faked_clock(folder) if faked_clock else {}
    sentinels: tuple[RedisServer, ...] = ()
    proxy = None
    if replicated:
        first = _store("store-a", folder, ports[0], password, clock)
        stores = (first, _store("store-b", folder, ports[1], password, clock, f"replicaof 127.0.0.1 {ports[0]}\n"))
        sentinels = tuple(
            _sentinel(f"sentinel-{number}", folder, port, first, down_after_ms)
            for number, port in enumerate(ports[2:5])
        )
        address = f"redis+sentinel://{','.join(f'127.0.0.1:{port}' for port in ports[2:5])}/accord?replicas=1"
    else:
        stores = (_store("store-a", folder, ports[0], password, clock, "min-replicas-to-write 0\n"),)
        (folder / "delay").write_text("0", encoding="ascii")
        words = [sys.executable, str(Path(__file__).with_name("proxy.py")), str(ports[1]), str(ports[0])]
        proxy = Server("proxy", [*words, str(folder / "delay")], folder)
        address = f"redis://127.0.0.1:{ports[1]}/0"
    env = {
        "PYTHONPATH": os.pathsep.join(filter(None, [FAKED_CLOCK if faked_clock else "", *sys.path])),
        "FAKETIME_TIMESTAMP_FILE": str(folder / "clock"),
        "ACCORD_DATA": str(folder),
        "ACCORD_STORE_URL": address,
        "ACCORD_STORE_PASSWORD_FILE": str(folder / "password"),
        "ACCORD_EDGES_MOST": "20",  # a proposal's effect is not what is tried here
    }
    services = (
        _service("service-a", folder, ports[5], env, workers),
        _service("service-b", folder, ports[6], env, workers),
    )
    return Town(folder, services, stores, sentinels, proxy, address, folder / "clock")


def _sees_all(sentinel: RedisServer) -> bool:
    return sentinel.told("SENTINEL", "CKQUORUM", "accord") is not None and bool(
        sentinel.told("SENTINEL", "REPLICAS", "accord")
    )


def _seed(up: Town) -> None:
    env = {**os.environ, **up.services[0].env}
    done = subprocess.run([*ACCORD, "seed", str(DEMO)], env=env, capture_output=True, text=True, check=False)
    if done.returncode:
        raise NotStarted(done.stderr)


def audit_breaks(up: Town) -> str:
    """What is wrong with the audit; empty where it is whole and every document is what it says."""
    with up.store() as store:
        try:
            account = store.check()
        except StoreError as error:
            return f"it can't be read: {error}"
    return "" if account.is_whole else " ".join(account.lines())
