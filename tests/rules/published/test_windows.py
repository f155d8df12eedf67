"""The reviewed table of windows against what the code and the book give. See ``windows.py`` for what is in it."""

from __future__ import annotations

from difflib import unified_diff

from windows import TABLE, table, windows

from accord_rules.revision.book import Book

HOW = "windows moved: python tests/rules/published/windows.py --write, then read the difference line by line"


def test_the_windows_are_the_reviewed_ones(book: Book) -> None:
    reviewed, now = TABLE.read_text(encoding="utf-8").splitlines(), table(windows(book)).splitlines()
    assert now == reviewed, "\n".join([HOW, *unified_diff(reviewed, now, "reviewed", "found", lineterm="", n=2)])


def test_every_product_is_in_the_table_on_every_substrate_that_it_suits(book: Book) -> None:
    """Counted from the catalogue alone."""
    substrates = book.catalogue["substrates"].values()
    pairs = sum(entry.family in p.suits for p in book.catalogue["products"].values() for entry in substrates)
    sections = TABLE.read_text(encoding="utf-8").split("\n## ")[1:]
    counted = [_pairs(section) for section in sections[:3]]
    assert len(sections) == 4
    assert counted == [pairs, pairs, pairs]


def _pairs(section: str) -> int:
    total = 0
    for block in section.split("\n\n")[1:]:
        _, products, substrates = block.strip().split("\n")
        total += len(products.split(",")) * len(substrates.split(","))
    return total
