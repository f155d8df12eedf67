"""The reviewed levels and limits against the book. See ``firmness.py`` for why they need a table of their own."""

from __future__ import annotations

from dataclasses import replace
from difflib import unified_diff
from types import MappingProxyType

from firmness import TABLE, table

from accord_rules.revision.book import Book

HOW = "a level or a limit moved: python tests/rules/published/firmness.py --write, then read the difference"


def test_levels_and_limits_are_the_reviewed_ones(book: Book) -> None:
    reviewed, now = TABLE.read_text(encoding="utf-8").splitlines(), table(book).splitlines()
    assert now == reviewed, "\n".join([HOW, *unified_diff(reviewed, now, "reviewed", "found", lineterm="", n=0)])


def test_a_demoted_rule_and_a_shifted_limit_show(book: Book) -> None:
    rule, limit = book.rules["toy-print-undeclared"], book.limits["people.ptfe_birds_from"]
    demoted = replace(book, rules=MappingProxyType({**book.rules, rule.id: replace(rule, level="cautions")}))
    shifted = replace(
        book, limits=MappingProxyType({**book.limits, "people.ptfe_birds_from": replace(limit, value="184 °C")})
    )
    lines = set(table(book).splitlines())
    assert set(table(demoted).splitlines()) - lines == {"toy-print-undeclared: cautions, enforced"}
    (line,) = set(table(shifted).splitlines()) - lines
    assert "184 °C" in line
