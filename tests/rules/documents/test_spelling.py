"""The nearest right words. What counts as near is this project's own choice; there is no outside source."""

from __future__ import annotations

import pytest

from accord_rules.documents.spelling import did_you_mean, nearest, stems

RULES = ("dye-on-too-little-polyester", "dye-on-nylon", "film-on-pile")


@pytest.mark.parametrize(
    ("word", "known", "near"),
    [
        ("polyester-too-litle", RULES, ("dye-on-too-little-polyester",)),
        ("dye-on-nylom", RULES, ("dye-on-nylon",)),
        ("quite-something-else", RULES, ()),
        ("item.share_polyester", ("item.polyester_share", "press.share"), ("item.polyester_share",)),
        ("Cloth", ("cloth", "metal"), ("cloth",)),
        ("aab", ("aaa", "aac", "aad", "aae"), ("aaa", "aac", "aad")),
        ("", RULES, ()),
        ("knit", (), ()),
    ],
)
def test_the_nearest_words_the_most_alike_first(word: str, known: tuple[str, ...], near: tuple[str, ...]) -> None:
    assert nearest(word, known) == near


def test_they_stand_in_a_bracket_behind_a_message_if_there_are_any() -> None:
    assert did_you_mean("cloht", ("cloth", "metal")) == " (did you mean cloth?)"
    assert did_you_mean("velvet", ("cloth", "metal")) == ""


def test_a_word_as_long_as_a_request_is_compared_by_its_beginning() -> None:
    assert nearest("cloth" + "h" * 1_000_000, ("cloth",)) == ()
    assert nearest("x" * 1_000_000, ("x" * 80,)) == ("x" * 80,)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("washing", "washes"),
        ("wash", "washed"),
        ("gloves", "glove"),
        ("fitting", "fitted"),
        ("pressing", "press"),
        ("drying", "dried"),
        ("Ironing", "iron"),
        ("stones", "stone"),
        ("iso 15797", "ISO-15797"),
    ],
)
def test_forms_of_a_word_have_one_stem(one: str, other: str) -> None:
    assert stems(one) == stems(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("bird", "airbed"),
        ("bed", "airbed"),
        ("ring", "earring"),
        ("ink", "drinking"),
        ("ink", "shrink"),
        ("tile", "textile"),
        ("cap", "capacitor"),
        ("string", "strong"),
        ("glass", "gla"),
        ("wool", "woollen mill"),
    ],
)
def test_a_part_of_a_word_is_no_word(one: str, other: str) -> None:
    assert not stems(one) & stems(other)
