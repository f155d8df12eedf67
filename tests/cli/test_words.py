"""``accord words``: checked against the book's own files."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.revision.book import Book


@pytest.mark.parametrize("word", ["DTF", "direct to film", "powder-film"])
def test_a_word_brings_the_entry_that_it_stands_for(word: str, accord: Any) -> None:
    (row,) = json.loads(accord("words", word, "--json").stdout)
    assert (row["kind"], row["id"]) == ("transfers", "powder-film")
    assert {"dtf", "direct-to-film"} <= {*row["words"]}


def test_a_part_of_words_brings_all_that_have_it(accord: Any) -> None:
    rows = json.loads(accord("words", "patch", "--json").stdout)
    assert {"heat-seal-patch", "leatherette-patch"} <= {row["id"] for row in rows}


def test_everything_that_orders_name_is_listed(accord: Any, book: Book) -> None:
    rows = json.loads(accord("words", "--json").stdout)
    for kind in ("transfers", "products", "blanks", "substrates", "fibres", "press_types", "consumables"):
        assert {row["id"] for row in rows if row["kind"] == kind} == {*book.catalogue[kind]}
    words = {row["id"]: row["words"] for row in rows if row["kind"] == "press_types"}
    assert words["draw"] == list(book.catalogue["press_types"]["draw"].aliases)


def test_the_service_and_the_shipped_book_say_the_same(accord: Any, alone: Any) -> None:
    assert alone("words", "--local", "vinyl").stdout == accord("words", "vinyl").stdout


@pytest.mark.parametrize("local", [True, False])
def test_a_wrong_word_brings_the_nearest(local: bool, accord: Any, alone: Any) -> None:
    done = alone("words", "--local", "rhinestons") if local else accord("words", "rhinestons")
    assert done.exit_code == 2
    assert "Did you mean rhinestones" in done.stderr
