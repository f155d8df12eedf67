"""The account that ``tests/suite.py`` gives, and the markers it goes by, tried on small suites of their own."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from tests import suite
from tests.markers import GATES, LONGEST

ROOT = Path(__file__).parents[2]
SUITE = """
import pytest

def test_passes(): pass

@pytest.mark.alone
def test_by_itself(): pass

@pytest.mark.alone
@pytest.mark.one_core
def test_that_waits(): pass

@pytest.mark.nightly
def test_of_the_night(): pass

@pytest.mark.long
def test_long(): pass

@pytest.mark.long
def test_long_too(): pass

@pytest.mark.needs("redis-server")
def test_store(): pass

@pytest.mark.needs("redis-server")
def test_store_too(): pass

@pytest.fixture(params=["own", pytest.param("other", marks=pytest.mark.needs("chromium", "chromedriver"))])
def program(request): return request.param

def test_page(program): pass
"""
LEFT_FOR_CI = "left for CI, which runs them with every change (ACCORD_LONG=1): 2 tests"
LEFT_FOR_THE_NIGHT = "left for the night (make nightly): 1 test"


@pytest.fixture
def bare_path(tmp_path: Path) -> str:
    """A PATH without any program of machine.py's."""
    (tmp_path / "bin").mkdir()
    return str(tmp_path / "bin")


