"""The table of firmness: levels of rules, limits, rows of markets, cells of migration, as the book was last agreed to.

A rule's examples hold its condition, not how firmly it speaks, and they move along with a number. So all stand in
``firmness.txt`` beside this file, and ``test_firmness.py`` holds the book to it. Where a change is meant, write it anew
and read the difference line by line before it goes in::

    python tests/rules/published/firmness.py --write
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from accord_rules.load.loader import load_book
from accord_rules.revision.book import Book
from accord_rules.revision.markets import SAID_FIELDS

TABLE = Path(__file__).with_name("firmness.txt")
HEAD = """\
# Every rule's level; every limit's value with the direction in which it is stricter; what rows of markets come to and
# what lifts them; and to where a light print is fine, cautioned and allowed at all on dyed polyester.
# Reviewed by people and changed only on purpose: tests/rules/published/firmness.py says how.
"""


def table(book: Book) -> str:
    """A line a rule, then a limit, a row of a market and a cell of migration, by name."""
    rules = (
        f"{rule.id}: {rule.level}, {rule.status}" for rule in sorted(book.rules.values(), key=lambda rule: rule.id)
    )
    limits = (
        f"{name}: {limit.value} {limit.dimension}, stricter {limit.stricter}{', safety' if limit.safety else ''}"
        for name, limit in sorted(book.limits.items())
    )
    markets = (
        f"{name} {matter}: {_weighed(book.documents['markets'][name][matter])}"
        for name, market in sorted(book.catalogue["markets"].items())
        for matter, _ in market.rows
    )
    cells = (
        f"{name}: {cell['fine']}, {cell['caution']}, {cell['most']}"
        for name, cell in sorted(book.documents["migration"].items())
    )
    parts = {"rules": rules, "limits": limits, "markets": markets, "migration": cells}
    return HEAD + "".join(f"\n## {title}\n\n" + "\n".join(lines) + "\n" for title, lines in parts.items())


def _weighed(row: Mapping[str, Any]) -> str:
    """What rules weigh of a market's row, as its file says it."""
    fields = ((field, row[field]) for field in sorted(row) if field not in SAID_FIELDS)
    return ", ".join(f"{field} {' or '.join(part) if isinstance(part, list) else part}" for field, part in fields)


def main() -> None:
    parser = argparse.ArgumentParser(description="The reviewed levels and limits.", allow_abbrev=False)
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name} anew")
    text = table(load_book())
    if parser.parse_args().write:
        TABLE.write_text(text, encoding="utf-8")
    else:
        print(text, end="")


if __name__ == "__main__":
    main()
