"""A phone on a slow line: how long a page takes from the tap on its address until it can be used.

    python -m tests.browser.phone

starts the demo's service and prints, for each profile, when the counter is usable at the first visit (nothing kept) and
at the next one, over five visits each, with what it loads.

The line is that of Lighthouse's mobile preset, "Slow 4G": 150 ms round trip, 1.6 Mbit/s down, 750 kbit/s up, a core
four times slower (https://github.com/GoogleChrome/lighthouse/blob/main/docs/throttling.md). That document calls latency
added to whole requests no sufficient model of a slow line, so packets are held back here: by a relay that answers a
connection after a round trip, hands on no faster than the line, and sends no more unacknowledged than a new connection
may (ten segments, doubled each round trip: RFC 6928, RFC 5681). There is no TLS in it, which takes one more (RFC 8446).
"""

from __future__ import annotations

import asyncio
import contextlib
import statistics
import tempfile
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.browser.conftest import serving
from tests.browser.webdriver import Browser, browser

SEGMENT = 1460  # bytes of TCP in a packet of Ethernet
FIRST_SEGMENTS = 10  # RFC 6928
VISITS = 5


@dataclass(frozen=True, slots=True)
class Line:
    """A line: its round trip, bytes a second each way, and how many times slower the processor is behind it."""

    name: str
    round_trip_s: float
    down: float
    up: float
    processor: int


LIGHTHOUSE = Line("Lighthouse mobile", 0.150, 1.6 * 1024 * 1000 / 8, 750 * 1000 / 8, 4)
# Worse than any published preset's round trip. Our own choice, no source.
FAR = Line("400 ms round trip", 0.400, 1.6 * 1024 * 1000 / 8, 750 * 1000 / 8, 4)


class _Pipe:
    """One way of a line, shared by all connections: bytes leave one after the other."""

    def __init__(self, rate: float, delay_s: float) -> None:
        self._rate, self._delay_s, self._free_at = rate, delay_s, 0.0

    def arrival(self, count: int) -> float:
        """When so many bytes that are sent now have arrived."""
        now = asyncio.get_running_loop().time()
        self._free_at = max(self._free_at, now) + count / self._rate
        return self._free_at + self._delay_s


async def _segments(reader: asyncio.StreamReader, round_trip_s: float) -> AsyncIterator[bytes]:
    """What comes, as a sender lets it out that waits for acknowledgements: ten segments, then twice as many."""
    loop = asyncio.get_running_loop()
    window, sent, began = FIRST_SEGMENTS * SEGMENT, 0, loop.time()
    while content := await reader.read(SEGMENT):
        if loop.time() - began > round_trip_s:
            sent, began = 0, loop.time()
        if sent >= window:
            await asyncio.sleep(max(0.0, began + round_trip_s - loop.time()))
            window, sent, began = 2 * window, 0, loop.time()
        sent += len(content)
        yield content


async def _carry(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, pipe: _Pipe, round_trip_s: float) -> None:
    loop = asyncio.get_running_loop()
    under_way: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()

    async def deliver() -> None:
        while True:
            at, content = await under_way.get()
            await asyncio.sleep(max(0.0, at - loop.time()))
            if not content:
                break
            writer.write(content)
        writer.close()

    async with asyncio.TaskGroup() as both_ends:
        both_ends.create_task(deliver())
        with contextlib.suppress(ConnectionError):
            async for content in _segments(reader, round_trip_s):
                under_way.put_nowait((pipe.arrival(len(content)), content))
        under_way.put_nowait((loop.time(), b""))


