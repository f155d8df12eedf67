"""Search for the order that costs most: ``python tests/bench/search_costliest.py --seconds 600``.

Hypothesis makes orders within every limit that an order has, and goes on from those that took most weighings
(``hypothesis.target``), for each question (validate, recommend, envelope) and each of two shops: the demo's with most
presses, and one with as many presses as a shop may have and the whole book in stock. Prints the dearest order that was
found for each, what it cost, and exits 1 if one took more weighings than ``BUDGETS`` or more CPU seconds than
``CPU_MOST_S``. Weighings are the same on any machine; CPU seconds are of this one and its own thread, so that a busy
machine makes little difference.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
import time
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import hypothesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from accord_rules.authority import Authority
from accord_rules.documents.reading import DocumentError, read
from accord_rules.load.loader import load_book
from accord_rules.orders import order as words
from accord_rules.orders import sheet as sheets
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.weigh.scales import CPU_MOST_S, WEIGHINGS_MOST

DEMO = Path(__file__).parents[2] / "demo"
PRESSES_MOST, PRINTS_MOST = 40, 12
# A question may weigh WEIGHINGS_MOST times to find out what else would work; what it takes to judge the order itself,
# and to put back what is offered, comes on top: half of that again.
BUDGETS: Mapping[str, int] = dict.fromkeys(("validate", "recommend", "envelope"), WEIGHINGS_MOST * 3 // 2)
# What a question may take that weighings do not count, beside the CPU seconds that end a search.
CPU_BUDGET_S = 1.5 * CPU_MOST_S
PLACEMENTS = ("front", "back", "left-sleeve", "left-chest", "face", "neck-label")
TEMPERATURES_C, TIMES_S = (90, 120, 150, 165, 180, 200, 210, 235), (2, 5, 12, 20, 40, 60, 90, 400)


@dataclass
class Dearest:
    """The dearest order found so far."""

    weighings: int = 0
    cpu_s: float = 0.0
    longest_cpu_s: float = 0.0
    asked: int = 0
    order: Any = None


def shops(book: Book) -> dict[str, Shop]:
    """The demo's shop with most presses, and the largest shop that there may be."""
    demo = [tomllib.loads(file.read_text(encoding="utf-8")) for file in sorted((DEMO / "shops").glob("*.toml"))]
    busiest = max(demo, key=lambda shop: (len(shop["presses"]), shop["id"]))
    types = list(book.catalogue["press_types"])
    presses = [{"id": f"press-{index}", "type": types[index % len(types)]} for index in range(PRESSES_MOST)]
    stock = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    largest = {**book.documents["base_example"]["shop"], "presses": presses, "stock": stock}
    return {busiest["id"]: read(Shop, busiest), "the largest": read(Shop, largest)}


