"""Faults on the real topology, one after the other, under load; what each cost, as a table.

    python -m tests.e2e.faults.table                  all of them
    python -m tests.e2e.faults.table --only primary   those with that in their name
    python -m tests.e2e.faults.table --list           their names

Nothing acknowledged may be lost, no verdict may be other than the one written down in demo/expected.toml or come from
a revision or house rules that were replaced before, the audit must be whole, and all must work again by itself.
Where a service is stopped in order, no request that was accepted may break off. Exits 1 if that does not hold, 2 if it
could not be run. Needs redis-server; for some rows root or faketime, and a row that could not be tried says so.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import machine
from tests.e2e.faults.load import Figures, Load
from tests.e2e.faults.town import ACCORD, NotStarted, RedisServer, Service, Town, audit_breaks, free_ports, town, until

RECOVERED_S = 180.0  # on a machine that has much else to do; the figure is printed
BEFORE_S, AFTER_S, HELD_S = 1.0, 2.0, 10.0
STARTS = 10
HOUR_S = 3600
TWO_ON_ONE_FOLDER = "two services on one folder"
DISK_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True)
class Happened:
    """``since``: when its cause ended, on the monotonic clock. ``note``: what else is worth a word."""

    since_s: float
    note: str = ""


@dataclass(frozen=True)
class Fault:
    """``breaks_off``: whether requests under way may be broken off, as they must where a process is killed."""

    name: str
    town: str
    happen: Callable[[Town, Load], Happened]
    breaks_off: bool = False


@dataclass(frozen=True)
class Row:
    fault: str
    figures: Figures | None
    lost: tuple[str, ...] = ()
    broken: str = ""
    recovered_s: float = 0.0
    note: str = ""
    wrong: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        return not (self.lost or self.broken or self.wrong)


# -- what happens ------------------------------------------------------------------------------------------------------


def kill_worker(up: Town, load: Load) -> Happened:
    began_s = time.monotonic()
    os.kill(random.choice(up.services[0].workers()), signal.SIGKILL)
    return Happened(began_s)


def kill_service(up: Town, load: Load) -> Happened:
    began_s = time.monotonic()
    up.services[0].end(signal.SIGKILL)
    up.services[0].start_again()
    return Happened(began_s)


def stop_service(up: Town, load: Load) -> Happened:
    began_s = time.monotonic()
    code = up.services[0].end(signal.SIGTERM)
    stopped_s = time.monotonic() - began_s
    if code:
        raise NotStarted(f"a service that was told to stop ended with {code}")
    up.services[0].start_again()
    return Happened(began_s, f"stopped in {stopped_s:.1f} s")


def restart_storm(up: Town, load: Load) -> Happened:
    """Stopped again and again, also while it is still starting; the other serves."""
    for number in range(STARTS):
        up.services[1].end(signal.SIGTERM)
        up.services[1].start_again()
        time.sleep(random.uniform(0, 3) if number + 1 < STARTS else 0)
    return Happened(time.monotonic(), f"{STARTS} times")


def recycle_workers(up: Town, load: Load) -> Happened:
    """Each worker is replaced after some dozens of requests, as it is after many thousands in earnest."""
    usual = [service.env for service in up.services]
    for service in up.services:
        service.env = {**service.env, "ACCORD_WORKER_REQUESTS": "60"}
        _restart(service)
    load.fresh()
    before = [len(service.log_text("Autorestarting worker")) for service in up.services]
    until(lambda: _recycled(up, before) >= 4, RECOVERED_S, "a worker that is replaced")
    load.hold()
    note = f"{_recycled(up, before)} workers replaced"
    for service, env in zip(up.services, usual, strict=True):
        service.env = env
        _restart(service)
    return Happened(time.monotonic(), note)


def _recycled(up: Town, before: Sequence[int]) -> int:
    counts = [len(service.log_text("Autorestarting worker")) for service in up.services]
    return sum(counts) - sum(before)


def _restart(service: Service) -> None:
    service.end(signal.SIGTERM)
    service.start_again()
    until(service.is_ready, RECOVERED_S, service.name)


def kill_store(up: Town, load: Load) -> Happened:
    began_s = time.monotonic()
    up.primary().end()
    up.stores[0].start()
    return Happened(began_s)


def kill_replica(up: Town, load: Load) -> Happened:
    replica = up.other(up.primary())
    replica.end()
    time.sleep(BEFORE_S)
    up.start(replica)
    return Happened(time.monotonic())


def kill_primary(up: Town, load: Load) -> Happened:
    """It is started again at once, as a supervisor does, before the Sentinels miss it."""
    began_s = time.monotonic()
    primary = up.primary()
    primary.end()
    up.start(primary)
    return Happened(began_s)


def lose_primary(up: Town, load: Load) -> Happened:
    """It stays away until the other has been promoted, and comes back as its replica."""
    began_s = time.monotonic()
    lost = up.primary()
    lost.end()
    promoted_s = until(lambda: _is_promoted(up, lost), RECOVERED_S, "a new primary")
    time.sleep(AFTER_S)
    up.start(lost)
    return Happened(began_s, f"promoted after {promoted_s:.1f} s")


def _is_promoted(up: Town, lost: RedisServer) -> bool:
    primary = up.primary()
    return primary is not lost and primary.is_primary()


def kill_stores(up: Town, load: Load) -> Happened:
    """A power cut, as far as processes can have one."""
    began_s = time.monotonic()
    for store in up.stores:
        store.end()
    for store in up.stores:
        up.start(store)
    return Happened(began_s)


def freeze_primary(up: Town, load: Load) -> Happened:
    frozen = up.primary()
    frozen.freeze()
    time.sleep(HELD_S)
    promoted = up.primary() is not frozen
    frozen.thaw()
    return Happened(time.monotonic(), f"{HELD_S:.0f} s{', the other was promoted' if promoted else ''}")


def slow_store(milliseconds: int) -> Callable[[Town, Load], Happened]:
    def happen(up: Town, load: Load) -> Happened:
        up.delay(milliseconds)
        time.sleep(HELD_S)
        up.delay(0)
        return Happened(time.monotonic(), f"{HELD_S:.0f} s")

    return happen


def fill_disk(up: Town, load: Load) -> Happened:
    """The store ends itself rather than to acknowledge what it can't write; it is started again and again."""
    store = up.stores[0]
    ballast = store.data / "ballast"
    _fill(ballast)
    until_s, ends = time.monotonic() + HELD_S, 0
    while time.monotonic() < until_s:
        if not store.runs():
            ends += 1
            store.start()
        time.sleep(0.5)
    ballast.unlink()
    if not store.runs():
        store.start()
    return Happened(time.monotonic(), f"{HELD_S:.0f} s, the store ended itself {ends} times")


