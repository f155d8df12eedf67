"""Watched rules: evaluated and counted, never part of a verdict."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.files import BookError
from accord_rules.governance.changes import EntryChange, check
from accord_rules.load.examples import example_order
from accord_rules.revision.book import Book

Changed = Callable[..., EntryChange]
RULE = "dye-on-nylon"


@pytest.fixture(scope="module")
def watching(book: Book, changed: Changed) -> Book:
    return check(book.documents, [changed("rules", RULE, status="watch")], 2)


def test_a_watched_rule_is_counted_and_says_nothing(book: Book, watching: Book, authority: Authority) -> None:
    fires, shop = example_order(book.rules[RULE].fires[0], book)
    silent, _ = example_order({}, book)
    watcher = Authority(watching, 1)
    try:
        assert watcher.watched == {RULE: 0}
        verdicts = [watcher.validate(order, shop) for order in (fires, silent, fires)]
        assert RULE in {finding.rule for finding in authority.validate(fires, shop).findings}
        assert all(RULE not in {finding.rule for finding in verdict.findings} for verdict in verdicts)
        assert watcher.watched == {RULE: 2}
        assert watcher.watch(fires, shop) == {RULE}
        assert watcher.watch(silent, shop) == frozenset()
        assert watcher.watched == {RULE: 2}, "asking aside is not counted"
        watcher.self_test()
    finally:
        watcher.close()


def test_an_unwatched_book_counts_nothing(authority: Authority) -> None:
    assert authority.watched == {}


def test_a_watched_rules_examples_have_to_hold_too(book: Book, changed: Changed) -> None:
    with pytest.raises(BookError, match=RULE):
        check(book.documents, [changed("rules", RULE, status="watch", when="item.brittle")])
    with pytest.raises(BookError, match="status"):
        check(book.documents, [changed("rules", RULE, status="off")])