def some(fields: Mapping[str, st.SearchStrategy[Any]], **always: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.fixed_dictionaries(dict(always), optional=dict(fields))


def orders(book: Book) -> st.SearchStrategy[dict[str, Any]]:
    """Orders that may say anything or leave it out. What does not fit together is refused, and costs little."""
    choose = st.sampled_from
    names = {kind: choose(sorted(book.catalogue[kind])) for kind in ("blanks", "substrates", "coatings", "finishes",
             "transfers", "products", "consumables")}  # fmt: skip
    celsius, seconds = (choose([f"{n} {unit}" for n in ns]) for ns, unit in ((TEMPERATURES_C, "°C"), (TIMES_S, "s")))
    colours = choose(["#FFFFFF", "#F4F4F0", "navy", "black", "red", "#808080", "#FFFF00"])
    size = st.fixed_dictionaries(
        {side: st.integers(1, 80).map(lambda n: f"{n * 5} mm") for side in ("width", "height")}
    )
    set_to = some({"temperature": celsius, "time": seconds, "pressure": choose(sheets.PRESSURES),
                   "peel": choose(sheets.PEELS), "cover": names["consumables"], "pad": names["consumables"],
                   "pre_press": seconds, "second_press": seconds})  # fmt: skip
    artwork = some({"colours": st.integers(1, 8), "white": st.booleans(), "gradient": st.booleans(),
                    "small_pieces": st.booleans(), "mirrored": st.booleans(),
                    "finest_line": choose(["0.2 mm", "1 mm", "3 mm"]),
                    "palette": st.lists(colours, min_size=1, max_size=3, unique=True)})  # fmt: skip
    sheet = some({"temperature": celsius, "time": seconds, "pressure": choose(sheets.PRESSURES)},
                 peel=st.lists(choose(sheets.PEELS[:3]), min_size=1, max_size=2, unique=True))  # fmt: skip
    decoration = some({"transfer": st.one_of(names["transfers"], names["products"]), "size": size, "settings": set_to,
                       "artwork": artwork, "sheet": sheet}, placement=choose(PLACEMENTS))  # fmt: skip
    alike = st.tuples(decoration, st.integers(1, PRINTS_MOST)).map(lambda pair: [pair[0]] * pair[1])
    item = some({"blank": names["blanks"], "substrate": names["substrates"], "coating": names["coatings"],
                 "colour": colours, "fibres": choose([{"CO": 100}, {"PES": 100}, {"CO": 50, "PES": 50}, {"PA": 100}]),
                 "finishes": st.lists(names["finishes"], max_size=2, unique=True),
                 "features": st.lists(choose(words.FEATURES), max_size=3, unique=True)})  # fmt: skip
    use = some({"age_from": st.integers(0, 20), "age_to": st.integers(20, 90)})
    return some(
        {"use": use, "quantity": st.integers(1, 500), "due_in": choose(["10 min", "2 h", "8 h"])},
        item=item,
        decorations=st.one_of(alike, st.lists(decoration, min_size=1, max_size=PRINTS_MOST)),
    )


def search(authority: Authority, method: str, shop: Shop, seconds: float, seed: int) -> Dearest:
    """The dearest order for one question of one shop, of those that are found in the time."""
    dearest, until_s = Dearest(), time.monotonic() + seconds

    @hypothesis.seed(seed)
    @settings(max_examples=100_000, deadline=None, database=None, phases=[Phase.generate, Phase.target],
              suppress_health_check=list(HealthCheck), derandomize=False)  # fmt: skip
    @given(orders(authority.book))
    def ask(document: dict[str, Any]) -> None:
        if time.monotonic() > until_s:
            raise TimeIsUp
        try:
            order = read(Order, document)
            weighed, begun_s = weighings(authority), time.thread_time()
            getattr(authority, method)(order, shop)
        except DocumentError:
            return
        took, cpu_s = weighings(authority) - weighed, time.thread_time() - begun_s
        dearest.asked += 1
        dearest.longest_cpu_s = max(dearest.longest_cpu_s, cpu_s)
        if took > dearest.weighings:
            dearest.weighings, dearest.cpu_s, dearest.order = took, cpu_s, document
        hypothesis.target(float(took), label="weighings")

    with contextlib.suppress(TimeIsUp):
        ask()
    return dearest


class TimeIsUp(BaseException):
    """Ends a search; hypothesis lets it through."""


def weighings(authority: Authority) -> int:
    return int(getattr(authority.scales._weighings, "count", 0))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=600.0, help="for all together")
    parser.add_argument("--seed", type=int, default=time.time_ns() % 10**6)
    parser.add_argument("--only", default="", help="a question or a shop")
    words_ = parser.parse_args()
    book = load_book()
    authority = Authority(book)
    asked = [(method, name, shop) for method in BUDGETS for name, shop in shops(book).items()
             if words_.only in f"{method}, {name}"]  # fmt: skip
    print(f"seed {words_.seed}; budgets {dict(BUDGETS)} weighings, {CPU_BUDGET_S} CPU s")
    over = []
    for method, name, shop in asked:
        dearest = search(authority, method, shop, words_.seconds / len(asked), words_.seed)
        figures = (
            f"{dearest.weighings} weighings in {dearest.cpu_s:.2f} CPU s; longest {dearest.longest_cpu_s:.2f} CPU s"
        )
        print(f"{method}, {name} ({len(shop.presses)} presses): {figures}; {dearest.asked} orders asked")
        print(f"  {json.dumps(dearest.order, ensure_ascii=False)}", flush=True)
        if dearest.weighings > BUDGETS[method] or dearest.longest_cpu_s > CPU_BUDGET_S or not dearest.asked:
            over.append(f"{method}, {name}")
    authority.close()
    print(f"over the budget: {'; '.join(over) or 'none'}")
    return int(bool(over))


if __name__ == "__main__":
    sys.exit(main())