def _fill(file: Path) -> None:
    with file.open("wb", buffering=0) as out, contextlib.suppress(OSError):
        for size in (1 << 20, 1 << 12, 1):
            with contextlib.suppress(OSError):
                while True:
                    out.write(b"\0" * size)


def tear_file(up: Town, load: Load) -> Happened:
    """A crash in the middle of writing a command: what is there of it was never acknowledged."""
    store = up.stores[0]
    store.end()
    with _written_last(store).open("ab") as file:
        file.write(b"*3\r\n$3\r\nSET\r\n$10\r\n{accord}:")
    began_s = time.monotonic()
    store.start()
    return Happened(began_s)


def damage_file(up: Town, load: Load) -> Happened:
    """Bytes are missing in the middle: it must not start on that, and say so."""
    store = up.stores[0]
    with load.writing_paused():
        store.end()
        file = _written_last(store)
        whole = file.read_bytes()
        middle = len(whole) // 2
        file.write_bytes(whole[:middle] + whole[middle + 100 :])
        store.start()
        until(lambda: not store.runs(), RECOVERED_S, "the end of a store on a damaged file")
        if "Bad file format reading the append only file" not in store.log_end():
            raise NotStarted(f"a damaged file is not called that: {store.log_end()}")
        time.sleep(AFTER_S)
        file.write_bytes(whole)
        store.start()
    return Happened(time.monotonic(), "refused to start until the file was put back")


def _written_last(store: RedisServer) -> Path:
    """The file that the store appends to."""
    return max((store.data / "appendonlydir").glob("*.incr.aof"), key=lambda file: file.stat().st_mtime)


