"""Orders in a table (text/csv): each row gets what the order that it says would have got by itself.

The form of a table is that of RFC 4180; what columns are called is in tests/cli/test_tables_columns.py, and that of the
demo's is docs/spreadsheet.md.
"""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from accord_service.api import lines, table
from accord_service.api.lines import Asked
from accord_service.cli.tables.sources import How, source_of
from accord_service.http.problems import ColumnsNotClear
from accord_service.tables.columns import OwnWords

PATH = "/v1/validate/batch"
DEMO = Path(__file__).parents[3] / "demo" / "orders.csv"
HEADER = "Order no,Blank,Transfer,Position,Width (in),Height (in),Customer"
ROW = "QS-1,tote-polyester-white,dye-sublimation,front,8,8,Ada"


@pytest.fixture
def key(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "counter"))


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    client: FlaskClient = changing.first
    return client


def send(client: FlaskClient, key: dict[str, str], body: str | bytes, query: str = "", **more: Any) -> TestResponse:
    return client.post(PATH + query, data=body, headers=key, **{"content_type": "text/csv", **more})


def told(answer: TestResponse) -> tuple[list[Any], Any]:
    """The lines of an answer, and its last one."""
    assert answer.status_code == 200, answer.text
    *lines, end = map(json.loads, answer.text.splitlines())
    assert end["end"] is True
    return lines, end


def order(reference: str, **more: Any) -> dict[str, Any]:
    size = {"width": "8 in", "height": "8 in"}
    decoration = {"transfer": "dye-sublimation", "placement": "front", "size": size}
    return {"reference": reference, "item": {"blank": "tote-polyester-white"}, "decorations": [decoration], **more}


def test_each_row_is_answered_as_the_order_by_itself(client: FlaskClient, key: dict[str, str]) -> None:
    lines, end = told(send(client, key, f"{HEADER}\r\n{ROW}\r\n,,,,,,\r\n{ROW.replace('QS-1', 'QS-2')}\r\n"))
    assert [(line["line"], line["status"], line["reference"]) for line in lines] == [(2, 200, "QS-1"), (4, 200, "QS-2")]
    for line in lines:
        alone = client.post("/v1/validate", json=order(line["reference"]), headers=key)
        assert line["answer"] == alone.json
    assert (end["lines"], end["answered"], end["complete"]) == (2, 2, True)
    assert end["columns_left_out"] == ["Customer"]


def test_the_demo_table_is_read_as_the_command_reads_it(client: FlaskClient, key: dict[str, str]) -> None:
    lines, _ = told(send(client, key, DEMO.read_bytes()))
    with contextlib.closing(source_of(str(DEMO), How(OwnWords({})))) as source:
        rows = list(source.asked(1))
    assert [line["line"] for line in lines] == [of.row for of in rows]
    assert sum(of.order is None for of in rows) > 0
    for line, of in zip(lines, rows, strict=True):
        assert line["reference"] == of.reference
        if of.order is None:
            assert [error["message"] for error in line["problem"]["errors"]] == [of.sentence for of in of.problems]
            continue
        alone = client.post("/v1/validate", json=of.order, headers=key)
        assert line["status"] == alone.status_code
        assert line.get("answer", alone.json) == alone.json


@pytest.mark.parametrize(
    ("row", "status", "sentence"),
    [
        ("QS-1,tote,dye-sublimation,front,8 cm,8,", 422, "E “Width (in)” is “8 cm” under a header that says in"),
        (
            "QS-1,tote-polyster,dye-sublimation,front,8,8,",
            422,
            "B “Blank”: there is no 'tote-polyster' among",
        ),
        ("QS-1,tote-polyester-white,dye-sublimation", 422, "the row has 3 fields, the header 7: one may be missing"),
        ('QS-1,"tote"s,dye-sublimation,front,8,8,', 422, "a quote stands inside a quoted cell"),
        ("QS-1,to\xff,dye-sublimation,front,8,8,", 422, "it is not UTF-8"),
        (f"QS-1,{'x' * 300_000},dye-sublimation,front,8,8,", 413, "The row is over"),
    ],
)
def test_a_bad_row_is_told_with_its_column_and_holds_up_no_other(
    client: FlaskClient, key: dict[str, str], row: str, status: int, sentence: str
) -> None:
    body = f"{HEADER}\n{ROW}\n{row}\n{ROW}\n".encode("latin-1")
    lines, end = told(send(client, key, body))
    assert [line["line"] for line in lines[:2]] == [2, 3]
    assert [line["status"] for line in (lines[0], lines[1], lines[-1])] == [200, status, 200]
    problem = lines[1]["problem"]
    assert sentence in problem["detail"] + " ".join(error["message"] for error in problem["errors"])
    assert end["complete"] is True


