"""``accord words``: checked against the book's own files."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from accord_rules.documents.reading import Either, Many, Object, Reader, Table, readers_of
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve_fibres


def _names_of(reader: Reader) -> Iterator[str]:
    """The kinds of entry, some of them joined by |, that what a reader reads may name."""
    match reader:
        case Object(into=into):
            for inner, _ in readers_of(into).values():
                yield from _names_of(inner)
        case Many(item=inner):
            yield from _names_of(inner)
        case Table(key=key, value=inner):
            yield from (*_names_of(key), *_names_of(inner))
        case Either(first=first, second=second):
            yield from (*_names_of(first), *_names_of(second))
        case _:
            yield from (reader.name_of,) if reader.name_of is not None else ()


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
    # Which kinds orders name is said by their readers; fibres they name as the keys of a table of shares.
    named = {kind for reader in _names_of(Object(Order)) for kind in reader.split("|")} | {"fibres"}
    assert {row["kind"] for row in rows} == named
    for kind in named:
        assert {row["id"] for row in rows if row["kind"] == kind} == {*book.catalogue[kind]}
    words = {row["id"]: row["words"] for row in rows if row["kind"] == "press_types"}
    assert words["draw"] == list(book.catalogue["press_types"]["draw"].aliases)


@pytest.mark.parametrize("word", ["flax", "linen", "rayon (viscose)", "gb"])
def test_what_an_order_may_say_is_a_word(word: str, accord: Any, book: Book) -> None:
    """A fibre's name on labels in Europe (Regulation (EU) No 1007/2011) and in the United States (16 CFR 303), from
    memory; a market's other word."""
    (row,) = json.loads(accord("words", word, "--json").stdout)
    if row["kind"] == "fibres":
        assert resolve_fibres({word: 100}, book)[0] == {row["id"]: 100}
    else:
        assert book.readings(row["kind"], word) == (row["id"],)
    assert f": {row['title']}," not in accord("words", word).stdout, "its title is said once"


def test_the_service_and_the_shipped_book_say_the_same(accord: Any, alone: Any) -> None:
    assert alone("words", "--shipped", "vinyl").stdout == accord("words", "vinyl").stdout


@pytest.mark.parametrize("local", [True, False])
def test_a_wrong_word_brings_the_nearest(local: bool, accord: Any, alone: Any) -> None:
    done = alone("words", "--shipped", "rhinestons") if local else accord("words", "rhinestons")
    assert done.exit_code == 2
    assert "Did you mean rhinestones" in done.stderr
