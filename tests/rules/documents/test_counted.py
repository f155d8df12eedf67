"""How many of something, in words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from accord_rules.documents.counted import counted

ROOMS = [Path(__file__).parents[3] / room for room in ("rules/accord_rules", "service/accord_service")]
# A number that may be one, before a word for several, in a text that is made.
SEVERAL = re.compile(
    r"f\".*\{(?:len\([^}]*\)|[a-z_.]*count[a-z_]*)\} (?:[a-z]+ )?[a-z]{3,}s\b(?<!has)(?<!was)(?<!does)"
)
# These are never one: a refusal for too many, a choice between several.
NEVER_ONE = (
    "are too many",
    "the order has {count} decorations",
    "are not the ones that were asked",
    "openings of their",
    "layers have",
    "layers need",
    "== 1 else",
    "are read at most",
)


@pytest.mark.parametrize(("number", "told"), [(0, "0 faults"), (1, "1 fault"), (2, "2 faults"), (1200, "1200 faults")])
def test_one_of_a_thing_is_told_as_one(number: int, told: str) -> None:
    assert counted(number, "fault") == told


def test_some_words_have_a_several_of_their_own() -> None:
    assert (counted(1, "entry", "entries"), counted(3, "entry", "entries")) == ("1 entry", "3 entries")


def test_no_message_counts_one_of_a_thing_as_several() -> None:
    files = [file for room in ROOMS for file in room.rglob("*.py")]
    lines = [(file.name, line.strip()) for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    several = [(name, line) for name, line in lines if SEVERAL.search(line) and "counted(" not in line]
    assert len(lines) > 10_000
    assert [one for one in several if not any(words in one[1] for words in NEVER_ONE)] == []
