"""What sealing costs a write and a read, and what a check of the whole store costs an entry and a document.

Run ``python tests/bench/bench_seals.py``; it takes a minute. Two stores that come along, one with the seals as
they are and one with seals that do nothing, written to in turns in one run. Figures change with the machine; the ratios
are what to compare.
"""

from __future__ import annotations

import statistics
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from accord_service.store import ChainHead, EmbeddedServer, Seals, Store
from accord_service.store.seals import new_key

WRITES, READS = 400, 400
SHOP = {"name": "a shop", "presses": [{"id": f"bench-{number}", "type": "swing-away"} for number in range(8)]}


class NoSeals(Seals):
    """As if there were no seals."""

    can_seal = True

    def sealed(self, head: ChainHead) -> ChainHead:
        return head

    def fault_of(self, head: ChainHead) -> str:
        return ""

    def document_seal(self, name: str, version: int | None, sha256: str) -> bytes:
        return b""

    def is_sealed(self, name: str, version: int, sha256: str, seal: bytes | None) -> bool:
        return True


@contextmanager
def opened(folder: Path, seals: Seals) -> Iterator[Store]:
    server = EmbeddedServer.start(folder)
    store = Store.at(server.url, timeout_s=5.0, seals=seals)
    try:
        yield store
    finally:
        store.close()
        server.stop()


def wall_and_cpu_us(do: Callable[[], object]) -> tuple[float, float]:
    wall_s, cpu_s = time.perf_counter(), time.thread_time()
    do()
    return (time.perf_counter() - wall_s) * 1e6, (time.thread_time() - cpu_s) * 1e6


def compared(title: str, sealed: Callable[[], object], bare: Callable[[], object], times: int) -> None:
    """Each done so often, in turns: medians, and how much more the sealed one took."""
    pairs = [(wall_and_cpu_us(sealed), wall_and_cpu_us(bare)) for _ in range(times)]
    for at, clock in enumerate(("wall", "CPU")):
        with_seals, without = (statistics.median(pair[which][at] for pair in pairs) for which in (0, 1))
        print(
            f"{title}, {clock:4} us: {with_seals:7.0f} sealed, {without:7.0f} without,"
            f" ratio {with_seals / without:.2f}, {with_seals - without:+.0f}"
        )


def replacing(store: Store) -> Callable[[], object]:
    store.shops.create("shop", SHOP, who="bench")
    version = iter(range(1, 1_000_000))
    return lambda: store.shops.replace("shop", next(version), SHOP, who="bench")


def checked(store: Store, count: int) -> None:
    """A check of a store with so many more documents: CPU time, and the most memory that Python had for it."""
    there = len(store.shops.list())
    for number in range(there, there + count):
        store.shops.create(f"s{number}", SHOP, who="bench")
    began_s = time.thread_time()
    account = store.check()
    took_us = (time.thread_time() - began_s) * 1e6
    assert account.is_whole
    tracemalloc.start()
    store.check()
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    entries, documents = account.head.seq, account.documents
    each_us = took_us / (entries + documents)
    print(
        f"a check of {entries} entries, {documents} documents: {took_us / 1e3:.0f} CPU ms, {each_us:.0f} us each,"
        f" {peak_bytes / 1e6:.2f} MB at most"
    )


def main() -> None:
    with (
        tempfile.TemporaryDirectory(prefix="accord-seals-") as folder,
        opened(Path(folder, "sealed"), Seals.from_pem(new_key())) as sealed,
        opened(Path(folder, "bare"), NoSeals()) as bare,
    ):
        compared("a write of two documents", replacing(sealed), replacing(bare), WRITES)
        compared("a read of one document", lambda: sealed.shops.get("shop"), lambda: bare.shops.get("shop"), READS)
        for count in (500, 4000):
            checked(sealed, count)


if __name__ == "__main__":
    main()