@contextmanager
def through(line: Line, url: str) -> Iterator[str]:
    """The address under which a service is reached over a line."""
    target, started = urlsplit(url), threading.Event()
    running: list[tuple[asyncio.AbstractEventLoop, asyncio.Event, int]] = []

    async def relay() -> None:
        down, up = _Pipe(line.down, line.round_trip_s / 2), _Pipe(line.up, line.round_trip_s / 2)

        connections: set[asyncio.Task[None]] = set()

        async def carry(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None
            connections.add(task)
            far_writer: asyncio.StreamWriter | None = None
            try:
                await asyncio.sleep(line.round_trip_s)  # the handshake of TCP
                far_reader, far_writer = await asyncio.open_connection(target.hostname, target.port)
                async with asyncio.TaskGroup() as both_ways:
                    both_ways.create_task(_carry(reader, far_writer, up, line.round_trip_s))
                    both_ways.create_task(_carry(far_reader, writer, down, line.round_trip_s))
            except asyncio.CancelledError:
                pass  # the visit is over
            finally:
                for end in filter(None, (writer, far_writer)):
                    end.close()
                connections.discard(task)

        server = await asyncio.start_server(carry, "127.0.0.1", 0)
        over = asyncio.Event()
        running.append((asyncio.get_running_loop(), over, server.sockets[0].getsockname()[1]))
        started.set()
        await over.wait()
        server.close()
        for connection in tuple(connections):
            connection.cancel()
        while connections:
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.01)  # until what was closed is gone

    thread = threading.Thread(target=lambda: asyncio.run(relay()))
    thread.start()
    started.wait()
    ((loop, over, port),) = running
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        loop.call_soon_threadsafe(over.set)
        thread.join()


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit of a page: when it was painted and when its script had run, s; how much was loaded."""

    painted_s: float
    usable_s: float
    requests: int
    bytes_: int


# Deferred scripts have run when the document's content is loaded; what is painted later is not yet usable.
_TIMES = """
const [page] = performance.getEntriesByType('navigation');
const parts = performance.getEntriesByType('resource').filter(
  part => !part.name.includes('icon.svg') && part.initiatorType !== 'fetch');  // what the script fetches comes later
const [paint] = performance.getEntriesByName('first-contentful-paint');
return paint && page.loadEventEnd && [paint.startTime, Math.max(paint.startTime, page.domContentLoadedEventEnd),
  1 + parts.length, [page, ...parts].reduce((sum, part) => sum + part.transferSize, 0)]
"""


def visited(page: Browser, address: str) -> Visit:
    """Open an address, and what that took."""
    page.open(address)
    times: Any = page.wait_for(f"(() => {{{_TIMES}}})()")
    return Visit(times[0] / 1000, times[1] / 1000, int(times[2]), int(times[3]))


@contextmanager
def phone(profile: Path, line: Line) -> Iterator[Browser]:
    """A browser as narrow and as slow as the phone behind the line."""
    with browser(profile) as page:
        page.resize(412, 823)  # Lighthouse's emulated screen, core/config/constants.js
        page.cdp("Emulation.setCPUThrottlingRate", rate=line.processor)
        yield page


def first_and_next(page: Browser, url: str, line: Line, path: str) -> tuple[Visit, Visit]:
    """A visit with nothing kept, not even a connection, and one more. A cookie is of a host, whatever its port."""
    with through(line, url) as address:
        page.open("about:blank")
        first = visited(page, address + path)
        return first, visited(page, address + path)


def main() -> None:
    with serving(job_processes=0) as served:
        for line in (LIGHTHOUSE, FAR):
            with tempfile.TemporaryDirectory() as profile, phone(Path(profile), line) as page:
                page.open(f"{served.url}/sign-in")
                page.type("#key", served.key)
                page.click("main button")
                visits = [first_and_next(page, served.url, line, "/counter") for _ in range(VISITS)]
            for name, of in zip(("first visit", "next visit"), zip(*visits, strict=True), strict=True):
                painted, usable = [visit.painted_s for visit in of], [visit.usable_s for visit in of]
                print(
                    f"{line.name:20} {name:12} painted {statistics.median(painted):.2f} s,"
                    f" usable {statistics.median(usable):.2f} s (worst {max(usable):.2f} s),"
                    f" {of[0].requests} requests, {of[0].bytes_ / 1000:.1f} kB"
                )


if __name__ == "__main__":
    main()
