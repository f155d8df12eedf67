"""What a change cannot reach is not tried again. No outside source: what is left out is held against being tried."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.load import examples
from accord_rules.load.affected import affected_by
from accord_rules.load.examples import Tried, example_facts, failures, step
from accord_rules.load.loader import from_documents
from accord_rules.revision.book import Book
from accord_rules.revision.rule import Rule
from accord_rules.revision.step import Step

# By limit, by how many of its steps it moves: far enough to change what examples answer.
MOVED = {
    "press.probe_error": 40,
    "sheet.bench_spread": 40,
}
# By CI: the others of the four that between them reach the piece, the ground, the press and the settings.
MOVED_BY_CI = {
    "children.small_parts_age": -3,
    "ground.white_lightness_least": 40,
}
# By night: each is tried in full twice, and those above reach the same kinds of facts.
MOVED_BY_NIGHT = {
    "fibres.counted_from": 40,
    "migration.margin": 40,
    "press.pillow_thickness_least": 40,
    "pressure.light_most": 40,
}


def changed(book: Book, kind: str, name: str, value: Any) -> Book:
    """The book with one entry changed, and no example of it tried."""
    documents = json.loads(json.dumps(book.documents))
    documents[kind][name] = value
    return from_documents(documents, tried=documents)


def moved(book: Book, name: str, steps: int) -> Book:
    limit = dict(book.documents["limits"][name])
    value, unit = book.limit_values[name] + steps * step(book, name), book.limit_dimension(name).symbol
    limit["value"] = f"{value:.6g} {unit}" if isinstance(limit["value"], str) else float(f"{value:.6g}")
    return changed(book, "limits", name, limit)


def answers(book: Book, tried: Tried) -> dict[tuple[str, int], Any]:
    """The facts of each order example."""
    return {
        (f"{type(entry).__name__} {entry.id}", place): example_facts(entry, example, book, tried)
        for entry in (*book.rules.values(), *book.steps.values())
        for place, example in enumerate((*entry.fires, *entry.silent))
        if "facts" not in example
    }


@pytest.fixture(scope="module")
def before(book: Book) -> dict[tuple[str, int], Any]:
    return answers(book, Tried(book))


@pytest.mark.parametrize(
    ("name", "steps"),
    [
        *MOVED.items(),
        *(pytest.param(*move, marks=pytest.mark.long) for move in MOVED_BY_CI.items()),
        *(pytest.param(*move, marks=pytest.mark.nightly) for move in MOVED_BY_NIGHT.items()),
    ],
)
def test_a_moved_limit_reaches_no_further_than_is_said(
    name: str, steps: int, book: Book, before: dict[tuple[str, int], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    new = moved(book, name, steps)
    tried = Tried(new)
    after = answers(new, tried)
    reached = {entry for entry, place in after if before[entry, place] != after[entry, place]}
    affected = affected_by(new, book.documents)
    entries = {f"{type(entry).__name__} {entry.id}": entry for entry in (*new.rules.values(), *new.steps.values())}
    assert reached
    assert all(affected(entries[name]) for name in reached)
    assert not all(map(affected, entries.values()))
    with monkeypatch.context() as patch:
        patch.setattr(examples, "Tried", lambda book: tried)  # the trial of all, with the cases that were made above
        whole_trial = list(map(str, failures(new)))
    assert whole_trial
    assert list(map(str, failures(new, book.documents))) == whole_trial


def test_a_changed_rule_or_step_is_tried(book: Book) -> None:
    for kind, entries in (("rules", book.rules), ("steps", book.steps)):
        entry: Rule | Step = next(entry for entry in entries.values() if len(entry.silent) > 1)
        document = dict(book.documents[kind][entry.id])
        new = changed(book, kind, entry.id, document | {"silent": document["fires"]})
        faults = failures(new, book.documents)
        assert {getattr(fault, "id", None) for fault in faults} == {entry.id}


def test_any_other_entry_has_everything_tried(book: Book) -> None:
    name, document = next(iter(book.documents["coatings"].items()))
    new = changed(book, "coatings", name, document | {"title": "another title"})
    affected = affected_by(new, book.documents)
    assert all(map(affected, [*new.rules.values(), *new.steps.values()]))
