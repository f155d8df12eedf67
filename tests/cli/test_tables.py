"""``accord validate`` of many orders: what is printed and written, exit codes, going on, memory.

Which orders of the demo's table are fine, hopeless or open is common practice of the trade, no source.
"""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import shlex
import tracemalloc
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from accord_rules.documents.reading import Fault
from accord_service.cli.codes import WORKABLE, code_of, worst
from accord_service.cli.failure import Failure
from accord_service.cli.main import COMMANDS
from accord_service.cli.orders import Refused
from accord_service.cli.tables.progress import Progress, told
from accord_service.cli.tables.results import CSV_COLUMNS, unformulated

DEMO = Path(__file__).parents[2] / "demo"
TABLE = str(DEMO / "orders.csv")
SHOP = ("--shipped", "--shop", str(DEMO / "shops" / "harbour-lane.toml"))
# By row: why a practitioner says so, written down before the table was ever asked.
EXPECTED = {
    2: "accepted",  # one-colour film on white cotton
    3: "accepted",
    4: "accepted",  # linen bears film at 310 °F
    5: "accepted",
    6: "rejected",  # dye does not take on cotton
    7: "accepted",
    8: "accepted",
    9: "accepted",
    10: "accepted",
    12: "rejected",  # a transparent sheet on black
    13: "conditional",  # two colours of film in one print
    14: "conditional",  # a child's piece, and film that nobody declared
    15: "rejected",  # stones for under threes
    16: "undetermined",  # nobody knows what the garment is
    17: "rejected",  # too hot for film
    18: "rejected",  # plain film on acrylic
    19: "accepted",
    20: "unread",  # 8 cm under inches
    21: "unread",  # a dozen
    22: "rejected",  # terry
}
FINE = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "HTV"}], "press": "bench"}
HOPELESS = FINE | {"decorations": [{"transfer": "sublimation"}]}
OPEN = FINE | {"item": {"colour": "navy"}}
MALFORMED = FINE | {"quantity": "many"}


@pytest.fixture
def lines(tmp_path: Path) -> Callable[..., str]:
    """Writes orders a line and gives the file's name."""

    def write(*orders: Any) -> str:
        file = tmp_path / "orders.ndjson"
        file.write_text("".join(json.dumps(order) + "\n" for order in orders), encoding="utf-8")
        return str(file)

    return write


# -- the demo's table ------------------------------------------------------------------------------------------------


def test_the_demo_table_is_judged_as_practice_says(alone: Any) -> None:
    done = alone("validate", *SHOP, "--output", "ndjson", TABLE)
    assert done.exit_code == 2
    results = [json.loads(line) for line in done.stdout.splitlines()]
    assert {of["row"]: of["answer"]["verdict"] if "answer" in of else "unread" for of in results} == EXPECTED
    assert results[0]["reference"] == "HL-2001"
    assert "20 orders: 9 accepted, 2 conditional, 1 undetermined, 6 rejected, 2 unread." in done.stderr


def test_people_see_a_line_for_each_that_is_not_accepted_and_the_sum(alone: Any) -> None:
    done = alone("validate", *SHOP, TABLE)
    shown = re.findall(r"^ +(\d+)  (HL-\d+) +([A-Z]+) ", done.stdout, re.MULTILINE)
    assert {int(row): word.lower() for row, _, word in shown} == {r: w for r, w in EXPECTED.items() if w != "accepted"}
    page = " ".join(done.stdout.split())
    assert "Not read: B “Customer”." in page
    assert "G “Width (in)” is “8 cm” under a header that says in" in page
    assert "instead: Set the temperature to" in page
    assert "20 orders: 9 accepted, 2 conditional, 1 undetermined, 6 rejected, 2 unread. 1 empty row left out." in page
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    assert done.stderr == ""


def test_all_lists_accepted_ones_with_their_settings(alone: Any) -> None:
    page = " ".join(alone("validate", *SHOP, "--all", TABLE).stdout.split())
    assert re.search(r"2 HL-2001 ACCEPTED \d+ °F on the display, \d+ s", page)


