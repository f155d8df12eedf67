"""What the rules say to every order of the day, written into expected.toml for a reviewer to read as a difference.

    python demo/expected.py

Rewrites the rules that fire, by level; the verdict and its reason stay a practitioner's. Exits 1 if the rules come to
another verdict for any order: then the book is wrong and has to be mended, or the expectation was, and whoever changes
it says in ``revised`` what was written first and why it changed. Exits 1 as well if a blocking rule has no order that
it refuses, and 2, with nothing written, if an order cannot be read or nobody said what is expected of it.
"""

from __future__ import annotations

import json
import sys
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents.reading import DocumentError, read
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import LEVELS, Verdict

DEMO = Path(__file__).resolve().parent
EXPECTED = DEMO / "expected.toml"

Expectation = Mapping[str, Any]


class DayError(RuntimeError):
    """The day's orders cannot be asked; the message says why."""


def read_expected() -> dict[str, Expectation]:
    """Every order's name to what is expected of it, in the order of the file."""
    return tomllib.loads(EXPECTED.read_text(encoding="utf-8"))


def read_shops() -> dict[str, Shop]:
    """The collective's shops by id."""
    files = sorted((DEMO / "shops").glob("*.toml"))
    return {file.stem: read(Shop, tomllib.loads(file.read_text(encoding="utf-8"))) for file in files}


def read_order(name: str) -> Order:
    """An order as its shop wrote it. Raises DayError where it is missing or malformed."""
    try:
        return read(Order, json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8")))
    except (DocumentError, OSError, json.JSONDecodeError) as error:
        raise DayError(f"{name}: {error}") from None


def ask(expected: Mapping[str, Expectation], book: Book) -> dict[str, tuple[Order, Verdict]]:
    """Every order, and what the rules say to it. Raises DayError where one cannot be asked."""
    shops, authority = read_shops(), Authority(book)
    answered = {}
    try:
        for name, expectation in expected.items():
            order = read_order(name)
            try:
                answered[name] = (order, authority.validate(order, shops[expectation["shop"]]))
            except DocumentError as error:
                raise DayError(f"{name}: {error}") from None
    finally:
        authority.close()
    return answered


def rules_by_level(verdict: Mapping[str, Any], order: Order) -> dict[str, list[str]]:
    """The rules that fire in a verdict's document, by level, in the order they are said; no entry for a level of none.

    Where an order has several decorations, a rule about one of them is followed by its place.
    """
    by_level: dict[str, list[str]] = {}
    for finding in verdict["findings"]:
        rule, place = finding["rule"], finding["pointer"]
        placed = len(order.decorations) > 1 and place.startswith("/decorations")
        by_level.setdefault(finding["level"], []).append(f"{rule} {place}" if placed else rule)
    return by_level


def without_an_order(rules: Iterable[str], expectations: Iterable[Expectation]) -> tuple[str, ...]:
    """For each of these blocking rules that no order makes fire, a sentence that says what to add."""
    fired = {rule.split()[0] for expectation in expectations for rule in expectation.get("blocks", ())}
    return tuple(
        f"No order of the demo makes {rule} block: add one to demo/orders that a shop might bring, write its shop,"
        " verdict and reason into demo/expected.toml before asking, then run python demo/expected.py."
        for rule in sorted(set(rules) - fired)
    )


def blocking(book: Book) -> tuple[str, ...]:
    """The ids of the rules that refuse an order; watched ones only count."""
    return tuple(rule.id for rule in book.rules.values() if rule.level == "blocks" and rule.enforced)


def written(expected: Mapping[str, Expectation]) -> str:
    """All expectations as expected.toml holds them: an order's rules take one line a level."""
    return "\n".join("\n".join(_lines(name, expectation)) + "\n" for name, expectation in expected.items())


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


def rewrite() -> tuple[str, ...]:
    """Write the rules that fire; what is left to do. Raises DayError, with nothing written, where one cannot ask."""
    expected, book = read_expected(), load_book()
    if strays := {file.stem for file in (DEMO / "orders").glob("*.json")} - set(expected):
        raise DayError(f"expected.toml says nothing of {', '.join(sorted(strays))}")
    answered = ask(expected, book)
    rewritten = {
        name: _with_rules(expected[name], rules_by_level(verdict.document(), order))
        for name, (order, verdict) in answered.items()
    }
    EXPECTED.write_text(_preface() + written(rewritten), encoding="utf-8")
    changed = [name for name in rewritten if rewritten[name] != expected[name]]
    print(f"{len(rewritten)} orders, the rules of {len(changed)} changed: read the difference of {EXPECTED.name}")
    disagreements = tuple(
        f"{name}: the rules say {verdict.verdict}, expected is {expected[name]['verdict']}: {expected[name]['why']}"
        for name, (_, verdict) in answered.items()
        if verdict.verdict != expected[name]["verdict"]
    )
    return disagreements + without_an_order(blocking(book), rewritten.values())


def main() -> int:
    try:
        sentences = rewrite()
    except DayError as error:
        print(error, file=sys.stderr)
        return 2
    for sentence in sentences:
        print(sentence, file=sys.stderr)
    return 1 if sentences else 0


if __name__ == "__main__":
    sys.exit(main())
