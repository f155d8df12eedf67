"""Files of orders as spreadsheets and programs leave them: what is read, and which row is told of what is not.

CSV after RFC 4180; workbooks as openpyxl writes them, whose merged cells and formulas are those of ECMA-376.
"""

from __future__ import annotations

import datetime
import json
import zipfile
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from accord_service.cli.failure import Failure
from accord_service.cli.tables import listed, workbook
from accord_service.cli.tables.own_columns import own_words
from accord_service.cli.tables.sources import How, Table, is_many, source_of
from accord_service.run.config import BODY_BYTES
from accord_service.tables.rows import Asked

HEADER = ["Order no", "Blank", "Transfer", "Width (in)", "Height (in)", "Customer"]
LINE = ["A1", "tee-heavy-white", "HTV", 8, 6, "Somebody"]


def how(**more: Any) -> How:
    return How(own_words(None, ()), **more)


def asked(file: Path, from_row: int = 1, **more: Any) -> list[Asked]:
    with closing(source_of(str(file), how(**more))) as source:
        return list(source.asked(from_row))


def told(of: Asked) -> str:
    return " ".join(problem.sentence for problem in of.problems)


@pytest.fixture
def text(tmp_path: Path) -> Callable[..., Path]:
    def write(content: str | bytes, name: str = "orders.csv") -> Path:
        file = tmp_path / name
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
        return file

    return write


@pytest.fixture
def book(tmp_path: Path) -> Callable[..., Path]:
    """A workbook of rows; ``change`` may do something to its sheet."""

    def write(*rows: Sequence[Any], change: Callable[[Any], None] = lambda sheet: None) -> Path:
        made = openpyxl.Workbook()
        sheet = made.active
        sheet.title = "Orders"
        for row in (HEADER, *rows):
            sheet.append(row)
        change(sheet)
        made.save(tmp_path / "orders.xlsx")
        return tmp_path / "orders.xlsx"

    return write


# -- CSV -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_delimiter_is_found_by_the_header(text: Any, delimiter: str, mark: bytes, end: str) -> None:
    lines = ['"Customer, ours"', "Blank", "Transfer"], ["Grün 1", "tee-heavy-white", "HTV"]
    file = text(mark + end.join(delimiter.join(line) for line in lines).encode())
    (of,) = asked(file)
    assert of.order is not None
    assert of.order["item"] == {"blank": "tee-heavy-white"}


def test_decimal_commas_stay_as_they_are(text: Any) -> None:
    (of,) = asked(text("Blank;Transfer;Width (cm);Size 2 (cm)\ntee;HTV;8,5;\n"))
    assert of.order is not None
    assert of.order["decorations"][0]["size"] == {"width": "8,5 cm"}


def test_a_line_that_says_the_delimiter_is_no_header(text: Any) -> None:
    (of,) = asked(text("sep=;\r\nBlank;Transfer\r\ntee;HTV\r\n"))
    assert of.row == 3
    assert of.order is not None


def test_rows_are_numbered_as_a_spreadsheet_shows_them(text: Any) -> None:
    content = 'Blank,Transfer\n\n"tee","HTV"\n"a\nb",HTV\n,\n\ntee,HTV\n'
    source = source_of(str(text(content)), how())
    rows = list(source.asked(1))
    assert [of.row for of in rows] == [3, 4, 7]
    assert source.empty == 3
    assert [of.row for of in asked(text(content), from_row=4)] == [4, 7]


