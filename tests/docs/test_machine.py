"""What is said on a machine that lacks something, before anything is built; and what names what. No outside source."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import machine
import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def bare_path(tmp_path: Path) -> Path:
    """A folder for PATH with make, a shell and this Python: no compiler, nothing else."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in ("make", "sh", "env", "sed", "touch", "rm"):
        tool = next(Path(at, name) for at in os.environ["PATH"].split(os.pathsep) if Path(at, name).exists())
        (folder / name).symlink_to(tool)
    (folder / "python3").symlink_to(Path(sys.executable).resolve())
    return folder


def make(target: str, path: Path, tmp_path: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    words = [str(path / "make"), "-C", str(ROOT), "--no-print-directory", f"VENV={tmp_path / 'venv'}", target]
    env = {"PATH": str(path), "HOME": str(tmp_path), **environment}
    return subprocess.run(words, env=env, capture_output=True, text=True, timeout=60, check=False)


@pytest.mark.parametrize("target", ["demo", "test", "serve"])
def test_a_missing_compiler_is_one_sentence(target: str, bare_path: Path, tmp_path: Path) -> None:
    done = make(target, bare_path, tmp_path)
    assert done.returncode == 2
    sentence, *rest = done.stderr.splitlines()
    assert sentence.startswith("A C compiler is needed to build durable-rules")
    assert "Debian: gcc" in sentence
    assert [line for line in rest if not line.startswith("make")] == []
    assert not (tmp_path / "venv").exists(), "something was made before it was known that it can be built"


def test_a_python_that_is_too_old_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 10, 13))
    (sentence,) = machine.faults()
    assert "is Python 3.10; 3.11, 3.12 or 3.13 is needed: make PYTHON=" in sentence
    monkeypatch.setattr(sys, "version_info", (3, 14, 0))
    assert "is Python 3.14;" in machine.faults()[0]


def test_the_pythons_are_those_of_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    least, beyond = (".".join(map(str, version)) for version in (machine.LEAST, machine.BEYOND))
    assert project["requires-python"] == f">={least},<{beyond}"


def test_headers_and_venv_are_missed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert machine.faults() == []
    monkeypatch.setattr(machine.sysconfig, "get_paths", lambda: {"include": str(tmp_path)})
    monkeypatch.setattr(machine.importlib.util, "find_spec", lambda name: None)
    venv, headers = machine.faults()
    assert "install its venv (Debian: python3." in venv
    assert "Python's headers are needed" in headers


def test_programs_and_packages_are_listed_for_the_shell(tmp_path: Path) -> None:
    def listed(word: str, path: Path, **more: str) -> str:
        words = [sys.executable, str(ROOT / "machine.py"), word]
        env = {"PATH": str(path), **more}
        return subprocess.run(words, env=env, capture_output=True, text=True, timeout=60, check=True).stdout

    assert listed("programs", tmp_path).split() == list(machine.PROGRAMS)
    assert listed("missing", tmp_path).split() == list(machine.PROGRAMS.values())
    by_night = [*machine.PROGRAMS.values(), *machine.NIGHTLY_PROGRAMS.values()]
    assert listed("missing", tmp_path, ACCORD_NIGHTLY="1").split() == by_night
    (tmp_path / "chromedriver").touch(mode=0o755)
    assert "chromium-driver" not in listed("missing", tmp_path).split()
    unknown = subprocess.run([sys.executable, str(ROOT / "machine.py")], capture_output=True, timeout=60, check=False)
    assert unknown.returncode == 2


def test_readme_and_ci_name_the_programs_and_nothing_is_named_twice() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [program for program in machine.PROGRAMS if f"`{program}`" not in readme] == []
    ci = "".join(file.read_text(encoding="utf-8") for file in (ROOT / ".ci").iterdir())
    assert "machine.py missing" in ci
    assert [package for package in machine.PROGRAMS.values() if package in ci] == [], "machine.py is their one home"
