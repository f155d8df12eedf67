"""Whose trial of a revision is relied on: this code's with this engine and machine. No outside source."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.canonical import digest
from accord_rules.documents.files import BookError, shipped
from accord_rules.infer.ledger import Ledger
from accord_rules.load import loader
from accord_rules.revision.book import Book
from accord_service.store import RevisionRecord
from accord_service.worker import edition, trials


@pytest.fixture
def untrue(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """The shipped documents with one rule, whose examples say the opposite, read by the loader itself."""
    monkeypatch.setattr(edition, "from_documents", loader.from_documents)
    documents: dict[str, Any] = copy.deepcopy(dict(shipped()))
    rule = documents["rules"]["dye-on-natural-fibre"]
    documents["rules"] = {"dye-on-natural-fibre": rule}
    rule["fires"], rule["silent"] = rule["silent"], rule["fires"]
    return documents


def record(documents: dict[str, Any], tried_by: str) -> RevisionRecord:
    return RevisionRecord(
        number=2,
        digest=digest(documents),
        documents=documents,
        author="t",
        approvers=(),
        reason="",
        proposal=None,
        at=0.0,
        tried_by=tried_by,
    )


@pytest.mark.parametrize("tried_by", ["", "sha256:" + "0" * 64], ids=["nobody", "other code"])
def test_what_this_code_has_not_tried_is_tried(untrue: dict[str, Any], tried_by: str) -> None:
    with pytest.raises(BookError, match="dye-on-natural-fibre"):
        edition.loaded(record(untrue, tried_by))


def test_what_this_code_has_tried_is_not_tried_again(untrue: dict[str, Any]) -> None:
    assert edition.loaded(record(untrue, trials.trier())).revision == 2


def test_another_engine_or_machine_tries_again(monkeypatch: pytest.MonkeyPatch) -> None:
    own = trials.trier()
    for name, change in (("machine", lambda: "abacus"), ("python_version", lambda: "2.7.18")):
        with monkeypatch.context() as patch:
            patch.setattr(trials.platform, name, change)
            assert trials.trier.__wrapped__() != own
    monkeypatch.setattr(trials, "version", lambda name: "0.1")
    assert trials.trier.__wrapped__() != own


@pytest.mark.parametrize(("passed", "trial_count"), [(True, 0), (False, 1)])
def test_rules_that_passed_their_trial_are_not_tried_again(
    passed: bool, trial_count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[Any] = []
    samples: list[int] = []
    monkeypatch.setattr(edition, "try_out", lambda *arguments: tried.append(arguments))
    monkeypatch.setattr(Authority, "self_test", lambda authority, one_in: samples.append(one_in))
    documents = dict(shipped())
    edition.Edition.load(record(documents, trials.trier() if passed else ""), Ledger()).close()
    assert len(tried) == trial_count
    assert samples == [edition.SAMPLED if passed else 1]


def test_a_book_is_tried_once_its_own_test_was_asked_of_every_rule(monkeypatch: pytest.MonkeyPatch, book: Book) -> None:
    samples: list[int] = []
    monkeypatch.setattr(Authority, "self_test", lambda authority, one_in: samples.append(one_in))
    assert edition.tried_by(book) == trials.trier()
    assert samples == [1]
