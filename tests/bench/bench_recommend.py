"""What a recommend costs, heat included: 25 stocked transfers on 5 presses, three everyday pieces.

Run ``python tests/bench/bench_recommend.py`` from the repository's root. Printed per piece: the first answer of a fresh
authority (every stack is solved), then the median and the 99th percentile of the answers after it, in wall-clock and in
CPU milliseconds, and the median's ratio to summing the first 20 000 squares in plain Python in the same process.

The slowest answers are those in which Python's collector walks through the whole book. ``--frozen`` takes the book out
of its sight first (``gc.freeze``), as a worker can that keeps it for good.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
from typing import Any

from accord_rules.authority import Authority
from accord_rules.derive import heat
from accord_rules.heat import linear, sagging
from accord_rules.order import SettleRequest
from accord_rules.reading import read
from accord_rules.settings import Settings, load_book
from accord_rules.shop import Shop

ROUNDS = 120
TRANSFERS = 25
PRESSES = ("clamshell", "swing-away", "hand-held", "draw", "pneumatic-twin")
PIECES = {"tee-heavy-white": "front", "hardboard-coaster": "face", "polyester-sequin-cushion": "front"}
Times = list[tuple[float, float]]


def shop_of(book: Settings) -> Shop:
    """The example shop with five presses and as many products as the target speaks of."""
    document = book.documents["base_example"]["shop"]
    stock = {**document["stock"], "products": list(book.catalogue["products"])[:TRANSFERS]}
    return read(Shop, {**document, "stock": stock, "presses": [{"id": each, "type": each} for each in PRESSES]})


def request_for(blank: str) -> SettleRequest:
    size = {"width": "90 mm", "height": "90 mm"}
    return read(SettleRequest, {"item": {"blank": blank}, "decorations": [{"placement": PIECES[blank], "size": size}]})


def forget() -> None:
    """Drop every stack that was solved before."""
    linear._ready.cache_clear()
    sagging._ready.cache_clear()
    for kept in (heat._corners, heat._curve, heat._reach_s, heat._wait_s):
        kept.cache_clear()


def timed(work: Any) -> tuple[float, float]:
    """Wall-clock and CPU milliseconds."""
    wall, cpu = time.perf_counter_ns(), time.process_time_ns()
    work()
    return (time.perf_counter_ns() - wall) / 1e6, (time.process_time_ns() - cpu) / 1e6


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def yardstick() -> int:
    return sum(i * i for i in range(20_000))


def main() -> None:
    book = load_book()
    authority = Authority(book)
    shop = shop_of(book)
    if "--frozen" in sys.argv[1:]:
        gc.collect()
        gc.freeze()
    try:
        for blank in PIECES:
            request = request_for(blank)
            forget()
            first = timed(lambda request=request: authority.recommend(request, shop))
            times: Times = []
            yard: Times = []
            for _ in range(ROUNDS):
                times.append(timed(lambda request=request: authority.recommend(request, shop)))
                yard.append(timed(yardstick))
            wall, cpu = [each[0] for each in times], [each[1] for each in times]
            ratio = statistics.median(cpu) / statistics.median(each[1] for each in yard)
            print(
                f"{blank:28} first {first[0]:6.1f} ms   wall {statistics.median(wall):6.1f} p99 "
                f"{percentile(wall, 0.99):6.1f}   cpu {statistics.median(cpu):6.1f} p99 {percentile(cpu, 0.99):6.1f}"
                f"   {ratio:5.1f} yardsticks"
            )
    finally:
        authority.close()


if __name__ == "__main__":
    main()
