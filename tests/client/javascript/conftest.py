"""The JavaScript client, run by Node and told what to ask; the services are those of the Python client's tests."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
CLIENT = Path(__file__).parents[3] / "clients" / "javascript"


@dataclass(frozen=True)
class Asked:
    """What came of each call, {"value", "workable"} or {"error"}, and how long was waited between tries."""

    outcomes: list[dict[str, Any]]
    waits: list[float]

    @property
    def value(self) -> Any:
        (outcome,) = self.outcomes
        assert "value" in outcome, outcome["error"]
        return outcome["value"]

    @property
    def error(self) -> Any:
        (outcome,) = self.outcomes
        assert "error" in outcome, outcome["value"]
        return outcome["error"]


def call(method: str, *args: Any, take: int | None = None) -> dict[str, Any]:
    return {"method": method, "args": list(args), "take": take}


def ask(url: str, token: str, *calls: dict[str, Any], **options: Any) -> Asked:
    """Make these calls from Node."""
    told = {"url": url, "token": token, "options": options, "calls": calls}
    return Asked(**json.loads(node(str(HERE / "ask.mjs"), said=json.dumps(told))))


def node(*words: str, said: str = "", folder: Path = HERE, **environment: str) -> str:
    """What Node wrote to standard output. Fails where it failed."""
    program = shutil.which("node")
    assert program is not None, "the test is not marked needs('node')"
    done = subprocess.run(
        [program, *words],
        input=said,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        cwd=folder,
        env={"PATH": str(Path(program).parent), "HOME": str(folder), **environment},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
