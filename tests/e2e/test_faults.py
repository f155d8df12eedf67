"""Faults on the real topology: a few with every change, all of them by night (make faults prints what each cost)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from tests.e2e.faults.table import (
    FAULTS,
    HEAD,
    TWO_ON_ONE_FOLDER,
    Fault,
    Row,
    kill_worker,
    line,
    lose_primary,
    second_on_one_folder,
    try_all,
)

DAILY = (kill_worker, lose_primary)


def rows_of(faults: Sequence[Fault], *, is_brief: bool) -> list[Row]:
    rows: list[Row] = []
    try_all(faults, rows.append, is_brief=is_brief)
    print(*map(line, rows), sep="\n")
    return rows


def faults_of(rows: Sequence[Row]) -> list[str]:
    return [f"{row.fault}: {row.lost}, {row.wrong}, {row.broken}" for row in rows if not row.holds]


# store/test_connection.py loses a primary, serving/test_serving.py a worker, store/test_soak.py looks for what is lost.
@pytest.mark.long
@pytest.mark.needs("redis-server")
def test_a_killed_worker_and_a_lost_primary_lose_nothing_and_answer_nothing_wrong() -> None:
    rows = rows_of([fault for fault in FAULTS if fault.happen in DAILY], is_brief=True)
    assert faults_of(rows) == []
    assert len(rows) == len(DAILY)
    for row in rows:
        assert row.figures is not None
        assert row.figures.replies["answered"] > 10
        assert row.figures.writes["acknowledged"] > 5
    (promoted,) = (row for row in rows if "promoted" in row.fault)
    assert "promoted after" in promoted.note


def test_the_page_has_a_row_for_each_fault() -> None:
    page = (Path(__file__).parents[2] / "service" / "containers" / "README.md").read_text(encoding="utf-8")
    assert HEAD in page
    rows = [
        text.split(" | ")[0].removeprefix("| ")
        for text in page.partition(HEAD)[2].split("\n\n")[0].splitlines()
        if text
    ]
    assert rows == [*(fault.name for fault in FAULTS), TWO_ON_ONE_FOLDER]


@pytest.mark.nightly
@pytest.mark.alone
@pytest.mark.needs("redis-server", "faketime")
def test_every_fault_of_the_table_loses_nothing_and_answers_nothing_wrong(tmp_path: Path) -> None:
    rows = [*rows_of(FAULTS, is_brief=False), second_on_one_folder(tmp_path)]
    assert faults_of(rows) == []
    untried = [row.note for row in rows if row.note.startswith("not tried")]
    if untried:
        pytest.skip("; ".join(untried))
