"""``accord step`` and ``accord steps``: checked against the book's own files."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.revision.book import Book


def test_a_step_is_told_whole(accord: Any, book: Book) -> None:
    done = accord("step", "pre-press-covered")
    page = " ".join(done.stdout.split())
    assert done.exit_code == 0
    step = book.steps["pre-press-covered"]
    assert step.when in page
    assert step.why in page
    assert "also while it is not known" in page
    assert "<set pre press s>" in page


def test_a_step_names_the_rules_that_ask_for_it_and_its_limits(accord: Any) -> None:
    assert "- extraction-for-dye" in accord("step", "extractor-on").stdout
    assert "Weed the film and trim its carrier to 10 mm" in " ".join(accord("step", "weed-and-trim").stdout.split())
    assert "in every plan" in accord("step", "print-against-ticket").stdout
    assert "accord step extractor-on tells it" in " ".join(accord("rule", "extraction-for-dye").stdout.split())


@pytest.mark.parametrize("name", ["press-main", "pre-press-covered", "weed-and-trim"])
def test_the_service_and_the_shipped_book_say_the_same(name: str, accord: Any, alone: Any) -> None:
    assert alone("step", "--shipped", name).stdout == accord("step", name).stdout


@pytest.mark.parametrize("local", [True, False])
def test_a_wrong_name_brings_the_nearest(local: bool, accord: Any, alone: Any) -> None:
    done = alone("step", "--shipped", "pres-main") if local else accord("step", "pres-main")
    assert done.exit_code == 2
    assert "Did you mean press-main" in done.stderr


@pytest.mark.parametrize("local", [True, False])
def test_steps_are_listed_once_in_a_plans_order(local: bool, accord: Any, alone: Any, book: Book) -> None:
    done = alone("steps", "--shipped", "--json") if local else accord("steps", "--json")
    assert [step["id"] for step in json.loads(done.stdout)] == list(book.steps)
    assert f"{len(book.steps)} steps" in accord("steps").stdout


def test_steps_about_a_word(accord: Any, book: Book) -> None:
    listed = [step["id"] for step in json.loads(accord("steps", "gloves", "--json").stdout)]
    assert listed == [step.id for step in book.steps.values() if "gloves" in f"{step.id} {step.text.text}".lower()]
    assert listed
    assert accord("steps", "zeppelin").exit_code == 2


def test_steps_of_a_stage(accord: Any, book: Book) -> None:
    listed = json.loads(accord("steps", "--json", "--stage", "care").stdout)
    assert [step["id"] for step in listed] == [step.id for step in book.steps.values() if step.stage == "care"]
    assert accord("steps", "--stage", "caer").exit_code == 2