def test_a_look_asks_nobody(alone: Any) -> None:
    done = alone("validate", "--columns-only", TABLE)
    assert done.exit_code == 0
    assert re.search(r"^G +Width \(in\) +decorations\.0\.size\.width +in +10$", done.stdout, re.MULTILINE)
    assert re.search(r"^Q +Transfer 2 +decorations\.1\.transfer", done.stdout, re.MULTILINE)
    assert "Not read: B “Customer”." in done.stdout
    order = json.loads(done.stdout[done.stdout.index("\n{") :])
    assert order["item"] == {"blank": "TS-100-W"}
    assert order["decorations"][0]["size"] == {"width": "10 in", "height": "8 in"}
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_a_look_says_what_is_missing_and_what_cannot_be_read(alone: Any, tmp_path: Path) -> None:
    file = tmp_path / "orders.csv"
    file.write_text("Order no,Width,Blnk\nA,8,tee\n", encoding="utf-8")
    done = alone("validate", "--columns-only", str(file))
    assert done.exit_code == 2
    page = " ".join(done.stdout.split())
    assert "No column says what the piece is" in page
    assert "No column says how it is decorated" in page
    assert "B “Width” is 8 without a unit" in page
    stopped = alone("validate", "--shipped", str(file))
    assert stopped.exit_code == 2
    told = " ".join(stopped.stderr.split())
    assert "No column says what the piece is" in told
    assert "Not read: C “Blnk”." in told, "the column that was meant, most likely"


# -- formats ---------------------------------------------------------------------------------------------------------


def test_csv_has_a_row_each_and_settings_only_where_it_can_be_done(alone: Any, tmp_path: Path) -> None:
    to = tmp_path / "results.csv"
    done = alone("validate", *SHOP, "--output", "csv", "--to", str(to), TABLE)
    assert done.stdout == ""
    assert to.read_bytes().startswith(b"\xef\xbb\xbf"), "spreadsheet programs take it for another encoding without"
    rows = list(csv.DictReader(io.StringIO(to.read_text(encoding="utf-8-sig"), newline="")))
    assert tuple(rows[0]) == CSV_COLUMNS
    assert {int(row["row"]): row["verdict"] for row in rows} == EXPECTED
    for row in rows:
        assert bool(row["settings"]) == (row["verdict"] in ("accepted", "conditional"))
        assert bool(row["reason"]) == (row["verdict"] != "accepted")
        assert bool(row["revision"]) == (row["verdict"] != "unread")
    assert rows[4]["press"] == "bench"
    assert rows[4]["remedy"]


def test_a_table_goes_into_a_file_too(alone: Any, tmp_path: Path) -> None:
    to = tmp_path / "results.txt"
    done = alone("validate", *SHOP, "--to", str(to), TABLE)
    assert done.stdout == ""
    assert "HL-2005" in to.read_text(encoding="utf-8")
    assert "20 orders" in done.stderr
    missing = alone("validate", *SHOP, "--to", str(tmp_path / "none" / "x"), TABLE)
    assert missing.exit_code == 2
    assert "No such file" in missing.stderr


# OWASP, "CSV Injection" (from memory): a cell that begins with one of these is taken for a formula.
@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_of_ours_is_a_formula(first: str) -> None:
    assert unformulated(f"{first}1+1") == f"'{first}1+1"
    assert unformulated(f"1{first}") == f"1{first}"
    assert unformulated(12) == 12


def test_a_reference_that_is_a_formula_is_quoted(alone: Any, lines: Any) -> None:
    done = alone("validate", *SHOP, "--output", "csv", lines(FINE | {"reference": "=HYPERLINK(1)"}))
    (row,) = csv.DictReader(io.StringIO(done.stdout, newline=""))
    assert row["reference"] == "'=HYPERLINK(1)"


