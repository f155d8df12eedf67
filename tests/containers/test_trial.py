"""The container files, really built and run: minutes, root and a container engine, so by night alone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import machine
import pytest
from tests.containers import trial

ROOT = Path(__file__).parents[2]
LIMIT_S = 3600


def run(*words: str, **env: str) -> subprocess.CompletedProcess[str]:
    path = {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    command = [sys.executable, "-m", "tests.containers.trial", *words]
    return subprocess.run(
        command, cwd=ROOT, env=os.environ | path | env, capture_output=True, text=True, timeout=LIMIT_S, check=False
    )


@pytest.mark.nightly
@pytest.mark.alone
@pytest.mark.needs(*machine.CONTAINERS)
@pytest.mark.skipif(os.geteuid() != 0, reason="only root can start a container engine")
def test_the_compose_file_runs_as_it_says() -> None:
    done = run()
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
    told = [text.partition(":")[0] for text in done.stdout.splitlines()]
    assert {step.__name__.replace("_", " ") for step in trial.STEPS} <= set(told)


def test_a_missing_program_is_one_sentence_with_its_package(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setenv("PATH", str(tmp_path))
    why = trial.not_possible()
    assert why is not None
    assert [why.count(f"{program} (package {package})") for program, package in machine.CONTAINERS.items()] == [1, 1, 1]


def test_who_is_not_root_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert trial.not_possible() == "Only root can start a container engine and make its images: run it with sudo."


def test_the_file_that_is_run_is_the_one_in_the_repository_but_for_ports_and_password(tmp_path: Path) -> None:
    document = trial.for_the_trial({"service-a": 1111, "service-b": 2222}, tmp_path / "password")
    assert set(document["services"]) == {*trial.SERVICES, *trial.STORES, *trial.SENTINELS}
    assert document["secrets"] == {"store-password": {"file": str(tmp_path / "password")}}
    assert set(document) == {"services", "networks", "volumes", "secrets"}
    assert document["services"]["service-a"]["ports"] == ["127.0.0.1:1111:8080"]
    assert "build" not in document["services"]["service-a"]
    assert document["services"]["store-a"]["mem_limit"] == "1g"


def test_rules_for_packets_that_were_never_touched_are_restored_as_empty() -> None:
    assert trial.with_policies("").count("ACCEPT [0:0]") == 7
    there = "*filter\n:INPUT DROP [0:0]\nCOMMIT\n*nat\n:OUTPUT ACCEPT [0:0]\nCOMMIT\n"
    assert trial.with_policies(there) == there
