"""``accord migration``: checked against the book's own file."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.revision.book import Book


@pytest.mark.parametrize("local", [True, False])
def test_the_table_is_shown_cell_by_cell(local: bool, accord: Any, alone: Any, book: Book) -> None:
    done = alone("migration", "--shipped", "--json") if local else accord("migration", "--json")
    assert done.exit_code == 0
    cells = json.loads(done.stdout)
    assert {"-".join(cell[word] for word in ("dye", "share", "shade")): cell for cell in cells} == book.documents[
        "migration"
    ]
    assert [cells[0]["dye"], cells[-1]["dye"]] == ["unknown", "fluorescent"]


def test_a_line_has_the_three_temperatures_and_where_they_are_from(accord: Any, alone: Any) -> None:
    page = " ".join(accord("migration").stdout.split())
    assert "rich deep 127 / 135 / 155 °C = 260 / 275 / 311 °F [practice: migration-practice]" in page
    assert alone("migration", "--shipped").stdout == accord("migration").stdout
