"""What is told of each fact. What has to be told is this project's own decision; there is no outside source."""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest

from accord_rules.derive.glossary import FactEntry, Glossary
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Assume, declared


@pytest.fixture(scope="module")
def glossary(book: Book) -> Glossary:
    return Glossary(book)


def of_type(glossary: Glossary, *types: str) -> list[FactEntry]:
    entries = [entry for entry in glossary.values() if entry.type in types]
    assert entries
    return entries


def test_every_fact_is_told_in_sentences(glossary: Glossary) -> None:
    assert sorted(glossary) == sorted(declared())
    assert [
        name for name, entry in glossary.items() if len(entry.description) < 10 or entry.description[-1] != "."
    ] == []


def test_a_number_is_told_with_its_unit_and_words_with_what_they_may_be(glossary: Glossary) -> None:
    numbers, worded = of_type(glossary, "number"), of_type(glossary, "one of", "set of")
    assert [entry.id for entry in numbers if entry.measure is None or entry.words] == []
    assert [entry.id for entry in worded if entry.measure is not None or not entry.words] == []
    others = of_type(glossary, "true/false", "text", "data")
    assert [entry.id for entry in others if entry.measure is not None or entry.words] == []


def test_the_example_of_a_number_is_one_that_examples_may_write(glossary: Glossary) -> None:
    measures = {entry.measure for entry in of_type(glossary, "number") if entry.measure is not None}
    assert {measure.plain for measure in measures} == {True, False}
    for measure in measures:
        dimension = units.DIMENSIONS[measure.dimension]
        assert measure.unit == dimension.symbol
        number = float(measure.example) if measure.plain else units.parse(dimension, measure.example)
        assert math.isfinite(number)


def test_the_words_of_entries_are_those_of_the_book(book: Book, glossary: Glossary) -> None:
    entries = [entry for entry in glossary.values() if entry.kinds]
    assert {kind for entry in entries for kind in entry.kinds} >= {"substrates", "transfers", "consumables"}
    for entry in entries:
        assert {*entry.words} - {"none"} == {name for kind in entry.kinds for name in book.catalogue[kind]} - {"none"}


def test_what_is_assumed_can_be_said_at_its_pointer(book: Book, glossary: Glossary) -> None:
    """An order that says what would have been assumed reads, and says the very same."""
    unsaid_ = {name: entry.unsaid for name, entry in glossary.items() if entry.unsaid is not None}
    sayable = {name: unsaid for name, unsaid in unsaid_.items() if unsaid.value is not None}
    assert sayable.keys() >= {"art.colours", "art.white", "item.preparation", "order.quantity"}
    for unsaid in sayable.values():
        document = put(book.documents["base_example"]["order"], unsaid.pointer.replace("{i}", "0"), unsaid.value)
        read(Order, document)
    wanted = {name: fact.missing.value for name, fact in declared().items() if isinstance(fact.missing, Assume)}
    # All but what hangs on what else is said.
    assert {name for name in wanted if name not in sayable} == {
        name for name, value in wanted.items() if callable(value)
    }
    assert sayable["art.colours"].value == 1


def put(order: dict[str, Any], pointer: str, value: Any) -> dict[str, Any]:
    document = copy.deepcopy(order)
    *steps, last = pointer.split("/")[1:]
    place: Any = document
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place.setdefault(step, {})
    place[last] = value
    return document
