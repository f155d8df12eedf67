"""README's shell blocks, run word for word in a copy of what git tracks, as a newcomer would run them after cloning.

Two things are otherwise than for a newcomer. The environment that ``make`` sets up is there already: third-party
packages are lent from the running one, the project itself is installed from the copy; ``.ci/run`` sets up a real one.
And ``make test`` runs one file alone, in one process (PYTEST_ADDOPTS), since this file is part of the whole. The port
is another one where 8080 is taken. No outside source.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import sysconfig
import textwrap
import time
import urllib.error
import urllib.request
import venv
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import pytest
from tests.docs.forking import command_at

from accord_rules.revision.book import Book

pytestmark = pytest.mark.needs("curl", "git")

# What the commands do, demo/test_run.py, docs/test_suite.py and the tests of cli hold; that the page says it, CI.
LONG = pytest.mark.long
ROOT = Path(__file__).parents[2]
START_S, BLOCK_S = 120.0, 300.0
PORT = 8080
ONE_FILE = "tests/rules/published/test_units.py"
BETWEEN = "---- the next block ----"


def blocks() -> list[str]:
    """Every indented block of README, in its order. The page has no other code than what a shell runs."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    indented = re.findall(r"(?:^    .*\n|(?<=\n)\n(?=    ))+", text, re.MULTILINE)
    return [textwrap.dedent(block).strip("\n") for block in indented]


SETUP, SERVE, *ASKS = blocks()


def run(words: Sequence[str | Path], **how: object) -> str:
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, timeout=BLOCK_S, **how)  # type: ignore[call-overload]
    assert done.returncode == 0, f"{words}\n{done.stdout}\n{done.stderr}"
    return str(done.stdout)


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What git tracks, as it stands in the working tree, with an environment of its own where ``make`` puts it."""
    clone = tmp_path_factory.mktemp("newcomer") / "platen-accord"
    for name in run(["git", "-c", "safe.directory=*", "ls-files", "-z"], cwd=ROOT).split("\0"):
        if (ROOT / name).is_file():
            (clone / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, clone / name)
    home = clone / ".venv"
    venv.EnvBuilder(with_pip=False).create(home)
    wheels = clone.parent / "wheels"
    options = ("--no-deps", "--no-index", "--quiet", "--disable-pip-version-check")
    for source in (clone, clone / "clients" / "python"):
        run([sys.executable, "-m", "pip", "wheel", "--no-build-isolation", *options, "--wheel-dir", wheels, source])
    run([sys.executable, "-m", "pip", "--python", home / "bin" / "python", "install", *options, *wheels.iterdir()])
    inside = run([home / "bin" / "python", "-I", "-c", "import sysconfig; print(sysconfig.get_paths()['purelib'])"])
    lent = sorted({sysconfig.get_paths()["purelib"], sysconfig.get_paths()["platlib"]})
    Path(inside.strip(), "zz-lent.pth").write_text("\n".join(lent) + "\n", encoding="utf-8")
    for done in (".run", ".dev"):
        (home / done).touch()
    return clone


@pytest.fixture(scope="module")
def environment(clone: Path) -> Mapping[str, str]:
    """A newcomer's: nothing of this suite's, nothing of the environment it runs in."""
    own = ("ACCORD_", "PROMETHEUS_", "PYTEST_", "PYTHON", "MAKE", "MFLAGS", "VIRTUAL_ENV", "VENV", "STORE", "PORT")
    inherited = {name: value for name, value in os.environ.items() if not name.startswith(own)}
    path = [folder for folder in inherited["PATH"].split(os.pathsep) if Path(folder) != Path(sys.executable).parent]
    return inherited | {"PATH": os.pathsep.join(path), "HOME": str(clone.parent), "no_proxy": "*"}


def test_the_page_has_the_blocks_that_are_run() -> None:
    assert "make demo" in SETUP
    assert "make test" in SETUP
    assert SERVE.startswith("make serve")
    assert len(ASKS) == 5
    assert sum(block.count("accord ") for block in ASKS) >= 5


@LONG
def test_both_commands_pass_and_say_what_they_do(clone: Path, environment: Mapping[str, str]) -> None:
    output = run(["sh", "-ec", SETUP], cwd=clone, env=environment | {"PYTEST_ADDOPTS": f"{ONE_FILE} --maxprocesses=1"})
    demo, _, tested = output.partition("test session starts")
    progress, title, rest = demo.partition("== The day ")
    assert title
    assert all(doing in progress for doing in ("Seeding a store", "Sending", "Asking for"))
    assert re.search(r"^\d+ orders: .*\nevery verdict as expected$", rest, re.MULTILINE)
    parts = re.findall(r"^== (.+?) =+$", demo, re.MULTILINE)
    assert parts[:2] == ["The day", "Three of them"]
    assert parts[-1] == "Recommended"
    three = rest.partition("== Three of them")[2].partition("\n== ")[0]
    assert re.findall(r"^  \d{3}-\S+ +(\w+)$", three, re.MULTILINE) == ["accepted", "rejected", "conditional"]
    assert re.fullmatch(r"=+ \d+ passed in [\d.]+s \([\d:]+\) =+", tested.splitlines()[-1])


@pytest.fixture(scope="module")
def port() -> int:
    """The page's, or another one where a program listens there already."""
    with socket.socket() as probe, contextlib.suppress(OSError):
        probe.bind(("127.0.0.1", PORT))
        return PORT
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture(scope="module")
def served(clone: Path, environment: Mapping[str, str], port: int) -> Iterator[None]:
    """``make serve``, until Ctrl-C."""
    log = clone.parent / "served.log"
    env = environment if port == PORT else {**environment, "PORT": str(port)}
    with log.open("wb") as out, subprocess.Popen(
        ["sh", "-ec", SERVE], cwd=clone, env=env, stdout=out, stderr=out, start_new_session=True
    ) as process:  # fmt: skip
        try:
            wait_until_ready(f"http://127.0.0.1:{port}", process, log)
            yield
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGINT)
            process.wait(60)


