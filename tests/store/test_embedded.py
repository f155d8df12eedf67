"""The server that comes along: one owner, one server, no orphan, whoever dies first."""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from accord_service.store import EmbeddedServer, FolderOwned, Store, StoreAway, StoreBroken
from accord_service.store.embedded import SOCKET_PATH_LIMIT

Until = Callable[[Callable[[], bool]], float]

OWNER = """
import os, sys, time
from pathlib import Path
from accord_service.store import EmbeddedServer, Store
server = EmbeddedServer.start(sys.argv[1], binary=Path(sys.argv[2]))
Store.at(server.url).shops.create("s", {}, who="owner")
print(server.pid, flush=True)
if sys.argv[3] == "fork" and os.fork() == 0:
    server.stop()  # a child's stop is nobody's business
    print(os.getpid(), flush=True)
time.sleep(60)
"""


def _gone(pid: int) -> bool:
    """Ended; a zombie that its parent has not asked after yet has ended too."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return True
    return state in "ZX"


def _servers_on(folder: Path) -> list[int]:
    """Processes with the folder in their command line, Python ones left out."""
    servers = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = path.read_bytes().split(b"\0")
        except (FileNotFoundError, ProcessLookupError):
            continue
        if b"server" in words[0] and any(os.fsencode(folder) in word for word in words):
            servers.append(int(path.parent.name))
    return servers


@pytest.fixture
def owner(tmp_path: Path, binary: Path) -> Iterator[Callable[[str], subprocess.Popen[str]]]:
    """Starts another process that owns the folder."""
    running: list[subprocess.Popen[str]] = []

    def start(how: str = "alone") -> subprocess.Popen[str]:
        words = [sys.executable, "-c", OWNER, str(tmp_path / "data"), str(binary), how]
        running.append(subprocess.Popen(words, stdout=subprocess.PIPE, text=True))
        return running[-1]

    yield start
    for process in running:
        process.kill()
        process.communicate()


def _line(process: subprocess.Popen[str]) -> int:
    assert process.stdout is not None
    return int(process.stdout.readline())


def _shops(server: EmbeddedServer) -> list[str]:
    store = Store.at(server.url)
    try:
        return [shop.id for shop in store.shops.list()]
    finally:
        store.close()


def test_a_clean_end_keeps_the_data_and_frees_the_folder(tmp_path: Path, binary: Path) -> None:
    for start in range(3):
        server = EmbeddedServer.start(tmp_path / "data", binary=binary)
        assert _shops(server) == [f"s{n}" for n in range(start)]
        store = Store.at(server.url)
        store.shops.create(f"s{start}", {}, who="t")
        store.close()
        pid = server.pid
        server.stop()
        server.stop()  # twice is once
        assert pid is not None
        assert _gone(pid)
    assert not _servers_on(tmp_path / "data")


def test_nobody_else_can_read_the_folder_or_reach_the_socket(server: EmbeddedServer) -> None:
    assert server.folder.stat().st_mode & 0o077 == 0
    assert server.socket_path.stat().st_mode & 0o077 == 0


def test_a_second_owner_in_the_same_process_is_refused(server: EmbeddedServer, binary: Path) -> None:
    with pytest.raises(FolderOwned) as caught:
        EmbeddedServer.start(server.folder, binary=binary)
    assert str(server.folder) in str(caught.value)
    assert str(os.getpid()) in str(caught.value)
    assert _shops(server) == []


def test_a_second_owner_in_another_process_is_refused(
    owner: Callable[..., subprocess.Popen[str]], tmp_path: Path, binary: Path
) -> None:
    first = owner()
    server_pid = _line(first)
    with pytest.raises(FolderOwned) as caught:
        EmbeddedServer.start(tmp_path / "data", binary=binary)
    assert str(first.pid) in str(caught.value)
    assert _servers_on(tmp_path / "data") == [server_pid]


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_the_server_dies_with_its_owner(
    owner: Callable[..., subprocess.Popen[str]], tmp_path: Path, binary: Path, until: Until, how: signal.Signals
) -> None:
    process = owner()
    pid = _line(process)
    process.send_signal(how)
    until(lambda: _gone(pid))
    assert not _servers_on(tmp_path / "data")
    again = EmbeddedServer.start(tmp_path / "data", binary=binary)
    assert _shops(again) == ["s"]
    again.stop()


def test_a_frozen_server_dies_with_its_owner_too(owner: Callable[..., subprocess.Popen[str]], until: Until) -> None:
    process = owner()
    pid = _line(process)
    os.kill(pid, signal.SIGSTOP)
    process.kill()
    until(lambda: _gone(pid))


def test_a_worker_that_outlives_the_owner_does_not_keep_the_folder(
    owner: Callable[..., subprocess.Popen[str]], tmp_path: Path, binary: Path
) -> None:
    process = owner("fork")
    pid, worker = _line(process), _line(process)
    assert not _gone(pid), "the worker's stop() must not end the server"
    process.kill()
    process.wait()
    try:
        again = EmbeddedServer.start(tmp_path / "data", binary=binary)
        assert _shops(again) == ["s"]
        assert not _gone(worker)
        again.stop()
    finally:
        os.kill(worker, signal.SIGKILL)


def test_a_killed_server_is_started_again(server: EmbeddedServer, store: Store, until: Until) -> None:
    store.shops.create("s", {}, who="t")
    first = server.pid
    assert first is not None
    os.kill(first, signal.SIGKILL)

    def back() -> bool:
        try:
            return [shop.id for shop in store.shops.list()] == ["s"]
        except StoreAway:
            return False

    until(back)
    assert server.pid not in (None, first)
    assert _servers_on(server.folder) == [server.pid]


def _locked(file: Path) -> bool:
    with open(file, "rb") as opened:
        try:
            fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        return False


def test_the_server_itself_holds_a_lock_on_the_folder(tmp_path: Path, binary: Path) -> None:
    """So that no second one can be started while it lives, even if its owner is gone."""
    server = EmbeddedServer.start(tmp_path / "data", binary=binary)
    assert _locked(tmp_path / "data" / "server.lock")
    holders = [path.parent.parent.name for path in Path("/proc").glob("[0-9]*/fd/*") if _is(path, server)]
    assert holders == [str(server.pid)]
    server.stop()
    assert not _locked(tmp_path / "data" / "server.lock")


def _is(opened: Path, server: EmbeddedServer) -> bool:
    try:
        return opened.readlink() == server.folder / "server.lock"
    except OSError:  # closed or ended meanwhile
        return False


def test_a_server_left_behind_is_ended_first(tmp_path: Path, binary: Path, until: Until) -> None:
    """As a crash could leave it: alive, on the folder, holding the server's lock, without an owner."""
    folder = tmp_path / "data"
    folder.mkdir()
    with open(folder / "server.lock", "wb") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        words = [str(binary), "--dir", str(folder), "--port", "0", "--unixsocket", str(folder / "store.sock")]
        orphan = subprocess.Popen(words, pass_fds=(lock.fileno(),), stdout=subprocess.DEVNULL)
    until((folder / "store.sock").exists)
    server = EmbeddedServer.start(folder, binary=binary)
    assert orphan.wait(5) == -signal.SIGKILL
    assert _servers_on(folder) == [server.pid]
    server.stop()


