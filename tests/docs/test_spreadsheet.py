"""docs/spreadsheet.md: its commands are run word for word, its words are those that columns are known by.

Which of the demo's orders are fine is common practice, no source (tests/cli/test_tables.py has them row by row).
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.docs.forking import command_at

from accord_service.tables.words import WORDS
from demo import run as demo

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docs" / "spreadsheet.md").read_text(encoding="utf-8")
BLOCKS = [block.strip() for block in re.findall(r"(?:^    .*\n)+", TEXT, re.MULTILINE)]
ACTIVATE, LOOK, OWN, ASK, KEEP, CURL = BLOCKS
COLUMNS = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
# The ten minutes from a shell end with the same table.
SHELL_PAGE = (ROOT / "clients" / "shell" / "README.md").read_text(encoding="utf-8")
SHELL = [line.strip() for line in re.findall(r"(?:^    .*\n)+", SHELL_PAGE, re.MULTILINE)[0].splitlines()]
Run = Callable[..., tuple[int, str]]
OWN_TABLE = "Artikelnummer;Verfahren;Breite;Hoehe;Print\ntee-heavy-white;HTV;200;150,5;Muster\n"


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Where ``accord`` is this tree's, in 80 columns."""
    program = tmp_path_factory.mktemp("bin") / "accord"
    whole = {**os.environ, "PATH": f"{program.parent}:{os.environ['PATH']}", "COLUMNS": "80"}
    whole["PYTHONPATH"] = os.pathsep.join(str(ROOT / part) for part in ("rules", "service", "clients/python"))
    with command_at(program, sys.executable, whole):
        yield whole


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where a counter would stand: the demo, and a table of their own."""
    (tmp_path / "demo").symlink_to(ROOT / "demo")
    (tmp_path / "eigene.csv").write_text(OWN_TABLE, encoding="utf-8")
    (tmp_path / "columns.toml").write_text(COLUMNS[0], encoding="utf-8")
    return tmp_path


@pytest.fixture
def run(folder: Path, environment: dict[str, str]) -> Run:
    """Runs a block: exit code, and both outputs with their lines joined."""

    def run_block(block: str, **more: str) -> tuple[int, str]:
        done = subprocess.run(
            ["sh", "-c", block], cwd=folder, env=environment | more, capture_output=True, text=True, timeout=120
        )
        return done.returncode, " ".join(f"{done.stdout} {done.stderr}".split())

    return run_block


def test_a_look_is_what_the_page_says(run: Run) -> None:
    code, page = run(LOOK)
    assert code == 0
    assert "G Width (in) decorations.0.size.width in 10" in page
    assert "Not read: B “Customer”." in page
    assert '"blank": "TS-100-W"' in page


def test_own_headers_are_read_as_the_file_says(run: Run) -> None:
    assert tomllib.loads(COLUMNS[0])["columns"]
    code, page = run(OWN)
    assert code == 0, page
    assert '"width": "200 mm", "height": "150,5 mm"' in page
    assert "Not read: E “Print”." in page


def test_the_first_check_is_what_the_page_says(run: Run) -> None:
    code, page = run(ASK)
    assert code == 2
    assert "20 orders:" in page
    assert "UNREAD G “Width (in)” is “8 cm”" in page


def test_results_are_kept_under_the_columns_that_the_page_lists(folder: Path, run: Run) -> None:
    code, _ = run(KEEP)
    assert code == 2
    header, *rows = (folder / "results.csv").read_text(encoding="utf-8-sig").splitlines()
    listed = re.search(r"writes a row an order: (.*?)\. A cell", TEXT, re.DOTALL)
    assert listed is not None
    assert header.split(",") == re.sub(r"\s*\(.*?\)", "", " ".join(listed.group(1).split())).split(", ")
    assert len(rows) == 20


# service/api/test_table.py and client/test_shell.py hold what is sent and answered.
@pytest.mark.long
@pytest.mark.needs("curl")
def test_curl_alone_gets_an_answer_for_each_row(folder: Path, run: Run) -> None:
    (folder / "clients").symlink_to(ROOT / "clients")
    with demo.service() as (url, keys):
        environment = {"ACCORD_URL": url, "ACCORD_TOKEN": demo.token("harbour-lane", keys)}
        code, page = run(CURL, **environment)
        one, many = (run(line, **environment) for line in SHELL if not line.startswith("export "))
    assert (one[0], '"verdict":"accepted"' in one[1]) == (0, True)
    assert (many[0], many[1].count(" unread ")) == (2, 2)
    assert code == 0, page
    statuses = re.findall(r'\{"line":\d+,"status":(\d+),', page)
    assert (len(statuses), statuses.count("422")) == (20, 2)
    assert '"columns_left_out":["Customer"]' in page


def test_the_words_are_those_that_columns_are_known_by() -> None:
    told = dict(re.findall(r"^\| `([^`]+)` \| (.+) \|$", TEXT, re.MULTILINE))
    assert told == {path: " ".join(listed.split()) for path, listed in WORDS.items()}


def test_the_exit_codes_are_those_of_the_command(run: Run) -> None:
    _, page = run("accord validate --help")
    codes = dict(re.findall(r"^\| (\d) \| (.+) \|$", TEXT, re.MULTILINE))
    assert list(codes) == ["0", "1", "2", "3"]
    for code, means in codes.items():
        (word,) = re.findall(r"conditional|rejected|read|undetermined", means)[-1:]
        assert re.search(rf"{code} if [^,]*{word}", page), code