def run_suite(tmp_path: Path, path: str, text: str = SUITE, **environment: str) -> subprocess.CompletedProcess[str]:
    """``tests/suite.py`` over a folder with this project's own markers and one file of tests."""
    folder = tmp_path / "suite"
    folder.mkdir()
    hooks = "pytest_collection_modifyitems, pytest_ignore_collect, pytest_runtest_setup"
    (folder / "conftest.py").write_text(f"from tests.markers import {hooks}\n", encoding="utf-8")
    (folder / "test_small.py").write_text(text, encoding="utf-8")
    env = {name: value for name, value in os.environ.items() if not name.startswith(("ACCORD", "PYTEST"))}
    env |= {"PATH": path, "PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path]), **environment}
    env["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # some that are installed take a second to load
    words = [sys.executable, str(ROOT / "tests" / "suite.py"), "-c", str(ROOT / "pyproject.toml"), str(folder)]
    words += ["-p", "xdist", "-p", "no:cacheprovider", "-n", "0"]  # one process is enough for a file
    return subprocess.run(words, env=env, cwd=tmp_path, capture_output=True, text=True, timeout=240, check=False)


def test_what_could_not_run_stands_in_the_last_lines(tmp_path: Path, bare_path: str) -> None:
    done = run_suite(tmp_path, bare_path)
    assert done.returncode == 0, done.stdout + done.stderr
    redis, pages, *left, closing = done.stdout.splitlines()[-5:]
    assert redis == "not run here: 2 tests need redis-server (package redis-server)"
    assert pages == "not run here: 1 test needs chromedriver (package chromium-driver) and chromium (package chromium)"
    assert left == [LEFT_FOR_CI, LEFT_FOR_THE_NIGHT]
    assert re.fullmatch(r"=+ 4 passed, 3 skipped in [\d.]+s \(0:\d\d:\d\d\) =+", closing)


def test_nothing_may_be_left_out_where_all_must_run(tmp_path: Path, bare_path: str) -> None:
    done = run_suite(tmp_path, bare_path, ACCORD_ALL="1")
    assert done.returncode == 1
    assert re.fullmatch(r"=+ 3 failed, 4 passed in .*=+", done.stdout.splitlines()[-1])
    assert done.stdout.count("needs redis-server (package redis-server)") >= 2
    failed = [line for line in done.stdout.splitlines() if line.startswith("failed: ")]
    assert [line.rpartition("::")[2] for line in failed][:2] == ["test_store", "test_store_too"]


def test_any_other_skip_is_no_better_where_all_must_run(tmp_path: Path, bare_path: str) -> None:
    text = "import pytest\ndef test_fine(): pass\ndef test_hidden(): pytest.skip('some day')\n"
    done = run_suite(tmp_path, bare_path, text, ACCORD_ALL="1")
    assert done.returncode == 1
    assert "not run here: 1 test: some day" in done.stdout.splitlines()


@pytest.mark.parametrize(
    ("tier", "passed", "left"),
    [
        ({"ACCORD_LONG": "1"}, 6, [LEFT_FOR_THE_NIGHT]),
        pytest.param({"ACCORD_NIGHTLY": "1"}, 7, [], marks=pytest.mark.long),
    ],
)
def test_longer_tests_run_when_asked_for(
    tier: dict[str, str], passed: int, left: list[str], tmp_path: Path, bare_path: str
) -> None:
    done = run_suite(tmp_path, bare_path, **tier)
    assert done.returncode == 0, done.stdout + done.stderr
    *lines, closing = done.stdout.splitlines()
    assert f"{passed} passed, 3 skipped" in closing
    assert [line for line in lines if line.startswith("left for ")] == left


def test_a_failure_in_the_first_run_does_not_hide_the_second(tmp_path: Path, bare_path: str) -> None:
    text = "import pytest\ndef test_wrong(): assert 0\n@pytest.mark.alone\ndef test_wrong_too(): assert 0\n"
    done = run_suite(tmp_path, bare_path, text)
    assert done.returncode == 1
    first, second, closing = done.stdout.splitlines()[-3:]
    assert (first.rpartition("::")[2], second.rpartition("::")[2]) == ("test_wrong", "test_wrong_too")
    assert re.fullmatch(r"=+ 2 failed in .*=+", closing)


@pytest.mark.parametrize(
    ("markers", "loaded"),
    [
        ("", 1),
        pytest.param("@pytest.mark.alone", 2, marks=pytest.mark.long),
        ("@pytest.mark.alone\n@pytest.mark.one_core", 2),
    ],
)
def test_later_runs_load_only_files_that_have_tests_for_them(
    tmp_path: Path, bare_path: str, markers: str, loaded: int
) -> None:
    log = tmp_path / "loaded"
    noted = f"import pytest\nwith open({str(log)!r}, 'a') as log: log.write('x')\n"
    text = f"{noted}{markers}\ndef test_one(): pass\n\ndef test_two(): pass\n"
    done = run_suite(tmp_path, bare_path, text)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "2 passed" in done.stdout.splitlines()[-1]
    assert len(log.read_text(encoding="utf-8")) == loaded


@pytest.mark.parametrize(
    ("free_bytes", "flags", "available_kib", "is_used"),
    [
        (suite.WRITTEN_MOST_BYTES, 0, 2 * suite.WRITTEN_MOST_BYTES // 1024, True),
        (
            64 * 1024**2,
            0,
            2 * suite.WRITTEN_MOST_BYTES // 1024,
            False,
        ),  # a container has this
        (suite.WRITTEN_MOST_BYTES, os.ST_NOEXEC, 2 * suite.WRITTEN_MOST_BYTES // 1024, False),
        (suite.WRITTEN_MOST_BYTES, 0, 1024**2, False),
    ],
    ids=["room", "little room", "no programs", "little memory"],
)
def test_tests_write_to_memory_only_where_there_is_room(
    free_bytes: int, flags: int, available_kib: int, is_used: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(suite.shutil, "disk_usage", lambda _: SimpleNamespace(free=free_bytes))
    monkeypatch.setattr(suite.os, "statvfs", lambda _: SimpleNamespace(f_flag=flags))
    monkeypatch.setattr(suite.os, "access", lambda *_: True)
    monkeypatch.setattr(suite.Path, "read_text", lambda _: f"MemTotal: 1 kB\nMemAvailable:   {available_kib} kB\n")
    assert (suite.folder_in_memory() is not None) == is_used


def test_no_test_at_all_is_a_failure(tmp_path: Path, bare_path: str) -> None:
    done = run_suite(tmp_path, bare_path, "")
    assert done.returncode == 1
    assert "no tests ran" in done.stdout.splitlines()[-1]


def test_a_file_that_cannot_be_read_is_a_failure(tmp_path: Path, bare_path: str) -> None:
    done = run_suite(tmp_path, bare_path, SUITE + "import nothing_of_the_kind\n")
    assert done.returncode != 0
    assert " failed" in done.stdout.splitlines()[-1]


@pytest.mark.parametrize(("environment", "length"), [({}, 1), ({"ACCORD_LONG": "1"}, 2), ({"ACCORD_NIGHTLY": "1"}, 3)])
def test_a_draw_is_as_long_as_its_run(environment: dict[str, str], length: int) -> None:
    env = {name: value for name, value in os.environ.items() if not name.startswith("ACCORD")} | environment
    words = [sys.executable, "-c", "from tests.tiers import of_this_run; print(of_this_run(1, 2, 3))"]
    assert subprocess.check_output(words, cwd=ROOT, env=env, text=True).strip() == str(length)


def test_no_gate_is_left_for_ci() -> None:
    gates = [
        file
        for gate in GATES
        for file in ((ROOT / gate).rglob("test_*.py") if (ROOT / gate).is_dir() else [ROOT / gate])
    ]
    assert len(gates) > len(GATES)
    assert [file.name for file in gates if "mark.long" in file.read_text(encoding="utf-8")] == []


def test_ci_runs_what_is_left_for_it() -> None:
    assert "export ACCORD_ALL=1 ACCORD_LONG=1" in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_the_files_that_start_first_and_the_gates_are_there() -> None:
    assert LONGEST
    assert GATES
    assert [name for name in (*LONGEST, *GATES) if not (ROOT / name).exists()] == []