def test_nothing_is_read_after_a_quoted_cell_that_is_too_long(client: FlaskClient, key: dict[str, str]) -> None:
    """What looks like a row there lies in the cell."""
    inside = "x\n" * 140_000 + f"{ROW}\n"
    lines, end = told(send(client, key, f'{HEADER}\n{ROW}\n"{inside}",dye-sublimation\n{ROW}\n'))
    assert [line["status"] for line in lines] == [200, 422]
    assert "no row after it is read" in str(lines[1]["problem"])
    assert (end["complete"], end["next_line"], end["broken_row"]) == (False, None, 3)


def test_a_row_of_many_lines_is_no_longer_than_one(client: FlaskClient, key: dict[str, str]) -> None:
    """Each of its cells is short, and so is each line: what is held is the row."""
    cells = '"a\n",' * 60_000
    lines, end = told(send(client, key, f"{HEADER}\n{ROW}\n{cells}\n"))
    assert [line["status"] for line in lines] == [200, 413]
    assert (end["complete"], end["broken_row"]) == (False, 3)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ('QS-2,"tote-polyester-white,dye-sublimation,front,8,8,', "never closed"),
        ('QS-2,"tote,dye-sublimation,front,8,8,\nQS-3,"tote",dye-sublimation,front,8,8,', "inside a quoted cell"),
        ('QS-2,tote,dye-sublimation,front,8,"8,\nQS-3",tote,dye-sublimation,front,8,8,', "or a quote is never closed"),
        ('QS-2,tote,dye-sublimation,front,8,8,"To\nm\xff', "it is not UTF-8"),
    ],
)
def test_a_table_that_breaks_off_in_a_quoted_cell_is_not_complete(
    client: FlaskClient, key: dict[str, str], row: str, sentence: str
) -> None:
    """RFC 4180 section 2.6 lets a quoted cell go on over lines: behind one that is not closed no row is a row. Sent
    mended it is gone on with from there."""
    lines, end = told(send(client, key, f"{HEADER}\n{ROW}\n{row}\n{ROW}\n".encode("latin-1")))
    assert [(line["line"], line["status"]) for line in lines] == [(2, 200), (3, 422)]
    assert sentence in str(lines[1]["problem"])
    assert "no row after it is read" in str(lines[1]["problem"])
    assert (end["complete"], end["next_line"], end["broken_row"]) == (False, None, 3)
    mended, whole = told(send(client, key, f"{HEADER}\n{ROW}\n{ROW}\n{ROW}\n", query="?from_line=3"))
    assert [(line["line"], line["status"]) for line in mended] == [(3, 200), (4, 200)]
    assert whole["complete"] is True
    assert "broken_row" not in whole


@pytest.mark.parametrize(
    ("header", "name", "sentence", "allowed"),
    [
        ("Order no,Balnk,Transfer", "Balnk", "Is “Balnk” meant for “blank”?", ["blank"]),
        ("Colours,Blank,Transfer", "Colours", "can be “print colours” or “blank colour”", ["print colours"]),
        ("Blank,Garment,Transfer", "Garment", "both say item.blank: leave one out", []),
        ("Width (kg),Blank,Transfer", "Width (kg)", "“kg” is no unit of length here", []),
        ("Order no,Qty", "", "No column says what the piece is", ["blank"]),
        ("Blnk,Transfer", "", "(substrate, material or fabric). Not read: “Blnk”.", ["blank"]),
        ("1,2,3", "", "no column has a known header", ["blank"]),
        ('"a"b,c', None, "In the header a quote stands inside a quoted cell", None),
        ("\xff,blank", None, "The header can't be read: it is not UTF-8", None),
        ("", None, "The table is empty", None),
        ("x" * 300_000, None, "The header is over", None),
    ],
)
def test_a_header_that_is_not_clear_is_refused_with_its_column(
    client: FlaskClient, key: dict[str, str], header: str, name: str | None, sentence: str, allowed: list[str] | None
) -> None:
    answer = send(client, key, f"{header}\n1,2,3\n".encode("latin-1") if header else b"")
    assert answer.status_code == 400
    problem = answer.json
    assert problem["type"] == "/problems/columns-not-clear"
    assert sentence in problem["detail"]
    assert "--" not in answer.text, "the command's options say nothing here"
    if allowed is None:
        assert problem["errors"] == []
        return
    fault = problem["errors"][0]
    assert (fault["in"], fault["pointer"], fault["name"]) == ("column", None, name)
    assert set(allowed) <= {*fault["allowed"]} or fault["allowed_left_out"]