def wait_until_ready(url: str, process: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        assert process.poll() is None, log.read_text(encoding="utf-8")
        try:
            with urllib.request.urlopen(f"{url}/readyz", timeout=10):
                return
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            time.sleep(0.2)
    pytest.fail(f"make serve is not ready after {START_S:.0f} s: {log.read_text(encoding='utf-8')}")


@pytest.fixture(scope="module")
def answers(clone: Path, environment: Mapping[str, str], port: int, served: None) -> list[str]:
    """What each block prints, all run one after another in one shell that stops at the first command that fails."""
    script = f"\necho\necho '{BETWEEN}'\n".join(ASKS).replace(str(PORT), str(port))
    programs = clone / ".venv" / "bin"
    run([programs / "accord", "--version"], env=environment)
    with command_at(programs / "accord", programs / "python", environment):
        return run(["sh", "-ec", script], cwd=clone, env=environment).split(BETWEEN)


@LONG
def test_asking_by_curl_is_answered_as_the_page_says(answers: list[str]) -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    verdict = json.loads(answers[0])
    assert f'`"verdict": "{verdict["verdict"]}"`' in text
    assert verdict["remedies"]
    assert verdict["reference"] == "HL-1043"


@LONG
def test_the_command_answers_by_itself_and_from_the_service(answers: list[str]) -> None:
    here, sheet, there = answers[1], answers[2], answers[3]
    assert here.count("Answered without a service") >= 2
    assert "ACCEPTED  demo/orders/009-team-tees-dye.json" in here
    assert "PLAN 1" in here
    assert "HEAT" in here
    assert "Rule dye-on-natural-fibre" in here
    assert "G  Width (in)" in here
    assert "20 orders: 9 accepted," in sheet
    assert "Answers from http://127.0.0.1:" in there
    assert "ACCEPTED  demo/orders/009-team-tees-dye.json" in there
    plans = json.loads(there[there.index('{"') :])["plans"]
    assert plans[0]["rank"] == 1


@LONG
def test_the_service_counts_what_is_in_the_book(answers: list[str], book: Book) -> None:
    counted = {kind["kind"]: kind["count"] for kind in json.loads(answers[4])["entries"]}
    assert counted["blanks"] == len(book.catalogue["blanks"])
    assert set(counted) >= {"fibres", "substrates", "transfers", "products", "consumables", "press_types"}
