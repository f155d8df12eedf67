"""Examples tried together when a book is loaded. No outside source: each is held against itself, tried alone."""

from __future__ import annotations

from accord_rules.load.examples import Tried, example_facts
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
