"""Each slip of ``mutants.toml`` is made in a copy of the project, and its test has to fail there.

The copy's folders go first on PYTHONPATH, before the project that is installed. Making all of them takes minutes, so it
is marked ``nightly``; that the table fits the code is looked at with every change.
"""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[2]
COPIED = ("rules", "service", "clients", "tests", "demo", "pyproject.toml", "machine.py")
# pytest's exit codes, https://docs.pytest.org/en/stable/reference/exit-codes.html
PASSED, FAILED = 0, 1
# How pytest tells what an assertion, a missing exception and pytest.fail said; other errors have their own names.
ASSERTED = ("assert ", "AssertionError", "Failed: ")
LONGEST_S = 240


@dataclass(frozen=True)
class Mutant:
    """A slip: ``text`` of ``file`` replaced. ``test`` is the id, without parameters, of what has to fail then."""

    slip: str
    file: str
    text: str
    replacement: str
    test: str


def read_mutants() -> Mapping[str, Mutant]:
    table = tomllib.loads(Path(__file__).with_name("mutants.toml").read_text(encoding="utf-8"))
    return {name: Mutant(**entry) for name, entry in table.items()}


MUTANTS = read_mutants()


@dataclass(frozen=True)
class Copy:
    """A copy of the project, and a place beside it for reports."""

    folder: Path
    report: Path

    def run(self, *tests: str, keep_bytecode: bool = False) -> subprocess.CompletedProcess[str]:
        """pytest over the copy, until the first test that fails."""
        env = {name: value for name, value in os.environ.items() if not name.startswith(("ACCORD", "PYTEST"))}
        env["PYTHONPATH"] = os.pathsep.join(str(self.folder / each) for each in ("rules", "service", "clients/python"))
        if not keep_bytecode:
            env["PYTHONDONTWRITEBYTECODE"] = "1"  # a mutant's must not be taken for the file's
        words = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider"]
        words += [f"--junitxml={self.report}", "-o", "junit_family=xunit1", *tests]
        return subprocess.run(
            words, env=env, cwd=self.folder, capture_output=True, text=True, timeout=LONGEST_S, check=False
        )

    def failures(self) -> list[tuple[str, str]]:
        """Of the last run: the id of each test that failed, without parameters, and what was wrong."""
        cases = ElementTree.parse(self.report).iter("testcase")
        return [
            (f"{case.get('file')}::{case.get('name', '').partition('[')[0]}", failure.get("message", ""))
            for case in cases
            for failure in case.iter("failure")
        ]


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Copy:
    """The project as it is, in which every test of the table passes."""
    made = Copy(tmp_path_factory.mktemp("project"), tmp_path_factory.mktemp("reports") / "report.xml")
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, made.folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(ROOT / name, made.folder / name)
    done = made.run(*sorted({mutant.test for mutant in MUTANTS.values()}), keep_bytecode=True)
    assert done.returncode == PASSED, done.stdout + done.stderr
    assert "skipped" not in done.stdout.splitlines()[-1], "a test that is skipped stops nothing"
    return made


@pytest.mark.nightly
@pytest.mark.parametrize("name", MUTANTS)
def test_no_mutant_of_the_code_survives(name: str, copy: Copy) -> None:
    mutant = MUTANTS[name]
    file = copy.folder / mutant.file
    file.write_text(_mutated(mutant, file.read_text(encoding="utf-8")), encoding="utf-8")
    try:
        done = copy.run(mutant.test)
    finally:
        shutil.copy2(ROOT / mutant.file, file)  # with its time, so that what was compiled of it holds again
    told = f"{mutant.slip}: {mutant.test}\n{done.stdout[-4000:]}{done.stderr[-2000:]}"
    assert done.returncode == FAILED, told
    (failure,) = copy.failures()
    assert failure[0] == mutant.test, told
    assert failure[1].startswith(ASSERTED), told


def _mutated(mutant: Mutant, source: str) -> str:
    assert source.count(mutant.text) == 1, f"{mutant.file} must hold this exactly once: {mutant.text}"
    return source.replace(mutant.text, mutant.replacement)


@pytest.mark.parametrize("name", MUTANTS)
def test_the_table_fits_the_code(name: str) -> None:
    """A mutant that can no longer be made, or whose test is gone, would stop nothing any more."""
    mutant = MUTANTS[name]
    assert mutant.file.startswith(tuple(f"{folder}/" for folder in COPIED))
    source = (ROOT / mutant.file).read_text(encoding="utf-8")
    mutated = _mutated(mutant, source)
    assert mutated != source
    if mutant.file.endswith(".py"):
        assert ast.dump(ast.parse(mutated)) != ast.dump(ast.parse(source)), "it must read, and say something else"
    file, _, test = mutant.test.partition("::")
    tests = ast.parse((ROOT / file).read_text(encoding="utf-8")).body
    (found,) = [each for each in tests if isinstance(each, ast.FunctionDef) and each.name == test]
    marks = {ast.unparse(each) for each in found.decorator_list}
    assert not any(f"mark.{marker}" in mark for mark in marks for marker in ("nightly", "needs", "skip", "xfail"))