def test_files_left_by_a_crash_do_not_mislead(tmp_path: Path, binary: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "owner.lock").write_text("1\n")  # a process that certainly lives, but holds no lock
    (folder / "server.lock").touch()
    (folder / "store.sock").touch()
    server = EmbeddedServer.start(folder, binary=binary)
    assert _shops(server) == []
    server.stop()


def test_a_long_path_gets_its_socket_elsewhere(tmp_path: Path, binary: Path) -> None:
    folder = tmp_path / ("long " * 25) / "düta?#%41"
    server = EmbeddedServer.start(folder, binary=binary)
    assert len(os.fsencode(server.socket_path)) <= SOCKET_PATH_LIMIT
    assert _shops(server) == []
    server.stop()
    server.socket_path.parent.rmdir()


def test_odd_characters_in_the_path(tmp_path: Path, binary: Path) -> None:
    server = EmbeddedServer.start(tmp_path / "a b?#%41 'ü\"", binary=binary)
    assert _shops(server) == []
    server.stop()


def test_the_server_outlives_the_thread_that_asked_for_it(tmp_path: Path, binary: Path) -> None:
    """The kernel's death signal is tied to the thread that started the process, not to the process."""
    started: list[EmbeddedServer] = []
    thread = threading.Thread(target=lambda: started.append(EmbeddedServer.start(tmp_path / "data", binary=binary)))
    thread.start()
    thread.join()
    pid = started[0].pid
    time.sleep(0.2)
    assert started[0].pid == pid is not None
    assert _shops(started[0]) == []
    started[0].stop()


def test_damaged_data_is_said_and_left_alone(tmp_path: Path, binary: Path) -> None:
    server = EmbeddedServer.start(tmp_path / "data", binary=binary)
    store = Store.at(server.url)
    for number in range(20):
        store.shops.create(f"s{number}", {}, who="t")
    store.close()
    server.stop()
    (log,) = (tmp_path / "data" / "appendonlydir").glob("*.incr.aof")
    content = bytearray(log.read_bytes())
    # Bytes of a value may be any; the count in front of a command is what the format lies in.
    command = content.index(b"\r\n*", 200) + 2
    content[command : command + 2] = b"\0\0"
    log.write_bytes(content)
    with pytest.raises(StoreBroken, match=r"ended with code 1(.|\n)*Bad file format"):
        EmbeddedServer.start(tmp_path / "data", binary=binary)
    assert log.read_bytes() == content
    with pytest.raises(StoreBroken, match="ended with code 1"):  # and the folder is free again
        EmbeddedServer.start(tmp_path / "data", binary=binary)


def test_a_torn_end_of_the_data_is_what_was_never_acknowledged(tmp_path: Path, binary: Path) -> None:
    server = EmbeddedServer.start(tmp_path / "data", binary=binary)
    store = Store.at(server.url)
    for number in range(3):
        store.shops.create(f"s{number}", {}, who="t")
    store.close()
    server.stop()
    (log,) = (tmp_path / "data" / "appendonlydir").glob("*.incr.aof")
    log.write_bytes(log.read_bytes()[:-5])
    again = EmbeddedServer.start(tmp_path / "data", binary=binary)
    store = Store.at(again.url)
    assert [shop.id for shop in store.shops.list()] == ["s0", "s1"]
    assert (store.audit.head().seq, store.audit.verify()) == (2, None)
    store.close()
    again.stop()


def test_a_program_that_is_no_server_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreBroken, match="ended with code"):
        EmbeddedServer.start(tmp_path / "data", binary=Path("/bin/false"))
