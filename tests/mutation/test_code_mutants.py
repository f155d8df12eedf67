"""Each slip of ``mutants.toml`` is made in a copy of the project, and its test has to fail there.

The copy's folders go first on PYTHONPATH, before the project that is installed. Making all of them takes minutes, so it
is marked ``nightly``; that the table fits the code is looked at with every change.

The loader asks each rule's examples, so that some slips keep the book from loading and no test from failing by itself.
Of those both is shown: that the book is refused, and that the test fails where a plugin lets examples go unasked.
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
UNASKED = """
from accord_rules.load import examples
examples.failures = lambda book, tried=None: []
"""


@dataclass(frozen=True)
class Mutant:
    """A slip: ``text`` of ``file`` replaced. ``test`` is the id, without parameters, of what has to fail then.

    ``rule``: whose examples then keep the book from loading; "" where it loads.
    """

    slip: str
    file: str
    text: str
    replacement: str
    test: str
    rule: str = ""


def read_mutants() -> Mapping[str, Mutant]:
    table = tomllib.loads(Path(__file__).with_name("mutants.toml").read_text(encoding="utf-8"))
    return {name: Mutant(**entry) for name, entry in table.items()}


MUTANTS = read_mutants()


@dataclass(frozen=True)
class Copy:
    """A copy of the project, and a folder beside it for pytest's report and the plugin ``unasked``."""

    folder: Path
    beside: Path

    def run(self, *words: str, keep_bytecode: bool = False) -> subprocess.CompletedProcess[str]:
        """pytest over the copy, until the first test that fails."""
        env = {name: value for name, value in os.environ.items() if not name.startswith(("ACCORD", "PYTEST"))}
        packages = [self.folder / package for package in ("rules", "service", "clients/python")]
        env["PYTHONPATH"] = os.pathsep.join(map(str, [*packages, self.beside]))
        if not keep_bytecode:
            env["PYTHONDONTWRITEBYTECODE"] = "1"  # a mutant's must not be taken for the file's
        options = ["-x", "-q", "-p", "no:cacheprovider", f"--junitxml={self._report}", "-o", "junit_family=xunit1"]
        return subprocess.run(
            [sys.executable, "-m", "pytest", *options, *words],
            env=env, cwd=self.folder, capture_output=True, text=True, timeout=LONGEST_S, check=False,
        )  # fmt: skip

    @property
    def _report(self) -> Path:
        return self.beside / "report.xml"

    def wrong(self, how: str) -> list[tuple[str, str]]:
        """Of the last run: the id, without parameters, of each test with a "failure", or an "error" before or after
        it, and what that says, its message first."""
        return [
            (f"{case.get('file')}::{case.get('name', '').partition('[')[0]}", f"{fault.get('message')}\n{fault.text}")
            for case in ElementTree.parse(self._report).iter("testcase")
            for fault in case.iter(how)
        ]


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Copy:
    """The project as it is, in which every test of the table passes."""
    project = Copy(tmp_path_factory.mktemp("project"), tmp_path_factory.mktemp("beside"))
    (project.beside / "unasked.py").write_text(UNASKED, encoding="utf-8")
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, project.folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(ROOT / name, project.folder / name)
    done = project.run(*sorted({mutant.test for mutant in MUTANTS.values()}), keep_bytecode=True)
    assert done.returncode == PASSED, done.stdout + done.stderr
    assert "skipped" not in done.stdout.splitlines()[-1], "a test that is skipped stops nothing"
    return project


@pytest.mark.nightly
@pytest.mark.parametrize("name", MUTANTS)
def test_no_mutant_of_the_code_survives(name: str, copy: Copy) -> None:
    mutant = MUTANTS[name]
    file = copy.folder / mutant.file
    file.write_text(_mutated(mutant, file.read_text(encoding="utf-8")), encoding="utf-8")
    try:
        if mutant.rule:
            _is_refused(mutant, copy)
        _is_killed(mutant, copy)
    finally:
        shutil.copy2(ROOT / mutant.file, file)  # with its time, so that what was compiled of it holds again


def _is_refused(mutant: Mutant, copy: Copy) -> None:
    """The book does not load, and the rule is among the reasons."""
    done = copy.run(mutant.test)
    context = f"{mutant.slip}: {mutant.rule}\n{done.stdout[-4000:]}{done.stderr[-2000:]}"
    assert done.returncode == FAILED, context
    ((test, reasons),) = copy.wrong("error")
    assert test == mutant.test, context
    assert "BookError: rules/" in reasons, context
    assert f"/{mutant.rule}.toml: " in reasons, context


def _is_killed(mutant: Mutant, copy: Copy) -> None:
    """The test fails by what it asserts."""
    done = copy.run(*(("-p", "unasked") if mutant.rule else ()), mutant.test)
    context = f"{mutant.slip}: {mutant.test}\n{done.stdout[-4000:]}{done.stderr[-2000:]}"
    assert done.returncode == FAILED, context
    assert copy.wrong("error") == [], context
    ((test, message),) = copy.wrong("failure")
    assert test == mutant.test, context
    assert message.startswith(ASSERTED), context


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
    if mutant.rule:
        assert [*(ROOT / "rules/accord_rules/book/rules").rglob(f"{mutant.rule}.toml")]
    file, _, test = mutant.test.partition("::")
    tests = ast.parse((ROOT / file).read_text(encoding="utf-8")).body
    (function,) = [node for node in tests if isinstance(node, ast.FunctionDef) and node.name == test]
    marks = {ast.unparse(decorator) for decorator in function.decorator_list}
    assert not any(
        f"mark.{marker}" in mark for mark in marks for marker in ("long", "nightly", "needs", "skip", "xfail")
    )
