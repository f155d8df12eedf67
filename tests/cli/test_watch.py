"""``accord watch`` against a real service: each line once, and asked on while the service is away."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Accord, Served, token_in

from accord_service.cli import watch


def test_what_happened_is_told_once(accord: Accord, served: Served, data: Path) -> None:
    begun = accord("watch", "--once")
    assert begun.exit_code == 0, begun.output
    assert begun.stdout == ""
    since = begun.stderr.split("--since ")[1].split()[0]
    owner = {"ACCORD_TOKEN": token_in(data, "mill-loft-owner")}
    issued = accord("key", "issue", "mill-loft", "counter", "--holder", "Nia Calder", **owner)
    assert issued.exit_code == 0, issued.output
    line = accord("watch", "--once", "--since", since, **owner).stdout.rstrip("\n")
    number, at, text = line.split("\t")
    assert int(number) > int(since)
    assert len(at) == len("2026-03-02 09:30")
    assert text.startswith("A key was issued: key_")
    assert text.endswith("(The owner, mill-loft)")
    (item,) = map(json.loads, accord("watch", "--once", "--json", "--since", since, **owner).stdout.splitlines())
    assert item["event"] == "key.issued"
    assert accord("watch", "--once", "--since", since).stdout == "", "no news to a counter"
    assert accord("watch", "--once", "--since", number, **owner).stdout == ""


def test_a_service_that_is_away_is_asked_on(accord: Accord, monkeypatch: pytest.MonkeyPatch) -> None:
    """Said once, and nothing is lost: it goes on with the number that it had."""
    asked: list[Any] = []
    answers = iter(
        [
            {"items": [], "seq": 7, "more": False, "proposals_waiting": []},
            watch.Failure("No answer: gone."),
            watch.Failure("No answer: gone."),
            {"items": [], "seq": 9, "more": False, "proposals_waiting": []},
        ]
    )

    def news(self: Any, since: int | None = None) -> Any:
        asked.append(since)
        answer = next(answers, None)
        if answer is None:
            raise KeyboardInterrupt
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr("accord_client.governance.Governance.news", news)
    monkeypatch.setattr(watch.time, "sleep", lambda seconds: asked.append(f"{seconds} s"))
    result = accord("watch", "--every", "5")
    assert asked == [None, "5 s", 7, "5 s", 7, "5 s", 7, "5 s", 9]
    assert result.stderr.count("No answer: gone.") == 1
    assert result.stderr.count("answers again") == 1
