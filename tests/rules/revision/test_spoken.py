"""A condition in words says what the condition says: its joining words, its signs, and every fact and limit of it."""

from __future__ import annotations

from itertools import pairwise

import pytest

from accord_rules.revision.book import Book
from accord_rules.revision.condition import parse
from accord_rules.revision.spoken import ALL, ANY, FACT, SUBJECTS, ConditionLine, lines_of


def told(book: Book, when: str) -> list[tuple[int, str]]:
    lines = lines_of(parse(when, book.vocabulary).tree, book.catalogue)
    return [(line.depth, sentence(line)) for line in lines]


def sentence(line: ConditionLine) -> str:
    if line.says != FACT:
        return line.says
    behind = line.limit or line.other
    return f"{line.about} | {line.fact}: {line.value}" + (f" {behind}" if behind else "")


@pytest.mark.parametrize(
    ("when", "lines"),
    [
        ("item.textile", [(0, "piece | the piece is cloth: yes")]),
        ("not item.textile", [(0, "piece | the piece is cloth: no")]),
        (
            "item.polyester_share < limit('dye.polyester_share_least')",
            [(0, "piece | percent of polyester: less than dye.polyester_share_least")],
        ),
        ("item.polyester_share >= 30", [(0, "piece | percent of polyester: at least 30 %")]),
        (
            "set.display_c > press.display_most_c",
            [(0, "settings | the display setting: more than press: the highest display setting")],
        ),
        ("item.coating == 'none'", [(0, "piece | the coating on the printable face: no coating")]),
        (
            "press.type in ('household-iron', 'draw')",
            [(0, "press | the type of press: household iron or draw press")],
        ),
        ("transfer.family != 'woven-label'", [
            (0, "transfer | the family of the transfer: not woven label with heat-seal back")
        ]),
        (
            "'zip' in item.features and not item.textile",
            [(0, ALL), (1, "piece | raised, fragile or dangerous things in the pressed area: zip among them"),
             (1, "piece | the piece is cloth: no")],
        ),
        (
            "20 <= item.polyester_share < 50 and item.textile",
            [(0, ALL), (1, "piece | percent of polyester: at least 20 %"),
             (1, "piece | percent of polyester: less than 50 %"), (1, "piece | the piece is cloth: yes")],
        ),
        (
            "not (item.textile and (item.hard or item.polyester_share > 50))",
            [(0, ANY), (1, "piece | the piece is cloth: no"), (1, ALL),
             (2, "piece | it leaves the press hot and is handled hot: no"),
             (2, "piece | percent of polyester: at most 50 %")],
        ),
    ],
)  # fmt: skip
def test_a_condition_line_by_line(book: Book, when: str, lines: list[tuple[int, str]]) -> None:
    assert told(book, when) == lines


def test_every_rule_and_step_is_told_whole(book: Book) -> None:
    for entry in (*book.rules.values(), *(step for step in book.steps.values() if not step.always)):
        lines = lines_of(entry.condition.tree, book.catalogue)
        assert {fact for line in lines for fact in line.facts} == entry.condition.facts, entry.id
        assert {line.limit for line in lines} - {None} == entry.condition.limits, entry.id
        assert all(line.fact and line.value for line in lines if line.says == FACT), entry.id
        depths = [line.depth for line in lines]
        assert depths[0] == 0
        assert all(later - earlier <= 1 for earlier, later in pairwise(depths)), entry.id


def test_every_group_of_facts_has_a_subject(book: Book) -> None:
    facts = {fact for rule in book.rules.values() for fact in rule.condition.facts}
    assert {fact.partition(".")[0] for fact in facts} <= set(SUBJECTS)
