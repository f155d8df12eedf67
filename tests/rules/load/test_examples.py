"""Examples tried together when a book is loaded. No outside source: each is held against itself, tried alone."""

from __future__ import annotations

import pytest

from accord_rules.documents.reading import DocumentError
from accord_rules.load.examples import Tried, example_facts, example_order, step
from accord_rules.revision.book import Book

_ALONE = 6  # one example in so many is tried alone as well


def test_what_examples_share_changes_no_fact(book: Book) -> None:
    tried = Tried(book)
    examples = [
        (entry, example)
        for entry in (*book.rules.values(), *book.steps.values())
        for example in (*entry.fires, *entry.silent)
        if "facts" not in example
    ]
    together = [example_facts(entry, example, book, tried) for entry, example in examples]
    assert len(together) > 1000
    for (entry, example), facts in list(zip(examples, together, strict=True))[::_ALONE]:
        assert facts == example_facts(entry, example, book), (entry.id, example)


def test_a_whole_order_may_stand_on_a_limit(book: Book) -> None:
    """As facts may. Quantities are said with their unit, shares as numbers, and what is left of a whole follows."""
    share, most_c = book.limit_values["dye.polyester_share_least"], book.limit_values["heat.seam_tape_most"]
    order, _ = example_order(
        {
            "note": "dye.polyester_share_least",
            "item": {"fibres": {"PES": "dye.polyester_share_least", "CO": "100 - dye.polyester_share_least"}},
            "decoration": {"settings": {"temperature": "heat.seam_tape_most + 1 step", "read_at": "surface"}},
            "use": {"age_from": "children.small_parts_age - 2 steps", "age_to": 9},
        },
        book,
    )
    assert order.item.fibres is not None
    assert dict(order.item.fibres) == {"PES": share, "CO": 100 - share}
    assert order.decorations[0].settings is not None
    assert order.decorations[0].settings.temperature == most_c + 1
    assert order.use is not None
    assert order.use.age_from == book.limit_values["children.small_parts_age"] - 2 * step(
        book, "children.small_parts_age"
    )


def test_a_whole_order_names_a_limit_of_another_dimension_in_vain(book: Book) -> None:
    with pytest.raises(DocumentError) as refused:
        example_order({"decoration": {"settings": {"time": "heat.seam_tape_most"}}}, book)
    assert [fault.pointer for fault in refused.value.faults] == ["/decorations/0/settings/time"]