def test_json_is_a_list_of_answers_and_problems(alone: Any, lines: Any) -> None:
    file = lines(FINE | {"reference": "A"}, MALFORMED, HOPELESS)
    (first, second, third) = json.loads(alone("validate", *SHOP, "--output", "json", file).stdout)
    assert (first["file"], first["sheet"], first["row"], first["reference"]) == (file, None, 1, "A")
    assert first["answer"]["verdict"] == "accepted"
    assert second["problem"]["errors"][0]["pointer"] == "/quantity"
    assert third["answer"]["verdict"] == "rejected"
    assert json.loads(alone("validate", *SHOP, "--output", "json", lines()).stdout) == []


def test_junit_is_what_ci_reads(alone: Any, lines: Any) -> None:
    """Elements and attributes of the JUnit schema that Ant's report goes by (from memory)."""
    odd = FINE | {"reference": 'a "quoted" <name> & more'}
    done = alone("validate", *SHOP, "--output", "junit", lines(odd, HOPELESS, OPEN, MALFORMED))
    suite = ET.fromstring(done.stdout)
    assert suite.tag == "testsuite"
    assert {name: suite.get(name) for name in ("tests", "failures", "errors", "skipped")} == {
        "tests": "4",
        "failures": "1",
        "errors": "1",
        "skipped": "1",
    }
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d", suite.get("timestamp") or "")
    assert float(suite.get("time") or "x") >= 0
    assert suite.get("hostname")
    assert [child.tag for child in suite] == ["properties", *["testcase"] * 4, "system-out", "system-err"]
    cases = suite.findall("testcase")
    assert all(set(case.attrib) == {"classname", "name", "time"} for case in cases)
    assert cases[0].get("name") == 'row 1 a "quoted" <name> & more'
    assert [[child.tag for child in case] for case in cases] == [[], ["failure"], ["skipped"], ["error"]]
    assert "polyester" in (cases[1][0].get("message") or "")
    assert cases[1][0].get("type") == "rejected"


def test_single_orders_can_be_rows_too(alone: Any, order: Any) -> None:
    files = [order("1", FINE), order("2", MALFORMED), order("3", b"{")]
    done = alone("validate", *SHOP, "--output", "csv", *files)
    rows = list(csv.DictReader(io.StringIO(done.stdout, newline="")))
    assert [row["verdict"] for row in rows] == ["accepted", "unread", "unread"]
    assert [row["file"] for row in rows] == files


# -- exit codes and words --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("orders", "code"),
    [
        ([FINE, FINE], 0),
        ([FINE, OPEN], 3),
        ([OPEN, HOPELESS, FINE], 1),
        ([OPEN, HOPELESS, MALFORMED], 2),
        ([], 0),
    ],
)
def test_exit_codes(alone: Any, lines: Any, orders: list[Any], code: int) -> None:
    assert alone("validate", *SHOP, lines(*orders)).exit_code == code
    for what in ("rejected", "undetermined", "could not be read"):
        assert what in " ".join(alone("validate", "--help").stdout.split())


def test_a_verdict_that_is_not_known_here_is_no_leave_to_press() -> None:
    assert code_of("accepted-by-night") == 1
    assert [worst(3, 0), worst(1, 3), worst(1, 2, 3), worst()] == [3, 1, 2, 0]


def test_check_is_another_word_for_validate_and_stands_in_no_list(alone: Any, order: Any) -> None:
    assert "check" not in COMMANDS
    listed = alone("--help").stdout
    assert not re.search(r"^  check ", listed, re.MULTILINE)
    assert alone("check", "--columns-only", TABLE).stdout == alone("validate", "--columns-only", TABLE).stdout
    assert alone("check", *SHOP, order("fine", FINE)).exit_code == 0
    assert alone("chek", "x.json").exit_code == 2


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--json", TABLE], "--output json"),
        (["--column", "A=qty", "one.json"], "go with tables"),
        (["--all", "one.json"], "go with rows"),
        (["--to", TABLE, TABLE], "is the file that is read"),
        (["--column", "Customr=qty", TABLE], "Did you mean “Customer”?"),
        (["--column", "Customer=qty", TABLE], "both say quantity"),
        (["--revision", "9", TABLE], "is revision 1, not 9"),
        (["none.csv"], "No such file"),
    ],
)
def test_wrong_use(alone: Any, arguments: list[str], sentence: str) -> None:
    done = alone("validate", *SHOP, *arguments)
    assert done.exit_code == 2
    assert sentence in " ".join(done.stderr.split())
    assert Path(TABLE).stat().st_size > 1000


