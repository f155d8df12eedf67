"""What it costs to replay recorded orders for a proposal's effect, beside plain validates of the same orders.

Run ``python tests/bench/bench_replay.py`` from the repository's root (``--orders 2000`` for a shorter run). The demo's
day is taken again and again with other quantities, so that no order is like another, each judged under a book and the
same with a limit moved. Figures are CPU seconds of one process, so of one core; the ratios, taken in one run, are what
to compare. Then the same day recorded over and over, as shops do; what it costs with the store between, shard by shard,
beside the bare judging; and the peak of memory as the replay goes on.
"""

from __future__ import annotations

import argparse
import copy
import resource
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from bench_service import demo_orders

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.documents.writing import written
from accord_rules.governance.changes import EntryChange, check
from accord_rules.governance.comparison import Differences, RecordedOrder
from accord_rules.governance.effect import compared
from accord_rules.governance.proposal import Base
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_service.steps.effects import SHARD_MOST, EffectWorker
from accord_service.steps.proposals import Steps, get
from accord_service.steps.records import question_document
from accord_service.store import EmbeddedServer, Store, Transaction
from accord_service.worker.trials import trier

LIMIT = "order.first_piece_quantity_from"
ORDERS = 20_000
THROUGH_THE_STORE = 1_000
MILLION = 1_000_000
STEPS = 5  # at which memory is looked at


def changed(book: Book) -> Book:
    """The book with a limit that many orders stand on moved."""
    entry = {**book.documents["limits"][LIMIT], "value": 16}
    return check(book.documents, [EntryChange("limits", LIMIT, entry)], 2)


def day() -> list[tuple[dict[str, Any], Shop]]:
    return [(order, shop) for _, order, shop in demo_orders()]


def unlike(day: Sequence[tuple[dict[str, Any], Shop]]) -> Iterator[tuple[dict[str, Any], Shop]]:
    """The day over and over, each time in another quantity."""
    quantity = 0
    while True:
        quantity += 1
        for order, shop in day:
            one = copy.deepcopy(order)
            one["quantity"] = quantity
            yield one, shop


def recorded(orders: Iterator[tuple[dict[str, Any], Shop]]) -> Iterator[RecordedOrder]:
    shops: dict[str, Any] = {}
    for number, (order, shop) in enumerate(orders):
        if shop.id not in shops:
            shops[shop.id] = written(shop)
        bare = {name: value for name, value in order.items() if name != "reference"}
        yield RecordedOrder(f"rec_{number:08}", shop.id, shops[shop.id], bare)


def cpu_s(work: Callable[[], object]) -> float:
    begun_s = time.process_time()
    work()
    return time.process_time() - begun_s


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def line(name: str, spent_s: float, orders: int, floor_s: float | None = None) -> float:
    """Print a line; CPU seconds an order."""
    each_s = spent_s / orders
    ratio = "" if floor_s is None else f"   {each_s / floor_s:5.2f} x a validate"
    print(f"  {name:58} {1000 * each_s:7.2f} ms an order   {1 / each_s:7.0f} orders/s a core{ratio}")
    return each_s


def through_the_store(book: Book, orders: Sequence[tuple[dict[str, Any], Shop]]) -> tuple[float, int]:
    """CPU seconds of a worker from the first shard to the last, the trial of the book left out; and the orders."""
    with tempfile.TemporaryDirectory(prefix="accord-bench-") as data:
        server = EmbeddedServer.start(Path(data) / "store")
        store = Store.at(server.url, timeout_s=20.0)
        try:
            return _through(store, book, orders)
        finally:
            store.close()
            server.stop()


def _through(store: Store, book: Book, orders: Sequence[tuple[dict[str, Any], Shop]]) -> tuple[float, int]:
    store.revisions.first(book.documents, author="bench", reason="bench", tried_by=trier())
    for order, shop in orders:
        question = question_document(order, shop, {})
        store.records.create(store.records.draft(shop.id, question=question, answer={}, revision=1), who="bench")
    steps = Steps(store=store, held=book, who="bench", role="steward", now_s=time.time())
    change = EntryChange("limits", LIMIT, {**book.documents["limits"][LIMIT], "value": 16})
    drafted = steps.draft(Base(book.revision, book.digest), [change], "A bench.", "None.").commit
    assert drafted is not None
    id_ = drafted(lambda _: Transaction()).proposal.id
    opened = steps.open_(id_).commit
    assert opened is not None
    opened(lambda _: Transaction())
    worker = EffectWorker(store, "bench", edges_most=0)
    worker.turn()

    def work() -> None:
        while worker.turn():
            pass

    spent_s = cpu_s(work)
    worker.close()
    run = get(store, id_).run
    assert run is not None
    assert (run.state, run.orders) == ("done", len(orders)), run
    return spent_s, len(orders)


def main() -> None:
    parser = argparse.ArgumentParser(description="The cost of replays.", allow_abbrev=False)
    parser.add_argument("--orders", type=int, default=ORDERS, help="how many different orders are replayed")
    most = parser.parse_args().orders
    book, orders = load_book(), day()
    new = changed(book)
    print(f"{len(orders)} orders of the demo's day, {len({shop.id for _, shop in orders})} shops, CPU time")
    authority = Authority(book)
    validated = list(islice(unlike(orders), len(orders)))
    asked = [(read(Order, order), shop) for order, shop in validated]
    floor_s = line(
        "validate, each once",
        cpu_s(lambda: [authority.validate(order, shop).document() for order, shop in asked]),
        len(asked),
    )
    authority.close()
    comparison = compared(book, new)
    total, source = comparison.differences(), recorded(unlike(orders))

    def replay(count: int) -> None:
        for record in islice(source, count):
            comparison.add_recorded(record, total)

    line(
        "replay under two books, each once (nothing met before)",
        cpu_s(lambda: replay(len(orders))),
        len(orders),
        floor_s,
    )
    peaks, each_s = [], 0.0
    for _ in range(STEPS):
        spent_s = cpu_s(lambda: replay(most // STEPS))
        each_s = line("replay, the same goods in other quantities", spent_s, most // STEPS, floor_s)
        peaks.append(peak_mb())
    print(f"  peak of memory after each fifth of {most} orders, MB: {', '.join(f'{peak:.0f}' for peak in peaks)}")
    again = [record for _, record in zip(range(len(orders)), recorded(iter(orders)), strict=False)]
    for record in again:
        comparison.add_recorded(record, total)
    times = 10
    spent_s = cpu_s(lambda: [comparison.add_recorded(record, total) for _ in range(times) for record in again])
    line("replay, the very same orders recorded again", spent_s, times * len(again), floor_s)
    print(f"  flips counted: {sum(count.orders for count in total.counts)}, listed: {len(total.flips)}")
    size = len(str(total.document()))
    sum_s = cpu_s(lambda: [Differences.read(total.document()) for _ in range(20)]) / 20
    print(f"  the sum: {size / 1024:.0f} kB, {1000 * sum_s:.1f} ms to write and read, once a shard of {SHARD_MOST}")
    comparison.close()
    spent_s, count = through_the_store(book, list(islice(unlike(orders), THROUGH_THE_STORE)))
    through_s = line(f"replay with the store between, shards of {SHARD_MOST}", spent_s, count, floor_s)
    print(
        f"a million orders, no two alike: {MILLION * through_s / 3600:.1f} hours of one core"
        f" ({MILLION * each_s / 3600:.1f} of bare judging); with n cores an nth of it"
    )


if __name__ == "__main__":
    main()