def test_delimiters_marks_and_line_ends(client: FlaskClient, key: dict[str, str]) -> None:
    expected, _ = told(send(client, key, f"{HEADER}\n{ROW}"))
    semicolons = f"{HEADER}\n{ROW}".replace(",", ";")
    for body in (
        f"\ufeff{HEADER}\r\n{ROW}\r\n",
        semicolons,
        semicolons.replace(";", "\t"),
        f'"Order no"{HEADER[8:]}\n{ROW}',
    ):
        assert told(send(client, key, body))[0] == expected
    (said,), _ = told(send(client, key, f"sep=;\n{semicolons}"))
    assert said == {**expected[0], "line": 3}
    (quoted,), _ = told(
        send(client, key, f"{HEADER.replace('Order no', chr(34) + 'Order' + chr(10) + 'no' + chr(34))}\n{ROW}")
    )
    assert quoted == expected[0]


@pytest.mark.parametrize("on", ["the rest", "the whole"])
def test_a_turn_that_ends_says_where_to_go_on(
    client: FlaskClient, key: dict[str, str], monkeypatch: pytest.MonkeyPatch, on: str
) -> None:
    rows = [ROW.replace("QS-1", f"QS-{number}") for number in range(1, 6)]
    whole, _ = told(send(client, key, "\n".join([HEADER, *rows])))
    got, next_line = [], 2
    while next_line is not None:
        # What is left, under its own numbers, or the same again.
        rest = "\n".join([HEADER, *rows[next_line - 2 :]])
        body, query = (rest, "first_line") if on == "the rest" else ("\n".join([HEADER, *rows]), "from_line")
        turn = iter([False] * (0 if on == "the rest" else next_line - 2) + [False, False, True])
        monkeypatch.setattr("accord_service.api.lines.has_to_end", lambda for_s, turn=turn: next(turn, False))
        lines, end = told(send(client, key, body, query=f"?{query}={next_line}"))
        got += lines
        next_line = end["next_line"]
    assert got == whole


class Endless:
    """A body that goes on for ever: empty lines, or one line; neither asks anything."""

    def __init__(self, byte: bytes) -> None:
        self._byte = byte

    def read(self, size: int, /) -> bytes:
        return self._byte * size


@pytest.mark.parametrize(("byte", "next_line"), [(b"\n", 8), (b"x", 1)])
def test_what_never_ends_is_ended_with_the_turn(byte: bytes, next_line: int, monkeypatch: pytest.MonkeyPatch) -> None:
    turn = iter([False] * 7)
    monkeypatch.setattr(lines, "has_to_end", lambda for_s: next(turn, True))
    questions = lines.Lines(Endless(byte), 1000, 1)
    (end,) = lines.answers(questions, lambda document: pytest.fail("nothing was asked"), 1, "a-request")
    assert (json.loads(end)["complete"], json.loads(end)["next_line"]) == (False, next_line)
    with pytest.raises(ColumnsNotClear):
        table.Rows(Endless(byte), 1000, None)


def test_a_table_is_read_as_it_comes() -> None:
    """No more of it is held than a row, however long it is."""
    taken = [0]

    class Table:
        def __init__(self) -> None:
            self._rows = iter([f"{HEADER}\n".encode(), *(f"{ROW}\n".encode() for _ in range(1000))])

        def read(self, size: int, /) -> bytes:
            taken[0] += 1
            return next(self._rows, b"")

    rows = iter(table.Rows(Table(), 10_000, None))
    assert isinstance(next(rows), Asked)
    assert taken[0] <= 4
    assert sum(1 for _ in rows) == 1000
