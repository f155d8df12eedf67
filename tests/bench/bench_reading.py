"""What reading an order and writing an answer cost: the one parser alone, and at the edge through marshmallow.

Run ``python tests/bench/bench_reading.py``; it takes seconds. CPU time for each of the demo's orders, the best of some
rounds taken in turns in one run. Figures change with the machine; the ratio is what to compare.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from bench_service import demo_orders

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_service.http import wire

ROUNDS, A_ROUND = 5, 20
WRITTEN = 20  # verdicts


def cpu_us(do: Callable[[], object]) -> float:
    """CPU microseconds of one call, over a round of them."""
    start = time.process_time()
    for _ in range(A_ROUND):
        do()
    return (time.process_time() - start) / A_ROUND * 1e6


def in_turns(*ways: Callable[[], object]) -> list[float]:
    """The best round of each way, the ways taken in turns."""
    rounds = [[cpu_us(do) for do in ways] for _ in range(ROUNDS)]
    return [min(times) for times in zip(*rounds, strict=True)]


def print_us(name: str, us: Sequence[float]) -> None:
    print(f"  {name:44} {min(us):7.0f} to {max(us):7.0f} us   median {statistics.median(us):7.0f} us   n={len(us)}")


def reading(orders: Sequence[dict[str, Any]]) -> None:
    figures = [in_turns(partial(read, Order, order), partial(wire.load, Order, order)) for order in orders]
    alone, edge = zip(*figures, strict=True)
    print_us("read an order, the parser alone", alone)
    print_us("read an order at the edge", edge)
    print(f"  at the edge {statistics.median(e / a for a, e in zip(alone, edge, strict=True)):.2f} x the parser alone")


def main() -> None:
    day = demo_orders()
    reading([order for _, order, _ in day])
    authority = Authority(load_book())
    try:
        verdicts = [authority.validate(read(Order, order), shop) for _, order, shop in day[:WRITTEN]]
    finally:
        authority.close()
    print_us("write a verdict's document", [in_turns(verdict.document)[0] for verdict in verdicts])


if __name__ == "__main__":
    main()
