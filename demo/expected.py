"""What the rules say to every order of the day, written into expected.toml for a reviewer to read as a difference.

    python demo/expected.py

Rewrites the rules that fire, by level; the verdict and its reason stay a practitioner's. Exits 1 if the rules come to
another verdict for any order: then the book is wrong and has to be mended, or the expectation was, and whoever changes
it says in ``revised`` what was written first and why it changed.
"""

from __future__ import annotations

import json
import sys
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from accord_rules.authority import Authority
from accord_rules.order import Order
from accord_rules.reading import read
from accord_rules.settings import load_book
from accord_rules.shop import Shop
from accord_rules.verdict import LEVELS, Verdict

DEMO = Path(__file__).resolve().parent
EXPECTED = DEMO / "expected.toml"

Expectation = Mapping[str, Any]


def read_expected() -> dict[str, Expectation]:
    """Every order's name to what is expected of it, in the order of the file."""
    return tomllib.loads(EXPECTED.read_text(encoding="utf-8"))


def read_shops() -> dict[str, Shop]:
    """The collective's shops by id."""
    files = sorted((DEMO / "shops").glob("*.toml"))
    return {file.stem: read(Shop, tomllib.loads(file.read_text(encoding="utf-8"))) for file in files}


def read_order(name: str) -> Order:
    """An order as its shop wrote it. Raises reading.DocumentError where it is malformed."""
    return read(Order, json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8")))


def rules_by_level(verdict: Verdict, order: Order) -> dict[str, list[str]]:
    """The rules that fire, firmest level first and each in the order it is said; no entry for a level without any.

    Where an order has several decorations, a rule about one of them is followed by its place.
    """
    by_level: dict[str, list[str]] = {}
    for finding in verdict.findings:
        placed = len(order.decorations) > 1 and finding.about.startswith("/decorations")
        by_level.setdefault(finding.level, []).append(f"{finding.rule} {finding.about}" if placed else finding.rule)
    return by_level


def written(expected: Mapping[str, Expectation]) -> str:
    """All expectations as expected.toml holds them: an order's rules take one line a level."""
    return "\n".join("\n".join(_lines(name, each)) + "\n" for name, each in expected.items())


def _lines(name: str, expectation: Expectation) -> Iterator[str]:
    yield f"[{name}]"
    for key, value in expectation.items():
        yield f"{key} = {json.dumps(value, ensure_ascii=False)}"  # strings and lists of strings are the same in TOML


def _with_rules(expectation: Expectation, by_level: Mapping[str, list[str]]) -> Expectation:
    """The expectation with these rules, which stand between the verdict and its reason."""
    own = {key: value for key, value in expectation.items() if key not in LEVELS}
    first = {key: own.pop(key) for key in ("shop", "verdict")}
    return {**first, **by_level, **own}


def _preface() -> str:
    """The comment that the file begins with, and the empty line after it."""
    text = EXPECTED.read_text(encoding="utf-8")
    return text[: text.index("\n[") + 1]


def main() -> int:
    expected, shops = read_expected(), read_shops()
    authority = Authority(load_book())
    try:
        orders = {name: read_order(name) for name in expected}
        verdicts = {name: authority.validate(order, shops[expected[name]["shop"]]) for name, order in orders.items()}
    finally:
        authority.close()
    told = {name: _with_rules(expected[name], rules_by_level(verdicts[name], orders[name])) for name in expected}
    EXPECTED.write_text(_preface() + written(told), encoding="utf-8")
    changed = sum(told[name] != expected[name] for name in told)
    print(f"{len(told)} orders, the rules of {changed} changed: read the difference of {EXPECTED.name}")
    others = {name: verdict for name, verdict in verdicts.items() if verdict.verdict != expected[name]["verdict"]}
    for name, verdict in others.items():
        print(f"{name}: the rules say {verdict.verdict}, expected is {expected[name]['verdict']}:", file=sys.stderr)
        print(f"    {expected[name]['why']}", file=sys.stderr)
    return 1 if others else 0


if __name__ == "__main__":
    sys.exit(main())
