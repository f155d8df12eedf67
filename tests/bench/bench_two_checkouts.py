"""What recommend, envelope and remedies cost in two checkouts of this code, side by side, with equal answers.

Run ``python tests/bench/bench_two_checkouts.py BEFORE AFTER [ROUNDS]`` with the directories of two checkouts. Each is
measured in a process of its own with its own code, in turns, so that a busy machine hits both; what counts is the CPU
time of the process, the least of all rounds for each question. The questions are the same: orders of the demo left
open, two heavy pieces, and rejected orders with their remedies. Answers are compared but for their ids, which cover
the code, and those that differ are named.
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import importlib
import json
import os
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parents[2]
ROUNDS = 7
REPEATS = 3
OPEN = ("press", "transfer", "settings")
RECOMMENDED = ("001", "013", "016", "031", "043", "045", "052", "067")
ENVELOPED = ("001", "013", "043")
REMEDIED = ("079", "083", "094", "096", "099", "109", "114", "130")
# A name and what the checkouts that are compared call it; some have an order with wishes as a class of its own.
PLACES = {
    "load_book": ("accord_rules.load.loader.load_book", "accord_rules.settings.load_book"),
    "read": ("accord_rules.documents.reading.read", "accord_rules.reading.read"),
    "Order": ("accord_rules.orders.order.Order", "accord_rules.order.Order"),
    "Request": (
        "accord_rules.orders.order.SettleRequest",
        "accord_rules.order.SettleRequest",
        "accord_rules.orders.order.Order",
    ),
    "Shop": ("accord_rules.orders.shop.Shop", "accord_rules.shop.Shop"),
    "Authority": ("accord_rules.authority.Authority",),
}


def named(name: str) -> Any:
    for place in PLACES[name]:
        module, _, attribute = place.rpartition(".")
        with contextlib.suppress(ModuleNotFoundError, AttributeError):
            return getattr(importlib.import_module(module), attribute)
    raise ImportError(name)


def left_open(order: Mapping[str, Any], fields: tuple[str, ...]) -> dict[str, Any]:
    opened = {key: json.loads(json.dumps(value)) for key, value in order.items() if key not in fields}
    for decoration in opened["decorations"]:
        for field in fields:
            decoration.pop(field, None)
    return opened


def questions(book: Any) -> Iterator[tuple[str, str, Any, Any]]:
    """Label, verb, order and shop."""
    read, order_type, request_type, shop_type = map(named, ("read", "Order", "Request", "Shop"))
    shops = {path.stem: tomllib.loads(path.read_text()) for path in (HERE / "demo/shops").glob("*.toml")}
    for name, expected in tomllib.loads((HERE / "demo/expected.toml").read_text()).items():
        order = json.loads((HERE / f"demo/orders/{name}.json").read_text())
        shop = read(shop_type, {key: value for key, value in shops[expected["shop"]].items() if key != "house"})
        if name[:3] in RECOMMENDED:
            yield f"recommend {name}", "recommend", read(request_type, left_open(order, OPEN)), shop
        if name[:3] in ENVELOPED:
            yield f"envelope {name}", "envelope", read(order_type, left_open(order, ("press", "settings"))), shop
        if name[:3] in REMEDIED:
            yield f"remedies {name}", "validate", read(order_type, order), shop
    document = book.documents["base_example"]["shop"]
    stock = {**document["stock"], "products": list(book.catalogue["products"])[:25]}
    types = ("clamshell", "swing-away", "hand-held", "draw", "pneumatic-twin")
    many = read(shop_type, {**document, "stock": stock, "presses": [{"id": name, "type": name} for name in types]})
    for blank in ("hoodie-zip-navy", "tee-heavy-white"):
        print_ = {"placement": "front", "size": {"width": "125 mm", "height": "195 mm"}}
        heavy = {"item": {"blank": blank}, "quantity": 10, "decorations": [print_]}
        yield f"recommend one print, {blank}", "recommend", read(request_type, heavy), many
        two = heavy | {"decorations": [print_, {"placement": "back", "size": print_["size"]}]}
        yield f"recommend two prints, {blank}", "recommend", read(request_type, two), many


def without_ids(document: Any) -> Any:
    if isinstance(document, Mapping):
        return {key: without_ids(value) for key, value in document.items() if key != "id"}
    return [without_ids(value) for value in document] if isinstance(document, (list, tuple)) else document


def measured() -> None:
    """One round in this process: label, CPU milliseconds and a digest of the answer, as JSON on standard output."""
    authority = named("Authority")(named("load_book")())
    book = getattr(authority, "book", None) or authority.settings
    every = list(questions(book))
    for _, verb, order, shop in every:
        getattr(authority, verb)(order, shop)  # stacks are solved once, and kept
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)  # as workers have it
    rows = []
    for label, verb, order, shop in every:
        least = float("inf")
        for _ in range(REPEATS):
            begun = time.process_time()
            answer = getattr(authority, verb)(order, shop)
            least = min(least, time.process_time() - begun)
        text = json.dumps(without_ids(answer.document()), sort_keys=True, default=str)
        rows.append((label, least * 1e3, hashlib.sha256(text.encode()).hexdigest()))
    authority.close()
    print(json.dumps(rows))


def round_of(checkout: Path) -> list[tuple[str, float, str]]:
    path = os.pathsep.join(str(checkout / room) for room in ("rules", "service", "clients/python", "."))
    command = [sys.executable, __file__, "--measure"]
    run = subprocess.run(
        command, cwd=checkout, env={**os.environ, "PYTHONPATH": path}, capture_output=True, check=True, text=True
    )
    rows: list[tuple[str, float, str]] = json.loads(run.stdout)
    return rows


def main(before: Path, after: Path, rounds: int) -> None:
    least: dict[str, list[float]] = {}
    differing: set[str] = set()
    for number in range(rounds):
        # Who comes second finds the machine as the first left it, so that each goes first every other time.
        pair = (before, after) if number % 2 else (after, before)
        rows = {checkout: round_of(checkout) for checkout in pair}
        for (label, was, answer), (_, is_, answer_after) in zip(rows[before], rows[after], strict=True):
            pair_ms = least.setdefault(label, [was, is_])
            pair_ms[:] = min(pair_ms[0], was), min(pair_ms[1], is_)
            differing |= {label} if answer != answer_after else set()
    verbs: dict[str, list[float]] = {}
    for label, (was, is_) in least.items():
        total = verbs.setdefault(label.split()[0], [0.0, 0.0])
        total[:] = total[0] + was, total[1] + is_
        note = "   answers differ" if label in differing else ""
        print(f"{label:48} {was:8.1f} ms {is_:8.1f} ms   {is_ / was - 1:+5.0%}{note}")
    for verb, (was, is_) in (*verbs.items(), ("all", [sum(column) for column in zip(*verbs.values(), strict=True)])):
        print(f"{verb:48} {was:8.1f} ms {is_:8.1f} ms   {is_ / was - 1:+5.0%}")


if __name__ == "__main__":
    if sys.argv[1:] == ["--measure"]:
        measured()
    else:
        main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else ROUNDS)
