"""The ledger of what was found wrong: its tests are there, and its counts are those of its rows."""

from __future__ import annotations

import ast
import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docs" / "ledger.md").read_text(encoding="utf-8")
CELLS = [[cell.strip() for cell in line.strip("|").split("|")] for line in TEXT.splitlines() if line.startswith("| ")]
WAYS = {way: int(count) for way, count, *rest in CELLS if count.isdigit() and len(rest) == 1}
ROWS = [cells for cells in CELLS if len(cells) == 4 and cells[3].startswith("`tests/")]


@cache
def named_in(file: str) -> set[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_the_ways_are_counted() -> None:
    assert len(ROWS) >= 50
    assert Counter(way for _, way, _, _ in ROWS) == WAYS


@pytest.mark.parametrize("place", sorted({place for *_, place in ROWS}))
def test_each_test_of_the_ledger_is_there(place: str) -> None:
    match = re.fullmatch(r"`(tests/[a-z0-9_/]+\.py)::(test_[a-z0-9_]+)`", place)
    assert match is not None
    assert match[2] in named_in(match[1])