def test_rows_whose_fields_moved_are_told_and_the_rest_read(text: Any) -> None:
    rows = asked(text('Blank,Transfer,Qty\ntee,HTV\ntee,HTV,1,2\ntee,HTV,1,,\ntee,H"T"V,1\n"tee" x,HTV,1\ntee,HTV,2\n'))
    assert [of.row for of in rows] == [2, 3, 4, 5, 6, 7]
    assert [of.order is not None for of in rows] == [False, False, True, True, False, True]
    assert "the row has 2 fields, the header 3" in told(rows[0])
    assert "something stands in D" in told(rows[1])
    assert "quote" in told(rows[4])


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ('"tee,HTV,1\ntee,HTV,2\n', "never closed"),
        (f'"tee,HTV,1\n{"tee,HTV,1" * 20_000}\ntee,HTV,1\n', "may never be closed"),
        ('"tee,HTV,1\ntee,"HTV",2\ntee,HTV,3\n', "a quote stands inside a quoted cell"),  # row 4 is in its cell
        ('"tee,HTV,1\n5",HTV,2\ntee,HTV,3\n', None),  # fits: nobody can tell that from a cell of two lines
        ('tee,"HTV,1\ntee",HTV,2\ntee,HTV,3\n', "the row has 4 fields, the header 3"),
        ('tee,"HTV,1\ntee",\ntee,HTV,3\n', None),
        ('tee,HTV,"1\ntee,"\ntee,HTV,3\n', None),
    ],
)
def test_rows_that_a_quote_swallowed_are_never_taken_for_read(text: Any, rows: str, sentence: str | None) -> None:
    """RFC 4180 section 2.6 lets a quoted cell go on over lines: behind one that is not closed no row is a row."""
    file = text(f"Blank,Transfer,Qty\ntee,HTV,1\n{rows}")
    if sentence is None:
        assert [of.row for of in asked(file)] == [2, 3, 4]
        return
    read = source_of(str(file), how()).asked(1)
    assert next(read).row == 2
    with pytest.raises(Failure) as raised:
        next(read)
    assert raised.value.message.startswith(f"{file}: not complete: row 3 can't be read, and no row after it is read: ")
    assert sentence in raised.value.message


def test_a_file_in_another_encoding_says_what_to_do(text: Any) -> None:
    content = "Order no,Blank,Transfer\nA,tee,HTV\nGrün,tee,HTV\n".encode("cp1252")
    with pytest.raises(Failure, match=r"line 3 is not UTF-8 \(byte FC\).*--encoding cp1252"):
        asked(text(content))
    assert asked(text(content), encoding="cp1252")[1].reference == "Grün"
    wide = "Blank,Transfer\ntee,HTV\n".encode("utf-16")
    with pytest.raises(Failure, match="--encoding utf-16"):
        asked(text(wide))
    assert asked(text(wide), encoding="utf-16")[0].order is not None
    with pytest.raises(Failure, match="no such encoding"):
        asked(text("x"), encoding="klingon")


def test_headers_may_stand_below_a_title(text: Any) -> None:
    file = text("Orders of March\n\nBlank,Transfer\ntee,HTV\n")
    with pytest.raises(Failure, match="--header-row"):
        asked(file)
    (of,) = asked(file, header_row=3)
    assert (of.row, of.order is not None) == (4, True)
    with pytest.raises(Failure, match="no row 9"):
        asked(file, header_row=9)


def test_no_header_writes_on_a_terminal(text: Any) -> None:
    with pytest.raises(Failure) as stopped:
        asked(text("Blank\x1b,Blank\n"))
    assert "both say item.blank" in stopped.value.message
    assert "\x1b" not in stopped.value.message


def test_an_empty_file_says_so(text: Any) -> None:
    with pytest.raises(Failure, match="it is empty"):
        asked(text("\n\n"))


def test_formats_that_are_not_read_are_told(text: Any, tmp_path: Path) -> None:
    with pytest.raises(Failure, match=r"Save it as \.xlsx"):
        is_many(str(tmp_path / "orders.ods"))
    with pytest.raises(Failure, match=r"no \.xlsx workbook"):
        asked(text(b"\xd0\xcf\x11\xe0", "orders.xlsx"))
    with pytest.raises(Failure, match="No such file"):
        asked(tmp_path / "none.csv")


# -- workbooks -------------------------------------------------------------------------------------------------------


def test_a_sheet_is_read_row_by_row(book: Any) -> None:
    rows = asked(book(LINE, [], ["A2", "tee", "DTF", 8.5, None, None]))
    assert [of.row for of in rows] == [2, 4]
    assert rows[0].order == {
        "reference": "A1",
        "item": {"blank": "tee-heavy-white"},
        "decorations": [{"transfer": "HTV", "size": {"width": "8 in", "height": "6 in"}}],
    }
    assert rows[1].order is not None
    assert rows[1].order["decorations"][0]["size"] == {"width": "8.5 in"}