def set_clock(*offsets_s: int) -> Callable[[Town, Load], Happened]:
    def happen(up: Town, load: Load) -> Happened:
        for offset_s in offsets_s:
            up.set_clock(offset_s)
            load.hold()
        return Happened(time.monotonic(), "services and store alike")

    return happen


FAULTS = (
    Fault("a worker killed", "replicated", kill_worker, breaks_off=True),
    Fault("a service killed", "replicated", kill_service, breaks_off=True),
    Fault("a service stopped in order (SIGTERM)", "replicated", stop_service),
    Fault("a service restarted again and again", "replicated", restart_storm),
    Fault("workers recycled", "replicated", recycle_workers),
    Fault("replica killed", "replicated", kill_replica),
    Fault("primary killed, back at once", "replicated", kill_primary),
    Fault("primary lost, replica promoted", "replicated", lose_primary),
    Fault("primary frozen", "replicated", freeze_primary),
    Fault("primary and replica killed", "replicated", kill_stores),
    Fault("single store killed", "single", kill_store),
    Fault("single store frozen", "single", freeze_primary),
    Fault("single store slow, 100 ms an answer", "single", slow_store(100)),
    Fault("single store slow, 300 ms an answer", "single", slow_store(300)),
    Fault("disk full", "single", fill_disk),
    Fault("append-only file cut in its last command", "single", tear_file),
    Fault("append-only file damaged in the middle", "single", damage_file),
    Fault("clock set an hour forward", "clock", set_clock(HOUR_S)),
    Fault("clock set an hour back", "clock", set_clock(-HOUR_S)),
    Fault("clock set to and fro by a day", "clock", set_clock(24 * HOUR_S, -24 * HOUR_S, 0)),
)


# -- one after the other -----------------------------------------------------------------------------------------------


def try_fault(fault: Fault, up: Town, load: Load) -> Row:
    """Under load that runs on; what it cost, and what does not hold."""
    load.fresh()
    time.sleep(BEFORE_S)
    happened = fault.happen(up, load)
    try:
        until(lambda: up.is_whole() and load.works(), RECOVERED_S, "a town that works")
    except NotStarted as error:
        return Row(fault.name, load.figures, broken=str(error), note=happened.note)
    recovered_s = time.monotonic() - happened.since_s
    time.sleep(AFTER_S)
    with load.writing_paused():
        load.fail_on_errors()
        figures, lost, broken = load.figures, load.lost(), audit_breaks(up)
        wrong = [*figures.wrong, *load.from_lost_revisions()]
    if figures.failed and not fault.breaks_off:
        wrong.append(f"{len(figures.failed)} requests broke off: {figures.failed[0]}")
    return Row(fault.name, figures, tuple(lost), broken, recovered_s, happened.note, tuple(wrong))


@contextlib.contextmanager
def _small_disk(folder: Path) -> Iterator[None]:
    """The store's folder on a disk of its own, where root can make one."""
    if os.geteuid() != 0:
        yield
        return
    data = folder / "store-a"
    data.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(data)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(data)], check=True)


def _not_tried(fault: Fault) -> str:
    """Why it can't be tried on this machine; empty where it can."""
    if fault.happen is fill_disk and os.geteuid() != 0:
        return "not tried: only root can make a small disk"
    if fault.town == "clock" and machine.missing(["faketime"]):
        return f"not tried: needs {machine.with_package('faketime')}"
    return ""


def try_all(faults: Sequence[Fault], tell: Callable[[Row], None], *, is_brief: bool = False) -> None:
    """Each kind of town is started once, for all faults that it is tried with. ``is_brief``: one worker a service, a
    replica promoted sooner, and no revision published, which takes longest."""
    for kind in dict.fromkeys(fault.town for fault in faults):
        wanted = [fault for fault in faults if fault.town == kind]
        for fault in wanted:
            if why := _not_tried(fault):
                tell(Row(fault.name, None, note=why))
        tried = [fault for fault in wanted if not _not_tried(fault)]
        if tried:
            with tempfile.TemporaryDirectory(prefix="accord-faults-") as name, contextlib.ExitStack() as stack:
                folder = Path(name)
                if kind == "single":
                    stack.enter_context(_small_disk(folder))
                is_replicated = kind == "replicated"
                up = stack.enter_context(
                    town(
                        folder,
                        replicated=is_replicated,
                        workers=1 if is_brief else 2,
                        down_after_ms=1000 if is_brief else 3000,
                        faked_clock=kind == "clock",
                    )
                )
                _try_in(up, tried, tell, is_brief=is_brief)


