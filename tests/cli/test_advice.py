"""``accord advice``: checked against the book's own files."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.revision.book import Book


@pytest.mark.parametrize("local", [True, False])
def test_every_answer_and_everything_left_out_is_told(local: bool, accord: Any, alone: Any, book: Book) -> None:
    done = alone("advice", "--shipped", "--json") if local else accord("advice", "--json")
    assert done.exit_code == 0
    assert json.loads(done.stdout) == {kind: book.documents[kind] for kind in ("advice", "not_covered")}


def test_a_word_brings_its_answer_with_sources(alone: Any) -> None:
    page = " ".join(alone("advice", "dry clean", "--shipped").stdout.split())
    assert page.startswith("May a printed piece be dry-cleaned? No, unless the maker of the transfer says so")
    assert page.endswith("[common-practice]")


def test_a_word_for_what_is_left_out_brings_why(alone: Any) -> None:
    page = " ".join(alone("advice", "uv dtf", "--shipped").stdout.split())
    assert page.startswith("Not covered, because UV film and stickers. It is stuck on cold")
    done = alone("words", "uv dtf", "--shipped")
    assert done.exit_code == 2
    assert "Not covered: UV film and stickers. It is stuck on cold" in " ".join(done.stderr.split())


@pytest.mark.parametrize("word", ["bed", "ash", "ate", "rip", "and-w"])
def test_the_middle_of_a_word_finds_nothing(word: str, alone: Any) -> None:
    """ "airbed", "washing" and "laundered" are other words."""
    assert alone("advice", word, "--shipped").exit_code == 2


def test_a_word_finds_its_own_answer_and_no_word_that_is_spelt_like_it(alone: Any) -> None:
    """A bird is no airbed, and ink no drinking."""
    for word in ("bird", "birds", "ink"):
        told = json.loads(alone("advice", word, "--shipped", "--json").stdout)
        ids = [*told["advice"], *told["not_covered"]]
        assert ids
        assert not any("inflatable" in name or "drink" in name for name in ids), (word, ids)


@pytest.mark.parametrize("word", ["wash", "washes", "ironed", "dry cleaning", "airbeds", "inflatables"])
def test_another_form_of_a_word_finds_it(word: str, alone: Any) -> None:
    assert alone("advice", word, "--shipped").exit_code == 0


def test_all_words_end_with_what_is_not_covered(alone: Any, book: Book) -> None:
    page = " ".join(alone("words", "--shipped").stdout.split())
    told = page.partition("Not covered, because")[2]
    for entry in book.catalogue["not_covered"].values():
        assert f"{entry.title}. {entry.because} {entry.instead}" in told


@pytest.mark.parametrize(("command", "word"), [("advice", "zzzzqq"), ("words", "zzzzqq"), ("words", "klystron")])
def test_no_question_ends_without_the_nearest(command: str, word: str, alone: Any) -> None:
    done = alone(command, word, "--shipped")
    assert done.exit_code == 2
    assert "The nearest are" in done.stderr or "Did you mean" in done.stderr
