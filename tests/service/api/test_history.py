"""Which revisions changed an entry: as told by the API, and how much of the store is read for one question."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_service.steps.history import Changelog
from accord_service.store import RevisionHead, RevisionRecord

ENTRY = ("limits", "a")


def record(number: int, documents: dict[str, Any]) -> RevisionRecord:
    return RevisionRecord(
        number=number, digest=f"d{number}", documents=documents, author="a", approvers=(), reason="r", proposal=None,
        at=float(number),
    )  # fmt: skip


class Revisions:
    """A store of revisions in memory that counts what is read."""

    def __init__(self, values: list[int | None]) -> None:
        self.records = [
            record(number, {"limits": {"b": {"value": number}} | ({} if value is None else {"a": {"value": value}})})
            for number, value in enumerate(values, 1)
        ]
        self.read = 0

    def revision(self, number: int) -> RevisionRecord | None:
        self.read += 1
        return self.records[number - 1] if number <= len(self.records) else None

    @property
    def head(self) -> RevisionHead:
        return self.records[-1].head


def changelog(revisions: Revisions, **bounds: int) -> Changelog:
    return Changelog(SimpleNamespace(revisions=revisions), **bounds)  # type: ignore[arg-type]


def told(log: Changelog, revisions: Revisions, newest: int | None = None, most: int = 50) -> Any:
    past = log.past(*ENTRY, revisions.head, newest or revisions.head.number, most)
    return [(changed.number, entry.what) for changed, entry in past.changes], past.further


def test_an_entry_that_came_changed_went_and_came_again() -> None:
    revisions = Revisions([None, 1, 1, 2, None, 3])
    log = changelog(revisions)
    assert told(log, revisions) == ([(6, "added"), (5, "removed"), (4, "changed"), (2, "added")], 0)
    assert revisions.read == 6, "each revision once"
    assert told(log, revisions)[1] == 0
    assert revisions.read == 6, "none again"


def test_one_question_reads_a_few_revisions_and_says_where_to_go_on() -> None:
    revisions = Revisions([*range(1, 31)])
    log = changelog(revisions, read_most=5)
    changes, further = told(log, revisions)
    assert revisions.read <= 6
    assert (changes[0], changes[-1][0]) == ((30, "changed"), further + 1)
    seen = list(changes)
    while further:
        changes, further = told(log, revisions, further)
        seen += changes
    assert [number for number, _ in seen] == [*range(30, 0, -1)]


def test_as_many_as_were_asked_for() -> None:
    revisions = Revisions([*range(1, 7)])
    log = changelog(revisions)
    assert told(log, revisions, most=2) == ([(6, "changed"), (5, "changed")], 4)


def test_what_is_remembered_is_bounded_and_forgotten_where_the_past_is_another() -> None:
    revisions = Revisions([*range(1, 21)])
    log = changelog(revisions, kept_most=3, read_most=100)
    told(log, revisions)
    assert len(log._kept) == 3
    other = Revisions([7, 8])
    log._store = SimpleNamespace(revisions=other)  # type: ignore[assignment]
    assert told(log, other) == ([(2, "changed"), (1, "added")], 0)
    same_number = Revisions([7, 7])
    same_number.records[1] = record(2, {"limits": {}})
    object.__setattr__(same_number.records[1], "digest", "another")
    log._store = SimpleNamespace(revisions=same_number)  # type: ignore[assignment]
    assert told(log, same_number)[0][0] == (2, "removed")


@pytest.mark.parametrize(("kind", "name"), [("rules", "dye-on-nylon"), ("fibres", "CO"), ("steps", "wash")])
def test_the_first_revision_added_what_it_has(client: FlaskClient, key: dict[str, str], kind: str, name: str) -> None:
    document = client.get(f"/v1/history/{kind}/{name}", headers=key).json
    (entry,) = document["entries"]
    assert (entry["revision"], entry["what"], entry["changes"], document["next"]) == (1, "added", [], None)


@pytest.mark.parametrize("address", ["/v1/history/rules/no-such", "/v1/history/no-such/x"])
def test_what_never_was_has_no_history(client: FlaskClient, key: dict[str, str], address: str) -> None:
    assert client.get(address, headers=key).status_code == 404
