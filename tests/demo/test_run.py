"""``demo/run.py`` where something is in its way: one sentence, no traceback. No outside source."""

from __future__ import annotations

import contextlib
import socket
import sys
from pathlib import Path

import pytest

from accord_client import Client
from accord_service.store import EmbeddedServer
from demo import run


def words(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> None:
    monkeypatch.setattr(sys, "argv", ["run.py", *arguments])


@pytest.mark.long
def test_a_port_that_was_taken_meanwhile_is_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        monkeypatch.setattr(run, "_free_port", lambda: port)
        monkeypatch.setattr(run, "PORT_TRIES", 1)
        words(monkeypatch)
        assert run.main() == 2
    assert capsys.readouterr().err == f"the day could not be run: port {port} is in use by another program\n"


def test_another_port_is_tried_when_one_was_taken_meanwhile(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[int] = []

    def started_on(port: int, env: object, keys: object) -> object:
        started.append(port)
        if len(started) < 3:
            raise run.PortTaken("taken")
        return contextlib.nullcontext(f"http://127.0.0.1:{port}")

    ports = iter((1, 2, 3))
    monkeypatch.setattr(run, "_free_port", lambda: next(ports))
    monkeypatch.setattr(run, "started_on", started_on)
    with run._started({}, Path()) as url:
        assert url == "http://127.0.0.1:3"
    assert started == [1, 2, 3]


def test_a_service_that_is_not_there_is_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "mill-steps-counter").write_text("a" * 16 + "." + "b" * 43, encoding="ascii")
    monkeypatch.setattr(run, "ANSWER_SECONDS", 0.2)
    words(monkeypatch, "--url", "http://127.0.0.1:9", "--keys", str(tmp_path))
    assert run.main() == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("the day could not be run: the service at http://127.0.0.1:9 was not ready")


def test_a_store_that_is_not_there_is_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    words(monkeypatch, "--store", "http://127.0.0.1:9")
    assert run.main() == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "the store's address must start with one of redis" in line


@pytest.mark.long
def test_a_store_of_ones_own_serves_day_after_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a machine for which none comes along: the second time the keys of the first are there still."""
    monkeypatch.setattr(run, "KEPT_DATA", tmp_path / "kept")
    monkeypatch.setenv("ACCORD_WORKERS", "1")
    monkeypatch.setenv("ACCORD_JOB_PROCESSES", "0")
    server = EmbeddedServer.start(tmp_path / "store")
    try:
        keys = []
        for _ in range(2):
            with run.service(server.url) as (url, folder), Client(url, run.token("kiln-corner", folder)) as accord:
                assert accord.shop().document["id"] == "kiln-corner"
                keys.append(run.token("kiln-corner", folder))
        assert keys[0] == keys[1]
        assert server.pid is not None, "another's store is left running"
    finally:
        server.stop()


def test_the_three_orders_shown_first_tell_something_each() -> None:
    verdicts = [run.expectations()[name]["verdict"] for name in run.TELLING]
    assert verdicts == ["accepted", "rejected", "conditional"]
