"""Pages that show what commands print: read, and run in one shell."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

INDENT, PROMPT, FURTHER, LEFT_OUT = "    ", "$ ", "> ", "..."
_BETWEEN = "---- the next command ----"
# What is another each time: days and times, digests, ids of requests.
_PASSING = (re.compile(r"\d{4}-\d\d-\d\d(?:T[\d:.]+Z)?"), re.compile(r"sha256:[0-9a-f]{64}|\b[0-9a-f]{32}\b"))
PATIENCE_S = 300.0


class Shown(NamedTuple):
    """A command, and the lines that the page says it prints."""

    command: str
    lines: tuple[str, ...]


def shown_in(text: str) -> list[Shown]:
    """Every command of a page, in its order."""
    shown: list[tuple[list[str], list[str]]] = []
    for block in re.findall(r"(?:^    .*\n|(?<=\n)\n(?=    ))+", text, re.MULTILINE):
        for line in block.strip("\n").splitlines():
            code = line.removeprefix(INDENT)
            if code.startswith(PROMPT):
                shown.append(([code.removeprefix(PROMPT)], []))
            elif code.startswith(FURTHER):
                shown[-1][0].append(code.removeprefix(FURTHER))
            else:
                shown[-1][1].append(code)
    return [Shown("\n".join(command), tuple(_trimmed(lines))) for command, lines in shown]


def printed(commands: Sequence[Shown], *, cwd: Path, env: Mapping[str, str]) -> Iterator[list[str]]:
    """What each prints, errors and progress too, one after another in one shell."""
    script = f"\necho '{_BETWEEN}'\n".join(command for command, _ in commands)
    done = subprocess.run(
        ["sh", "-c", f"exec 2>&1\n{script}"], cwd=cwd, env=env, capture_output=True, text=True, timeout=PATIENCE_S
    )
    for part in done.stdout.split(f"{_BETWEEN}\n"):
        yield _trimmed(part.splitlines())


def agrees(shown: Sequence[str], lines: Sequence[str]) -> bool:
    """Whether what is printed is what is shown, where ``...`` stands for any lines."""
    pattern = "".join(r"(?:.*\n)*?" if line.strip() == LEFT_OUT else re.escape(_lasting(line)) + "\n" for line in shown)
    return re.fullmatch(pattern, "".join(f"{_lasting(line)}\n" for line in lines)) is not None


def _lasting(line: str) -> str:
    for passing in _PASSING:
        line = passing.sub("#", line)
    return line.rstrip()


def _trimmed(lines: list[str]) -> list[str]:
    while lines and not lines[-1].strip():
        lines = lines[:-1]
    return lines
