"""Whose trial of the examples is relied on: this code's of these documents, no other's. No outside source."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from accord_rules.authority import code_digest
from accord_rules.documents.canonical import digest
from accord_rules.documents.files import BookError, shipped
from accord_rules.load import loader
from accord_service.store import RevisionRecord
from accord_service.worker import edition


@pytest.fixture
def untrue(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """The shipped documents with a rule whose examples say the opposite, read by the loader itself."""
    monkeypatch.setattr(edition, "from_documents", loader.from_documents)
    documents: dict[str, Any] = copy.deepcopy(dict(shipped()))
    rule = documents["rules"]["dye-on-natural-fibre"]
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
    assert edition.loaded(record(untrue, code_digest())).revision == 2