# -- a service -------------------------------------------------------------------------------------------------------


def test_here_and_the_service_say_the_same_of_a_workbook(
    accord: Any, alone: Any, collective: Path, tmp_path: Path
) -> None:
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.append(["Order no", "Blank", "Transfer", "Size (mm)", "Press"])
    for row in (
        ["ML-1", "cushion-polyester-white", "sublimation", "200 x 200", "bench"],
        ["ML-2", "tee-heavy-white", "sublimation", "200 x 200", "bench"],
        [],
        ["ML-3", "no such blank", "sublimation", "200 x 200", "bench"],
        ["ML-4", "cushion-polyester-white", "sublimation", "200", "bench"],
    ):
        sheet.append(row)
    made.save(tmp_path / "orders.xlsx")
    file = str(tmp_path / "orders.xlsx")
    there = accord("validate", "--output", "json", file)
    shop = str(collective / "shops" / "mill-loft.toml")
    here = alone("validate", "--shipped", "--shop", shop, "--output", "json", file)
    assert there.exit_code == here.exit_code == 2
    assert json.loads(there.stdout) == json.loads(here.stdout)
    first, second, third, fourth = json.loads(there.stdout)
    assert [of["row"] for of in (first, second, third, fourth)] == [2, 3, 5, 6]
    assert first["answer"]["verdict"] in WORKABLE
    assert second["answer"]["verdict"] == "rejected"
    assert third["problem"]["errors"][0]["column"] == "B “Blank”"
    assert fourth["problem"]["errors"][0]["column"] == "D “Size (mm)”"
    refused = accord("validate", "--revision", "999", file)
    assert refused.exit_code == 2
    assert "The service refused" in refused.stderr


def test_nobody_answers(accord: Any) -> None:
    done = accord("validate", "--output", "json", TABLE, ACCORD_URL="http://127.0.0.1:1")
    assert done.exit_code == 2
    assert json.loads(done.stdout) == []
    assert "No answer" in done.stderr
    assert "No row of" in done.stderr


# -- many rows, with an answerer that costs nothing ------------------------------------------------------------------

ANSWER = {
    "verdict": "accepted",
    "judged_on": "bench",
    "findings": [],
    "needs": [],
    "conditions": [],
    "remedies": [],
    "presses": [{"press": "bench", "settings": None, "sequence": None}],
    "revision": 7,
    "basis": "live",
}


class Stub:
    """Accepts every order but those whose blank is "bad", which it refuses; may go away after some answers."""

    introduction = "Answers from a stub."

    def __init__(self, goes_after: int | None = None) -> None:
        self.goes_after = goes_after
        self.asked: list[int | None] = []
        self.answered = 0

    def validate_all(self, orders: Iterable[Any], revision: int | None) -> Iterator[Any]:
        self.asked.append(revision)
        for order in orders:
            if self.answered == self.goes_after:
                raise Failure("No answer: the connection broke.")
            self.answered += 1
            fault = Fault("/item/blank", "there is no such blank", code="not-in-book")
            yield Refused("The order has faults", (fault,)) if order["item"] == {"blank": "bad"} else ANSWER


@pytest.fixture
def stubbed(alone: Any, monkeypatch: pytest.MonkeyPatch) -> Callable[[Stub], Any]:
    """The command asking a stub."""

    def use(stub: Stub) -> Any:
        @contextmanager
        def answerer(**who: Any) -> Iterator[Stub]:
            yield stub

        monkeypatch.setattr("accord_service.cli.validate.answerer", answerer)
        return alone

    return use


def many(path: Path, count: int, bad: int = 0) -> str:
    with path.open("w", encoding="utf-8") as file:
        file.write("Order no,Blank,Transfer,Width (in),Height (in),Qty\n")
        for row in range(2, count + 2):
            file.write(f"R-{row},{'bad' if row == bad else 'tee'},HTV,{row % 90 + 1}/8,6,{row}\n")
    return str(path)


