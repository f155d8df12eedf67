"""What reaches the terminal: width, characters, colour."""

from __future__ import annotations

import json
import os
import pty
from collections.abc import Callable
from typing import Any

import pytest

from accord_service.cli.output import Output, colour_wanted, few

JOB = {
    "reference": "R\u00fcckruf \u2192 1",
    "item": {"blank": "tee-heavy-white"},
    "decorations": [{"transfer": "dye-sublimation", "settings": {"temperature": "392 \u00b0F"}}],
    "press": "bench",
}


def written(capsys: pytest.CaptureFixture[str], output: Output, text: str, **more: Any) -> list[str]:
    output.say(text, **more)
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("width", range(20, 60))
def test_a_number_is_never_torn_from_its_unit(capsys: pytest.CaptureFixture[str], width: int) -> None:
    lines = written(capsys, Output(width, "utf-8"), "Press at 392 °F for 70 s with 40 psi, then cool to 50 °C again.")
    assert all(len(line) <= width for line in lines)
    assert all(any(quantity in line for line in lines) for quantity in ("392 °F", "70 s", "40 psi", "50 °C"))


def test_further_lines_hang_below_the_first(capsys: pytest.CaptureFixture[str]) -> None:
    lines = written(capsys, Output(40, "utf-8"), "one two three four five six seven eight nine ten", lead="  - ")
    assert lines[0].startswith("  - one")
    assert len(lines) > 1
    assert all(line.startswith("    ") and line[4] != " " for line in lines[1:])


def test_a_plain_terminal_gets_spellings_that_orders_take(capsys: pytest.CaptureFixture[str]) -> None:
    (line,) = written(capsys, Output(80, "ascii"), "160 °C ± 4 K, 180 g/m² → ſ")
    assert line == "160 degC +- 4 K, 180 g/m2 -> ?"


def test_a_file_name_cannot_steer_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    (line,) = written(capsys, Output(80, "utf-8"), "a\x1b[2Jb\u202ec")
    assert line == "a [2Jb c"


def test_few() -> None:
    assert few(["a", "b"], 2) == "a, b"
    assert few(["a", "b", "c", "d"], 2) == "a, b and 2 more"


@pytest.mark.parametrize("columns", ["60", "80", "120"])
@pytest.mark.parametrize("command", ["validate", "recommend"])
def test_the_width_is_kept(accord: Any, command: str, columns: str) -> None:
    job = {name: value for name, value in JOB.items() if name != "reference"}
    done = accord(command, "-", stdin=json.dumps(job), COLUMNS=columns)
    longest = max(map(len, done.stdout.splitlines()))
    assert longest <= int(columns)
    assert longest > int(columns) * 0.7


def test_in_ascii_every_byte_is(own_process: Any, order: Callable[..., str]) -> None:
    done = own_process("validate", "--shipped", order("job", JOB | {"press": "bench-99"}), PYTHONIOENCODING="ascii")
    assert done.returncode == 2
    assert done.stdout.isascii()
    assert done.stderr == b""
    raw = own_process(
        "validate", "--shipped", "--json", order("job", JOB | {"press": "swing-away"}), PYTHONIOENCODING="ascii"
    )
    assert raw.stdout.isascii()
    assert json.loads(raw.stdout)[0]["reference"] == JOB["reference"]


def test_no_colour_where_nobody_sees_it(accord: Any, order: Callable[..., str]) -> None:
    assert "\x1b" not in accord("validate", order("job", JOB)).stdout


@pytest.mark.long
def test_colour_on_a_terminal_unless_unwanted(started: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def shown(**changed: str) -> bytes:
        ours, theirs = pty.openpty()
        arguments = ["validate", "--shipped", "--brief", "no-such-file.json"]
        process = started(*arguments, stdout=theirs, stderr=theirs, **{"TERM": "xterm", **changed})
        os.close(theirs)
        process.wait(60)
        output = os.read(ours, 10_000)
        os.close(ours)
        return output

    assert b"\x1b[31m" in shown()
    unwanted = shown(NO_COLOR="1")
    assert b"unread" in unwanted
    assert b"\x1b" not in unwanted
    monkeypatch.delenv("NO_COLOR", raising=False)
    for terminal, wanted in (("xterm", None), ("dumb", False)):
        monkeypatch.setenv("TERM", terminal)
        assert colour_wanted() is wanted