def _try_in(up: Town, faults: Sequence[Fault], tell: Callable[[Row], None], *, is_brief: bool) -> None:
    load = Load(up, askers=2 if is_brief else 3)
    load.start()
    try:
        if not is_brief:
            load.publish()
        for fault in faults:
            tell(try_fault(fault, up, load))
    finally:
        load.stop()


# -- two services on one folder ----------------------------------------------------------------------------------------


def second_on_one_folder(folder: Path) -> Row:
    """A second service on the folder of the store that comes along is refused; the first serves on."""
    ports = free_ports(2)
    env = {"PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "ACCORD_STORE_URL": "", "ACCORD_DATA": str(folder)}
    words = [*ACCORD, "serve", "--workers", "1", "--port"]
    first = Service("first", [*words, str(ports[0])], folder, env, port=ports[0])
    first.start()
    try:
        until(first.is_ready, what="the first service")
        second = subprocess.run(
            [*words, str(ports[1])], env={**os.environ, **env}, capture_output=True, text=True, timeout=90, check=False
        )
        said = [line for line in second.stderr.splitlines() if line.startswith("Error: ")]
        serves_on = first.is_ready()
    finally:
        first.end(signal.SIGTERM)
    wrong = []
    if second.returncode == 0 or len(said) != 1 or "is owned by process" not in said[0] or "Traceback" in second.stderr:
        wrong.append(f"the second ended with {second.returncode} and said {second.stderr[-500:]}")
    if not serves_on:
        wrong.append("the first does not serve on")
    return Row(TWO_ON_ONE_FOLDER, None, wrong=tuple(wrong), note="the second is refused in one sentence")


# -- the table ---------------------------------------------------------------------------------------------------------

HEAD = (
    "| fault | questions | held | 503 | broken off | writes | lost | wrong | longest answer | works again after | |\n"
    "|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|---|"
)


def line(row: Row) -> str:
    """A row of the table in Markdown."""
    if row.figures is None:
        return f"| {row.fault} | | | | | | {len(row.lost)} | {len(row.wrong)} | | | {row.note} |"
    figures = row.figures
    cells = (
        row.fault,
        sum(figures.replies.values()),
        figures.bases["held"],
        figures.replies["unavailable"],
        figures.replies["failed"],
        figures.writes["acknowledged"],
        len(row.lost),
        len(row.wrong),
        f"{figures.longest_s:.1f} s",
        f"{row.recovered_s:.1f} s",
        row.note + (f" NOT WHOLE: {row.broken}" if row.broken else ""),
    )
    return f"| {' | '.join(map(str, cells))} |"


def main() -> int:
    parser = argparse.ArgumentParser(description="Faults on the real topology.", allow_abbrev=False)
    parser.add_argument("--only", default="", help="faults with this in their name")
    parser.add_argument("--list", action="store_true", help="print their names")
    options = parser.parse_args()
    faults = [fault for fault in FAULTS if options.only in fault.name]
    if options.list:
        print(*(fault.name for fault in FAULTS), sep="\n")
        return 0
    if missing := machine.missing(["redis-server"]):
        print(f"It needs {machine.with_package(missing[0])}.", file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(2))  # so that everything it started is ended
    rows: list[Row] = []

    def tell(row: Row) -> None:
        rows.append(row)
        print(line(row), flush=True)
        broken_off = row.figures.failed if row.figures else []
        for what in (*row.lost[:5], *row.wrong[:5], *(f"broke off: {why}" for why in broken_off[:5])):
            print(f"  {what}", file=sys.stderr, flush=True)

    print(HEAD, flush=True)
    try:
        try_all(faults, tell)
        if options.only in TWO_ON_ONE_FOLDER:
            with tempfile.TemporaryDirectory(prefix="accord-faults-") as folder:
                tell(second_on_one_folder(Path(folder)))
    except (NotStarted, OSError, subprocess.SubprocessError) as error:
        print(f"it could not be run: {error}", file=sys.stderr)
        return 2
    return 0 if all(row.holds for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
