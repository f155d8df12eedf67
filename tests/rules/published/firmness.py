"""The table of firmness: every rule's level and every limit's value, as the book was last agreed to.

A rule's examples hold its condition, not how firmly it speaks, and they move along with a limit. So both stand in
``firmness.txt`` beside this file, and ``test_firmness.py`` holds the book to it. Where a change is meant, write it anew
and read the difference line by line before it goes in::

    python tests/rules/published/firmness.py --write
"""

from __future__ import annotations

import argparse
from pathlib import Path

from accord_rules.load.loader import load_book
from accord_rules.revision.book import Book

TABLE = Path(__file__).with_name("firmness.txt")
HEAD = """\
# Every rule's level and every limit's value with the direction in which it is stricter.
# Reviewed by people and changed only on purpose: tests/rules/published/firmness.py says how.
"""


def table(book: Book) -> str:
    """A line a rule, then a line a limit, each by name."""
    rules = (
        f"{rule.id}: {rule.level}, {rule.status}" for rule in sorted(book.rules.values(), key=lambda rule: rule.id)
    )
    limits = (
        f"{name}: {limit.value} {limit.dimension}, stricter {limit.stricter}{', safety' if limit.safety else ''}"
        for name, limit in sorted(book.limits.items())
    )
    return "\n".join([HEAD, "## rules\n", *rules, "\n## limits\n", *limits]) + "\n"


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