def test_a_formula_that_nobody_worked_out_is_told_and_one_with_a_value_read(book: Any, tmp_path: Path) -> None:
    file = book(LINE, ["A2", "tee", "HTV", "=4*2", 6], ["A3", "tee", "HTV", 7, "=B2", "=1+1"])
    rows = asked(file)
    assert told(rows[1]) == (
        "D “Width (in)” is a formula that nobody worked out: open the file in a spreadsheet program, save it, and try"
        " again."
    )
    assert [problem.column for problem in rows[2].problems] == ["E “Height (in)”"], "F is not read"
    # As a spreadsheet program saves it: the value beside the formula.
    saved = tmp_path / "saved.xlsx"
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(saved, "w") as new:
        for part in old.namelist():
            new.writestr(
                part,
                old.read(part)
                .replace(b"<f>4*2</f><v />", b"<f>4*2</f><v>8</v>")
                .replace(b"<f>4*2</f><v></v>", b"<f>4*2</f><v>8</v>"),
            )
    (_, second, _) = asked(saved)
    assert second.order is not None
    assert second.order["decorations"][0]["size"]["width"] == "8 in"


def test_merged_cells_are_told_where_they_are_read(book: Any) -> None:
    def merge(sheet: Any) -> None:
        sheet.merge_cells("B2:B3")
        sheet.merge_cells("F2:F4")
        sheet.merge_cells("D4:E4")

    first, second, third = asked(book(LINE, LINE, LINE, change=merge))
    assert first.order is not None
    assert told(second) == "B “Blank” lies in the merged cells B2:B3, which have one value between them: unmerge them."
    assert "E “Height (in)” lies in the merged cells D4:E4" in told(third)


def test_a_date_where_text_or_a_number_is_wanted_is_told(book: Any) -> None:
    day, hour = datetime.date(2026, 3, 4), datetime.time(0, 45)
    dated, timed, elsewhere = asked(
        book([day, "tee", "HTV", 8, 6], ["A2", "tee", "HTV", hour, 6], ["A3", "tee", "HTV", 8, 6, day])
    )
    assert "A “Order no” is a date in the sheet (2026-03-04)" in told(dated)
    assert "D “Width (in)” is a time of day" in told(timed)
    assert elsewhere.order is not None


def test_numbers_stored_as_text_and_texts_stored_as_numbers(book: Any) -> None:
    (of,) = asked(book([1043, "tee", "HTV", "8", "6 in"]))
    assert of.order is not None
    assert of.order["reference"] == "1043"
    assert of.order["decorations"][0]["size"] == {"width": "8 in", "height": "6 in"}


def test_the_sheet_is_the_first_that_is_shown_or_the_one_named(book: Any, tmp_path: Path) -> None:
    def others(sheet: Any) -> None:
        hidden = sheet.parent.create_sheet("Prices", 0)
        hidden.sheet_state = "hidden"
        more = sheet.parent.create_sheet("April")
        more.append(HEADER)
        more.append(["B1", *LINE[1:]])

    file = book(LINE, change=others)
    with closing(source_of(str(file), how())) as first:
        assert (first.sheet, [of.reference for of in first.asked(1)]) == ("Orders", ["A1"])
    assert [of.reference for of in asked(file, sheet="April")] == ["B1"]
    with pytest.raises(Failure, match="there is no sheet “May”; there are “Prices”, “Orders”, “April”"):
        asked(file, sheet="May")
    text = tmp_path / "orders.csv"
    text.write_text("Blank,Transfer\n", encoding="utf-8")
    with pytest.raises(Failure, match="--sheet names a sheet of a workbook"):
        asked(text, sheet="May")


