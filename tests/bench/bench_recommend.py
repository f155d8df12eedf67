"""What a recommend costs, heat included: 25 stocked transfers on 5 presses.

Run ``python tests/bench/bench_recommend.py`` from the repository's root. The collector is set as in the service's
workers. Three tables, in wall-clock milliseconds; a yardstick is summing the first 20 000 squares in plain Python,
timed in turns in the same process, so that figures from different machines can be compared:

- *everyday pieces*, the same request again and again: its first answer (every stack is solved), then the others;
- *any order*: random pieces of all blanks of the book in random sizes and quantities, none like another. The first time
  that a blank is asked for its stacks are solved, so that these are shown apart too;
- *what it is made of*: the median of one heavy order with nothing kept, with its heat known, and asked again.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any

from accord_rules.authority import Authority
from accord_rules.derive import heat
from accord_rules.documents.reading import read
from accord_rules.heat import linear, sagging
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Blank
from accord_service.worker.collector import spare_the_book

ROUNDS = 120
ORDERS = 600
TRANSFERS = 25
PRESSES = ("clamshell", "swing-away", "hand-held", "draw", "pneumatic-twin")
EVERYDAY = ("tee-heavy-white", "hardboard-coaster", "polyester-sequin-cushion")
# Soft goods bear all of the 25 transfers, so that none is out before any press is looked at; this one is thick too.
HEAVY = "hoodie-zip-navy"


def shop_document(book: Book) -> dict[str, Any]:
    """The example shop with five presses and as many products as the target speaks of."""
    document = book.documents["base_example"]["shop"]
    stock = {**document["stock"], "products": list(book.catalogue["products"])[:TRANSFERS]}
    return {**document, "stock": stock, "presses": [{"id": press_type, "type": press_type} for press_type in PRESSES]}


def request_for(book: Book, blank: str, width_mm: int = 90, height_mm: int = 90, quantity: int = 1) -> dict[str, Any]:
    entry: Blank = book.catalogue["blanks"][blank]
    soft = book.catalogue["substrates"][entry.substrate].family == "cloth"
    size = {"width": f"{width_mm} mm", "height": f"{height_mm} mm"}
    decoration = {"placement": "front" if soft else "face", "size": size}
    return {"item": {"blank": blank}, "quantity": quantity, "decorations": [decoration]}


def any_order(book: Book, seed: int = 7) -> Iterator[dict[str, Any]]:
    """Requests for random pieces of all blanks, ``ORDERS`` of them, the same ones in every run."""
    rng = random.Random(seed)
    blanks = list(book.catalogue["blanks"])
    for _ in range(ORDERS):
        blank = rng.choice(blanks)
        width_mm, height_mm = rng.randrange(20, 200, 5), rng.randrange(20, 200, 5)
        yield request_for(book, blank, width_mm, height_mm, rng.randrange(1, 60))


def forget_heat() -> None:
    """Drop every stack that was solved before."""
    for cache in (linear._ready, sagging._cut, sagging._ready, heat._corners, heat._curve, heat._wait_s):
        cache.cache_clear()


def forget_answers(authority: Authority) -> None:
    """Drop what the rules answered before."""
    authority.scales._answered.clear()
    for inference in authority.scales._own():
        inference._engine._answers.clear()


def timed_ms(work: Callable[[], object]) -> float:
    begun = time.perf_counter_ns()
    work()
    return (time.perf_counter_ns() - begun) / 1e6


def yardstick() -> int:
    return sum(i * i for i in range(20_000))


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def line(name: str, times: list[float], yard_ms: float) -> str:
    p50, p90, p99 = (percentile(times, share) for share in (0.5, 0.9, 0.99))
    return (
        f"{name:44} {len(times):4}   median {p50:6.1f}   p90 {p90:6.1f}   p99 {p99:6.1f}   most {max(times):6.1f}"
        f"   p99 is {p99 / yard_ms:5.1f} yardsticks"
    )


def everyday(book: Book, authority: Authority, shop: Shop) -> None:
    for blank in EVERYDAY:
        request = read(Order, request_for(book, blank))
        forget_heat()
        first = timed_ms(lambda request=request: authority.recommend(request, shop))
        times, yards = [], []
        for _ in range(ROUNDS):
            times.append(timed_ms(lambda request=request: authority.recommend(request, shop)))
            yards.append(timed_ms(yardstick))
        print(line(f"{blank}, first {first:.1f}", times, statistics.median(yards)))


def whatever_comes(book: Book, authority: Authority, shop: Shop) -> None:
    forget_heat()
    forget_answers(authority)
    first: list[float] = []
    later: list[float] = []
    yards: list[float] = []
    seen: set[str] = set()
    for document in any_order(book):
        blank, request = document["item"]["blank"], read(Order, document)
        (later if blank in seen else first).append(timed_ms(lambda r=request: authority.recommend(r, shop)))
        seen.add(blank)
        yards.append(timed_ms(yardstick))
    yard_ms = statistics.median(yards)
    print(line("any order", first + later, yard_ms))
    print(line("  of a blank that was asked for before", later, yard_ms))
    print(line("  of one that was not", first, yard_ms))


def made_of(book: Book, authority: Authority, shop: Shop) -> None:
    request = read(Order, request_for(book, HEAVY, 125, 195, 10))
    ways: dict[str, tuple[Callable[[], object], ...]] = {
        "nothing kept": (forget_heat, lambda: forget_answers(authority)),
        "heat known": (lambda: forget_answers(authority),),
        "asked again": (),
    }
    for name, before in ways.items():
        times, yards = [], []
        for _ in range(ROUNDS // 4):
            for prepare in before:
                prepare()
            times.append(timed_ms(lambda: authority.recommend(request, shop)))
            yards.append(timed_ms(yardstick))
        print(line(f"{HEAVY}, {name}", times, statistics.median(yards)))
    forget_heat()
    authority.recommend(request, shop)
    print(f"{heat._corners.cache_info().misses} corners of heat solved for it when nothing is kept")


def main() -> None:
    book = load_book()
    authority = Authority(book)
    shop = read(Shop, shop_document(book))
    spare_the_book()
    try:
        for table in (everyday, whatever_comes, made_of):
            print(f"\n{table.__name__.replace('_', ' ')}")
            table(book, authority, shop)
    finally:
        authority.close()


if __name__ == "__main__":
    main()
