"""What the costliest questions that a caller may ask cost: CPU seconds, weighings, size of the answer, peak memory.

Run ``python tests/bench/bench_budgets.py`` from the repository's root (``--only "12 open"`` for some). Each question is
asked once, of an authority that has answered nothing like it, in a process of its own, so that the peak of memory is
its own. CPU seconds and not wall clock, so that a busy machine does not matter; a yardstick (summing the first 20,000
squares in plain Python) is given in CPU milliseconds, so that figures from different machines can be compared.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import time
from collections.abc import Mapping
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.documents.writing import plain
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

SPAWNED = multiprocessing.get_context("spawn")
SHOPS = {"4 presses": 4, "40 presses": 40}
ITEM = {"blank": "tee-heavy-white"}
SIZE = {"width": "60 mm", "height": "60 mm"}
# Too hot for any transfer, and every setting typed: every set of settings may be tried for a remedy.
HOT = {"temperature": "235 °C", "time": "90 s", "pressure": "firm", "peel": "hot", "cover": "none", "pad": "none"}


def shop(book: Book, presses: int) -> Shop:
    """A shop with the whole book in stock, and presses of all types in turn."""
    types = list(book.catalogue["press_types"])
    document = {
        **book.documents["base_example"]["shop"],
        "presses": [{"id": f"press-{i}", "type": types[i % len(types)]} for i in range(presses)],
        "stock": {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])},
    }
    return read(Shop, document)


def questions(book: Book) -> Mapping[str, tuple[str, dict[str, Any]]]:
    """A method of the authority and an order each."""
    product = book.documents["base_example"]["order"]["decorations"][0]["transfer"]
    plain_one = {"transfer": product, "placement": "front"}
    named = [{"transfer": product, "placement": ("front", "back", "sleeve")[index % 3]} for index in range(12)]
    unlike = [
        {
            "transfer": transfer,
            "placement": "front",
            "size": {"width": f"{60 + index} mm", "height": "60 mm"},
            "settings": HOT,
        }
        for index, transfer in enumerate(list(book.catalogue["transfers"])[:12])
    ]
    open_ones = [{"placement": "front"}] * 12
    decorations = {
        "validate, 1 plain": [plain_one | {"size": SIZE}],
        "recommend, 1 open": open_ones[:1],
        "recommend, 4 open": open_ones[:4],
        "recommend, 12 open": open_ones,
        "envelope, 4 named": named[:4],
        "envelope, 12 named": named,
        "envelope, 4 open": open_ones[:4],
        "envelope, 12 open": open_ones,
        "validate, 12 rejected": [plain_one | {"settings": HOT}] * 12,
        "validate, 12 rejected unlike": unlike,
    }
    return {
        name: (name.partition(",")[0], {"item": ITEM, "decorations": prints}) for name, prints in decorations.items()
    }


def yardstick_ms() -> float:
    begun = time.process_time()
    for _ in range(20):
        sum(n * n for n in range(20_000))
    return (time.process_time() - begun) * 50


def ask(name: str, presses: int, sent: Any) -> None:
    """Ask one, and send what it cost."""
    book = load_book()
    authority, own = Authority(book), shop(book, presses)
    method, document = questions(book)[name]
    before_mb, begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, time.process_time()
    weighed = authority.scales.weighings
    answer = getattr(authority, method)(read(Order, document), own)
    cpu_s = time.process_time() - begun
    written = json.dumps(plain(answer), ensure_ascii=False).encode()
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 - before_mb
    whole = answer.remedies_complete if method == "validate" else answer.complete
    weighings = authority.scales.weighings - weighed
    sent.send((cpu_s, weighings, len(json.dumps(document)), len(written), peak_mb, whole))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default="")
    only = parser.parse_args().only
    book = load_book()
    print(f"yardstick {yardstick_ms():.2f} ms CPU")
    print(f"{'question':42} {'CPU s':>7} {'weighings':>9} {'sent B':>7} {'answer KB':>9} {'peak MB':>8} complete")
    for words, presses in SHOPS.items():
        for name in questions(book):
            if only not in f"{name}, {words}":
                continue
            here, there = SPAWNED.Pipe()
            process = SPAWNED.Process(target=ask, args=(name, presses, there))
            process.start()
            there.close()
            try:
                cpu_s, weighings, size, answer, peak_mb, whole = here.recv()
            except EOFError:
                print(f"{name}, {words}: failed")
                continue
            process.join()
            figures = f"{cpu_s:7.2f} {weighings:9} {size:7} {answer / 1000:9.1f} {peak_mb:8.1f} {whole}"
            print(f"{name + ', ' + words:42} {figures}", flush=True)


if __name__ == "__main__":
    main()