def test_a_workbook_that_unpacks_to_too_much_is_not_unpacked(book: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    file = book(LINE)
    monkeypatch.setattr(workbook, "UNPACKED_MOST", 1000)
    with pytest.raises(Failure, match="are read at most"):
        asked(file)
    monkeypatch.undo()
    monkeypatch.setattr(workbook, "HELD_MOST", 1000)
    with pytest.raises(Failure, match="are read at most"):
        asked(file)


def test_a_bomb_of_texts_is_told_by_its_size_alone(tmp_path: Path) -> None:
    file = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/sharedStrings.xml", b"<sst>" + b" " * (workbook.HELD_MOST + 1))
    assert file.stat().st_size < 200_000
    with pytest.raises(Failure, match="64 MiB are read at most"):
        asked(file)


def test_a_broken_workbook_says_so(book: Any, tmp_path: Path) -> None:
    file, broken = book(LINE, LINE), tmp_path / "broken.xlsx"
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(broken, "w") as new:
        for part in old.namelist():
            content = old.read(part)
            new.writestr(part, content[: len(content) // 2] if "sheet1" in part else content)
    with pytest.raises(Failure, match="can't be read"):
        asked(broken)


def test_a_row_that_claims_far_columns_costs_no_more_than_the_known_ones(book: Any) -> None:
    def far(sheet: Any) -> None:
        sheet.cell(2, 16_384, "far")  # the last column there is

    (of,) = asked(book(LINE, change=far))
    assert of.order is not None


# -- JSON ------------------------------------------------------------------------------------------------------------

DOCUMENTS: list[dict[str, Any]] = [
    {"reference": f"r{n}", "item": {"blank": 'x,"]}\\'}, "decorations": [{}, {"a": [1, [2]]}]} for n in range(40)
]


@pytest.mark.parametrize("read_bytes", [1, 7, 100, 65536])
def test_a_list_is_cut_into_its_orders_however_it_is_read(
    text: Any, monkeypatch: pytest.MonkeyPatch, read_bytes: int
) -> None:
    monkeypatch.setattr(listed, "_READ_BYTES", read_bytes)
    for content in (json.dumps(DOCUMENTS), json.dumps(DOCUMENTS, indent=2), "\ufeff \n" + json.dumps(DOCUMENTS)):
        source = listed.Listed(text(content, "orders.json"), lines=False)
        rows = list(source.asked(1))
        assert [of.order for of in rows] == DOCUMENTS
        assert [of.row for of in rows] == list(range(1, 41))


def test_lines_are_orders(text: Any) -> None:
    content = (
        "\ufeff"
        + "\r\n".join(json.dumps(document) for document in DOCUMENTS[:2])
        + "\n\n{\n"
        + json.dumps(DOCUMENTS[2])
    )
    rows = asked(text(content, "orders.ndjson"))
    assert [of.row for of in rows] == [1, 2, 4, 5]
    assert [of.reference for of in rows] == ["r0", "r1", None, "r2"]
    assert rows[2].order is None


def test_an_element_that_cannot_be_read_holds_up_no_other(text: Any) -> None:
    long = json.dumps({"a": "x" * (BODY_BYTES + 1)})
    content = f'[{{"item": {{}}}}, , 3, {{"a": 1, "a": 2}}, {long}, {{"reference": "last"}}]'
    rows = asked(text(content, "orders.json"))
    assert [of.order is not None for of in rows] == [True, False, False, False, False, True]
    assert "more than once" in told(rows[3])
    assert "over 262144 bytes" in told(rows[4])
    (long_line, last) = asked(text(f'{long}\n{{"reference": "last"}}\n', "orders.jsonl"))
    assert (long_line.order, last.reference) == (None, "last")


@pytest.mark.parametrize("content", ['[{"item": {}}', '[{"item": {}}] {}', '[{"item": "'])
def test_a_list_without_an_end_or_with_more_behind_it_is_told(text: Any, content: str) -> None:
    with pytest.raises(Failure, match=r"no end|behind"):
        asked(text(content, "orders.json"))


def test_one_order_is_no_list(text: Any) -> None:
    assert not is_many(str(text('{"item": {}}', "one.json")))
    assert is_many(str(text(" [ ]", "many.json")))
    assert asked(text("[]", "none.json")) == []


def test_a_table_says_what_it_does_not_read(book: Any) -> None:
    with closing(source_of(str(book(LINE)), how())) as source:
        assert isinstance(source, Table)
        assert source.columns.unread == ((5, "Customer"),)