def test_of_ten_thousand_rows_the_bad_one_is_told_with_its_row_and_column(stubbed: Any, tmp_path: Path) -> None:
    stub = Stub()
    done = stubbed(stub)("validate", many(tmp_path / "orders.csv", 10_000, bad=7_654))
    assert done.exit_code == 2
    (line,) = [line for line in done.stdout.splitlines() if "UNREAD" in line]
    assert line.split()[:3] == ["7654", "R-7654", "UNREAD"]
    assert "B “Blank”: there is no such blank." in " ".join(done.stdout.split())
    assert "10,000 orders: 9,999 accepted, 1 unread. Book revision 7." in done.stdout
    assert stub.answered == 10_000
    assert set(stub.asked[1:]) == {7}, "all of the revision that answered first"


def test_what_is_answered_is_kept_and_gone_on_with(stubbed: Any, tmp_path: Path) -> None:
    file, to = many(tmp_path / "some orders.csv", 600), tmp_path / "results.csv"
    command = ("validate", "--output", "csv", "--to", str(to), file)
    broke = stubbed(Stub(goes_after=311))(*command)
    assert broke.exit_code == 2
    assert "No answer: the connection broke." in broke.stderr
    assert "everything before row 313 is answered, and kept" in broke.stderr
    assert f"accord validate '{file}' --from-row 313 --revision 7" in broke.stderr
    assert len(to.read_text(encoding="utf-8-sig").splitlines()) == 312
    stub = Stub()
    done = stubbed(stub)(*command, "--from-row", "313", "--revision", "7")
    assert done.exit_code == 0
    assert stub.asked[0] == 7
    rows = list(csv.DictReader(io.StringIO(to.read_text(encoding="utf-8-sig"), newline="")))
    assert [int(row["row"]) for row in rows] == list(range(2, 602))
    other = stubbed(Stub())("validate", "--output", "json", "--to", str(to), "--from-row", "313", file)
    assert other.exit_code == 2
    assert "name another file" in other.stderr


def test_several_files_are_gone_on_with_where_one_broke_off(stubbed: Any, tmp_path: Path) -> None:
    files = [many(tmp_path / f"{name}.csv", 300) for name in ("one", "two", "three")]
    whole, to = tmp_path / "whole.csv", tmp_path / "results.csv"
    assert stubbed(Stub())("validate", "--output", "csv", "--to", str(whole), *files).exit_code == 0
    # In the second file, and before its first row: the first file's last row is answered then, and none of the second.
    for answered, sentence in ((411, "Of {} everything before row 113"), (300, "Before {} all")):
        command = ("validate", "--output", "csv", "--to", str(to))
        broke = stubbed(Stub(goes_after=answered))(*command, *files)
        assert broke.exit_code == 2
        assert f"{sentence.format(files[1])} is answered, and kept" in broke.stderr
        on = shlex.split(broke.stderr.partition("  accord validate ")[2].splitlines()[0])
        assert on[:2] == files[1:]
        assert stubbed(Stub())(*command, *on).exit_code == 0
        assert to.read_text(encoding="utf-8-sig") == whole.read_text(encoding="utf-8-sig")
    listed = stubbed(Stub(goes_after=411))("validate", "--output", "json", "--to", str(tmp_path / "x.json"), *files)
    assert "another --to" in listed.stderr


def test_a_list_that_breaks_off_is_still_one(stubbed: Any, tmp_path: Path) -> None:
    done = stubbed(Stub(goes_after=2))("validate", "--output", "json", many(tmp_path / "orders.csv", 5))
    assert [of["row"] for of in json.loads(done.stdout)] == [2, 3]
    junit = stubbed(Stub(goes_after=2))("validate", "--output", "junit", many(tmp_path / "orders.csv", 5))
    assert ET.fromstring(junit.stdout).get("tests") == "2"


