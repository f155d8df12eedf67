"""What passed its trial on this machine is remembered, and nothing else is. No outside source."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from accord_rules.documents.files import BookError, Documents, shipped
from accord_rules.load import loader
from accord_service.cli import here
from accord_service.cli.main import main
from accord_service.serving import first_start
from accord_service.worker import edition, trials


@pytest.fixture(autouse=True)
def empty_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(first_start, "from_documents", loader.from_documents)
    return tmp_path


RULE = "dye-on-natural-fibre"


@pytest.fixture(scope="module")
def documents() -> Documents:
    """The shipped documents with one rule, since trying them all takes time."""
    whole = shipped()
    return {**whole, "rules": {RULE: whole["rules"][RULE]}}


@pytest.fixture
def untrue(documents: Documents) -> Documents:
    """The same with examples that say the opposite."""
    rule = documents["rules"][RULE]
    return {**documents, "rules": {RULE: {**rule, "fires": rule["silent"], "silent": rule["fires"]}}}


def test_only_the_same_documents_and_trial_are_remembered(documents: Documents, untrue: Documents) -> None:
    trials.remember(trials.EXAMPLES, documents)
    assert trials.passed(trials.EXAMPLES, documents)
    assert not trials.passed(trials.WHOLE, documents)
    assert not trials.passed(trials.EXAMPLES, untrue)


def test_other_code_remembers_nothing_of_it(documents: Documents, monkeypatch: pytest.MonkeyPatch) -> None:
    trials.remember(trials.WHOLE, documents)
    monkeypatch.setattr(trials, "trier", lambda: "sha256:" + "0" * 64)
    assert not trials.passed(trials.WHOLE, documents)


def test_a_cache_that_can_not_be_written_is_no_failure(
    documents: Documents, empty_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = empty_cache / "taken"
    file.touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(file))
    trials.remember(trials.WHOLE, documents)
    assert not trials.passed(trials.WHOLE, documents)


def test_without_a_home_nothing_is_remembered(documents: Documents, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("XDG_CACHE_HOME")

    def nowhere() -> Path:
        raise RuntimeError("no home")

    monkeypatch.setattr(Path, "home", nowhere)
    trials.remember(trials.WHOLE, documents)
    assert not trials.passed(trials.WHOLE, documents)


def test_what_another_user_put_there_or_points_elsewhere_counts_for_nothing(
    documents: Documents, empty_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trials.remember(trials.WHOLE, documents)
    monkeypatch.setattr(trials.os, "geteuid", lambda: empty_cache.stat().st_uid + 1)
    assert not trials.passed(trials.WHOLE, documents)
    monkeypatch.undo()
    monkeypatch.setenv("XDG_CACHE_HOME", str(empty_cache))
    assert trials.passed(trials.WHOLE, documents)
    (mark,) = (file for file in empty_cache.rglob("*") if file.is_file())
    mark.rename(empty_cache / "elsewhere")
    mark.symlink_to(empty_cache / "elsewhere")
    assert not trials.passed(trials.WHOLE, documents)


def test_a_relative_cache_is_ignored(documents: Documents, empty_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG base directory specification, from memory: a relative path is invalid and to be ignored."""
    monkeypatch.setenv("XDG_CACHE_HOME", "here")
    monkeypatch.setenv("HOME", str(empty_cache / "home"))
    (empty_cache / "checkout").mkdir()
    monkeypatch.chdir(empty_cache / "checkout")
    trials.remember(trials.WHOLE, documents)
    assert not any(Path.cwd().iterdir())
    assert any((empty_cache / "home" / ".cache").iterdir())


def test_a_first_start_tries_once(documents: Documents, monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[Any] = []
    monkeypatch.setattr(first_start, "try_rules", tried.append)
    assert first_start._tried_by(documents) == trials.trier() == first_start._tried_by(documents)
    assert len(tried) == 1


def test_a_first_start_refuses_what_fails_and_does_not_remember_it(untrue: Documents) -> None:
    for _ in range(2):
        with pytest.raises(BookError, match=RULE):
            first_start._tried_by(untrue)
    assert not trials.passed(trials.WHOLE, untrue)


def test_a_red_self_test_is_not_remembered(documents: Documents, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(first_start, "try_rules", lambda book: None)
    monkeypatch.setattr(edition, "_self_test", lambda authority, one_in: "red")
    assert first_start._tried_by(documents) == ""
    assert not trials.passed(trials.WHOLE, documents)


def test_the_command_tries_a_book_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(here, "_shipped", here._shipped.__wrapped__)
    trial_count: list[Any] = []
    monkeypatch.setattr(loader.examples, "failures", lambda book, tried: trial_count.append(tried is None) or [])
    for _ in range(2):
        assert CliRunner().invoke(main, ["words", "--shipped"]).exit_code == 0
    assert trial_count == [True, False]
