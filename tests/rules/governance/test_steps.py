"""Steps under proposals and house rules: what a change of steps does to plans, and what may not be taken out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from accord_rules.documents.files import BookError
from accord_rules.governance.changes import ABSENT, EntryChange, check
from accord_rules.governance.effect import EVERY_ORDER, Effect, effect
from accord_rules.governance.house import HouseError, check_house, read_house
from accord_rules.governance.refusals import faults_in
from accord_rules.load.loader import from_documents
from accord_rules.revision.book import Book

Changed = Callable[..., EntryChange]
FEW = 60


def effect_of(book: Book, *changes: EntryChange) -> Effect:
    return effect(book, check(book.documents, changes, 2), [], FEW)


def difference(result: Effect, step: str) -> tuple[int, int, int]:
    """How many plans get, lose and reword the step."""
    (own,) = (difference for difference in result.steps if difference.step == step)
    return own.comes, own.goes, own.reworded


def test_a_new_wording_turns_no_verdict_and_shows_in_plans(book: Book, changed: Changed) -> None:
    result = effect_of(book, changed("steps", "lint-roll", text="Roll the print area clean of lint."))
    assert (result.decision.kind, result.decision.exact, result.decision.holds_for) == ("equal", True, EVERY_ORDER)
    assert (result.flips, result.loosens_safety) == ((), ())
    assert [entry.step for entry in result.steps] == ["lint-roll"]
    comes, goes, reworded = difference(result, "lint-roll")
    assert (comes, goes) == (0, 0)
    assert reworded > 5


def test_a_step_that_comes_and_one_that_goes(book: Book) -> None:
    fold = {"stage": "finish", "text": "Fold the piece with the print inside.", "sources": ["common-practice"]}
    result = effect_of(book, EntryChange("steps", "fold", fold, ABSENT), EntryChange("steps", "steam-off", None))
    comes, goes, reworded = difference(result, "fold")
    assert comes > 5
    assert (goes, reworded) == (0, 0)
    assert difference(result, "steam-off")[1] > 5


def test_a_step_that_another_rule_names_shows_too(book: Book, changed: Changed) -> None:
    result = effect_of(book, changed("rules", "extraction-for-film", step="gloves-on"))
    assert result.decision.kind == "equal"
    assert difference(result, "gloves-on")[0] > 0
    without = effect_of(book, changed("rules", "extraction-for-film", title="Extraction for hot film"))
    assert without.steps == (), "nothing that steps hang on was changed"


def test_a_limit_that_a_sentence_names_shows_in_plans(book: Book, changed: Changed) -> None:
    result = effect_of(book, changed("limits", "plan.trim_margin", value="12 mm"))
    assert result.decision.kind == "equal"
    assert difference(result, "weed-and-trim")[2] > 0


def test_a_limit_that_makes_a_rule_ask_for_its_step_shows_in_plans(book: Book, changed: Changed) -> None:
    found = effect_of(book, changed("limits", "prepress.time_least", value="4 s"))
    assert difference(found, "pre-press-said-none")[0] > 0


def test_a_step_that_a_rule_names_cannot_be_taken_out(book: Book) -> None:
    changes = (EntryChange("steps", "slowly", None),)
    with pytest.raises(BookError) as refused:
        check(book.documents, changes)
    (fault,) = faults_in(changes, refused.value)
    assert fault.pointer == "/changes/0"
    assert "1 entry of the book needs it: rule cool-brittle-goods-slowly." in fault.message


@pytest.mark.parametrize(
    ("keys", "pointer"),
    [
        ({"when": "item.textil"}, "/changes/0/value/when"),
        ({"text": "Roll it. Then wait."}, "/changes/0/value/text"),
        ({"silent": [{"item": {"fibres": {"PES": 100}}}]}, "/changes/0/value/silent/0"),
        ({"stage": "dyr"}, "/changes/0/value/stage"),
    ],
)
def test_a_proposed_step_is_tried_like_a_rule(keys: dict[str, Any], pointer: str, book: Book, changed: Changed) -> None:
    changes = (changed("steps", "lint-roll", **keys),)
    with pytest.raises(BookError) as refused:
        check(book.documents, changes)
    assert pointer in {fault.pointer for fault in faults_in(changes, refused.value)}


def test_a_house_rule_may_name_a_step_of_the_book(book: Book) -> None:
    rule = {
        "level": "requires",
        "title": "Silk is not pressed here before a sample",
        "about": "item",
        "when": "item.protein_share > 50",
        "because": "{item.protein_share} of the cloth is silk or wool.",
        "fix": "Press a sample.",
        "sources": ["common-practice"],
        "fires": [{"item": {"fibres": {"SE": 51, "CO": 49}}}],
        "silent": [{"item": {"fibres": {"SE": 50, "CO": 50}}}],
    }
    named = read_house({"rules": {"house.silk": rule | {"step": "sample-first"}}})
    assert check_house(book, named).rules["house.silk"].step == "sample-first"
    with pytest.raises(HouseError) as refused:
        check_house(book, read_house({"rules": {"house.silk": rule | {"step": "sample-frist"}}}))
    (refusal,) = refused.value.refusals
    assert refusal.pointer == "/rules/house.silk/step"
    assert "sample-first" in refusal.allowed


def test_steps_make_no_difference_to_the_order_in_which_files_are_read(book: Book) -> None:
    turned = {**book.documents, "steps": dict(reversed(book.documents["steps"].items())), "rules": {}}
    assert list(from_documents(turned).steps) == list(book.steps)