def test_ctrl_c_says_how_to_go_on(stubbed: Any, tmp_path: Path) -> None:
    class Interrupted(Stub):
        def validate_all(self, orders: Iterable[Any], revision: int | None) -> Iterator[Any]:
            yield from (ANSWER, ANSWER)
            raise KeyboardInterrupt

    done = stubbed(Interrupted())("validate", many(tmp_path / "orders.csv", 5))
    assert done.exit_code == 2
    assert "--from-row 4 --revision 7" in done.stderr


def peak_bytes(run: Any, file: str, to: Path) -> int:
    tracemalloc.start()
    try:
        assert run("validate", "--output", "csv", "--to", str(to), file).exit_code == 0
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.long
def test_ten_thousand_rows_take_no_more_memory_than_a_thousand(stubbed: Any, tmp_path: Path) -> None:
    """No object of Python takes less than 16 bytes: one held for each row would be some 140 kB more."""
    run = stubbed(Stub())
    few, much = many(tmp_path / "few.csv", 1_000), many(tmp_path / "much.csv", 10_000)
    peak_bytes(run, few, tmp_path / "warm")  # what is imported and remembered once
    ratio = peak_bytes(run, much, tmp_path / "b") / peak_bytes(run, few, tmp_path / "a")
    assert ratio < 1.3


@pytest.mark.long
def test_a_row_of_a_sheet_leaves_next_to_nothing_behind(stubbed: Any, tmp_path: Path) -> None:
    """openpyxl keeps the emptied element of each row, some 100 bytes: nothing of what the row says."""

    def sheet(count: int) -> str:
        made = openpyxl.Workbook(write_only=True)
        rows = made.create_sheet("Orders")
        rows.append(["Blank", "Transfer", "Width (in)", "Qty"])
        for row in range(count):
            rows.append(["tee", "HTV", row % 90 + 1, row + 1])
        made.save(tmp_path / f"{count}.xlsx")
        return str(tmp_path / f"{count}.xlsx")

    run = stubbed(Stub())
    few, much = sheet(1_000), sheet(4_000)
    peak_bytes(run, few, tmp_path / "warm")
    more = peak_bytes(run, much, tmp_path / "b") - peak_bytes(run, few, tmp_path / "a")
    assert more / 3_000 < 300


# -- progress --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "share", "taken_s", "text"),
    [
        (3, 0.1, 1.0, "3 orders"),
        (1200, None, 60.0, "1,200 orders, 20 a second"),
        (1200, 0.25, 60.0, "1,200 orders, 20 a second, 25% read, about 3 min left"),
        (1200, 0.9, 60.0, "1,200 orders, 20 a second, 90% read, about 7 s left"),
        (1200, 1.0, 60.0, "1,200 orders, 20 a second"),
    ],
)
def test_progress_tells_rows_rate_and_what_is_left(rows: int, share: float | None, taken_s: float, text: str) -> None:
    assert told(rows, share, taken_s) == text


def test_progress_is_drawn_on_a_terminal_and_taken_away(capsys: pytest.CaptureFixture[str]) -> None:
    now = iter([0.0, 10.0, 10.1, 11.0])
    progress = Progress(wanted=True, clock=lambda: next(now))
    progress.show(100, 0.5)
    progress.show(101, 0.5)  # too soon
    progress.show(102, 0.5)
    progress.clear()
    progress.clear()
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("orders") == 2
    assert captured.err.endswith("\r\x1b[K")


@pytest.mark.long
def test_progress_never_gets_among_the_results(started: Any, lines: Any) -> None:
    """Standard error is a terminal, standard output is not."""
    file = lines(*[FINE | {"quantity": n} for n in range(1, 30)])
    ours, theirs = pty.openpty()
    with started("validate", *SHOP, "--output", "ndjson", file, stderr=theirs) as process:
        os.close(theirs)
        results = process.stdout.read()
        seen = b""
        try:
            while data := os.read(ours, 4096):
                seen += data
        except OSError:  # the other end of a terminal is closed
            pass
    os.close(ours)
    assert [json.loads(line)["row"] for line in results.splitlines()] == list(range(1, 30))
    assert b"orders" in seen
    assert b"\x1b" not in results
