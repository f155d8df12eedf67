"""What columns are called and what their cells say. Which words counters use is common practice, no source.

Units are held to ``documents.units``, which is checked against pint elsewhere (tests/rules/published).
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accord_rules.documents import units
from accord_rules.documents.reading import Quantity, reader_at
from accord_rules.orders.order import Order
from accord_service.cli.failure import Failure
from accord_service.cli.tables.own_columns import columns_of, own_words
from accord_service.tables.cells import CellError, FormulaWithoutValue, Merged, values_of
from accord_service.tables.columns import Column, letter_of, missing
from accord_service.tables.fields import field_at, fields
from accord_service.tables.headers import Question, read_header
from accord_service.tables.rows import Row, asked
from accord_service.tables.words import words

W, H = "decorations.0.size.width", "decorations.0.size.height"
T, S = "decorations.0.settings.temperature", "decorations.0.settings.time"
SHEET = "decorations.0.sheet"


@pytest.mark.parametrize(
    ("header", "path", "unit"),
    [
        ("Order No.", "reference", None),
        ("JOB", "reference", None),
        ("ticket_number", "reference", None),
        ("Qty", "quantity", None),
        ("pieces", "quantity", None),
        ("Machine", "press", None),
        ("SKU", "item.blank", None),
        ("garments", "item.blank", None),
        ("Fabric", "item.substrate", None),
        ("fiber content", "item.fibres", None),
        ("Garment Color", "item.colour", None),
        ("print method", "decorations.0.transfer", None),
        ("Decoration", "decorations.0.transfer", None),
        ("Print Location", "decorations.0.placement", None),
        ("Width (in)", W, "in"),
        ("height [cm]", H, "cm"),
        ('Height "', H, "in"),
        ("width in inches", W, "in"),
        ("width_mm", W, "mm"),
        ("temp °F", T, "°F"),
        ("Temp°C", T, "°C"),
        ("Temperature deg F", T, "°F"),
        ("time_s", S, "s"),
        ("Dwell (min)", S, "min"),
        ("pressure psi", "decorations.0.settings.pressure", "psi"),
        ("Fabric weight oz/yd2", "item.mass_per_area", "oz/yd²"),
        ("Quantity (pcs)", "quantity", None),
        ("Age from (years)", "use.age_from", None),
        ("Print size (W x H)", "decorations.0.size", None),
        ("size (cm x cm)", "decorations.0.size", "cm"),
        ("GSM", "item.mass_per_area", "g/m²"),
        ("Print colours", "decorations.0.artwork.colours", None),
        ("finest line mm", "decorations.0.artwork.finest_line", "mm"),
        ("age from", "use.age_from", None),
        ("Kinds of use", "use.kinds", None),
        ("Market", "use.market", None),
        ("due in (h)", "due_in", "h"),
        ("item.blank", "item.blank", None),
        ("decorations.0.transfer", "decorations.0.transfer", None),
        ("transfer 2", "decorations.1.transfer", None),
        ("width 2 (in)", "decorations.1.size.width", "in"),
        ("Print 3 width [mm]", "decorations.2.size.width", "mm"),
        ("2nd transfer", "decorations.1.transfer", None),
        ("size2 (cm)", "decorations.1.size", "cm"),
        ("decorations.1.size.width (in)", "decorations.1.size.width", "in"),
        ("item.fibres.CO", "item.fibres.CO", None),
    ],
)
def test_headers_as_counters_write_them(header: str, path: str, unit: str | None) -> None:
    read = read_header(header)
    assert read is not None
    assert read.paths == (path,)
    assert (read.unit and read.unit.symbol) == unit


@pytest.mark.parametrize(
    "header",
    [
        "customer",
        "Due date",
        "Notes",
        "Price",
        "Phone",
        "Team",
        "File",
        "Address 2",
        "e-mail",
        "Press notes",
        "Item price",
    ],
)
def test_what_no_order_has_is_left_out(header: str) -> None:
    assert read_header(header) is None


@pytest.mark.parametrize(
    ("header", "nearest"),
    [
        ("qantity", "quantity"),
        ("Heigth (in)", "height"),
        ("Widht", "width"),
        ("Substrat", "substrate"),
        ("Tranfer 2", "transfer"),
        ("widht mm", "width"),
    ],
)
def test_a_slip_of_the_hand_is_asked_about_with_the_nearest(header: str, nearest: str) -> None:
    with pytest.raises(Question, match=f"“{nearest}”"):
        read_header(header)


@pytest.mark.parametrize(
    ("header", "sentence"),
    [
        ("colours", "“print colours” or “blank colour”"),
        ("blank 2", "only prints are numbered"),
        ("Width (furlong)", "no unit of length"),
        ("transfer 13", "12 prints"),
        ("ID", "“order no”, “sku” or “press name”"),
        ("Quantity (dozens)", "not what orders count in"),
        ("Age from (months)", "not what orders count in"),
        ("ages (months)", "not what orders count in"),
        ("size (H x W)", "no unit of length"),
    ],
)
def test_what_can_mean_two_things_is_asked(header: str, sentence: str) -> None:
    with pytest.raises(Question, match=sentence):
        read_header(header)


def test_every_field_is_reached_by_its_path_and_by_words() -> None:
    reached = {field.path for field in words().values()}
    for path, field in fields().items():
        if field.span is None:
            header = read_header(path)
            assert header is not None, path
            assert header.paths == (path,)
        assert path in reached, path
    for word, field in words().items():
        header = read_header(word)
        assert header is not None, word
        assert header.field == field, word


@given(st.sampled_from([f for f in fields().values() if f.dimension]), st.data())
def test_a_number_under_a_header_with_a_unit_is_that_quantity(field: Any, data: Any) -> None:
    """Whatever the unit, its spelling and where it stands in the header; the reader of orders reads it back."""
    unit = data.draw(st.sampled_from(field.dimension.units))
    spelling = data.draw(
        st.sampled_from(
            [s for s in (unit.symbol, *unit.spellings) if not set(s) & set("()[]") and len(s) > 1] or [unit.symbol]
        )
    )
    header = read_header(data.draw(st.sampled_from([f"{field.path} ({spelling})", f"{field.path} [{spelling}]"])))
    assert header is not None
    assert header.unit == unit
    number = data.draw(st.integers(1, 99))
    if isinstance(field.reader, Quantity):
        column = Column(0, "x", header)
        (said,) = values_of(column, number).values()
        assert said == f"{number} {unit.symbol}"
        value = round(unit.inside(number), 9)
        if field.dimension.least < value <= min(field.dimension.most, field.reader.most or field.dimension.most):
            assert units.parse(field.dimension, said, field.reader.field) == pytest.approx(value)


def cell(header: str, value: Any) -> Any:
    read = read_header(header)
    assert read is not None
    return dict(values_of(Column(0, header, read), value))


@pytest.mark.parametrize(
    ("header", "value", "said"),
    [
        ("width (in)", 8, {W: "8 in"}),
        ("width (in)", "8 1/2", {W: "8 1/2 in"}),
        ("width (in)", '8"', {W: '8"'}),
        ("width (in)", "8,5", {W: "8,5 in"}),
        ("width", "200 mm", {W: "200 mm"}),
        ("time (s)", "1:10", {S: "1:10"}),
        ("temp (°F)", 383.0, {T: "383 °F"}),
        ("temp (°C)", 0.1 + 0.2, {T: "0.3 °C"}),
        ("size", "8 x 10 in", {"decorations.0.size": {"width": "8 in", "height": "10 in"}}),
        ("size (mm)", "200×150", {"decorations.0.size": {"width": "200 mm", "height": "150 mm"}}),
        ("fibres", "50 % cotton 50 % polyester", {"item.fibres": {"cotton": 50, "polyester": 50}}),
        ("fibres", "60/40 CO/PES", {"item.fibres": {"CO": 60, "PES": 40}}),
        ("composition", "cotton 95, elastane 5", {"item.fibres": {"cotton": 95, "elastane": 5}}),
        ("composition", "65% polyester and 35% cotton", {"item.fibres": {"polyester": 65, "cotton": 35}}),
        (
            "sheet temperature (°F)",
            "270-290",
            {"decorations.0.sheet.temperature": {"least": "270 °F", "most": "290 °F"}},
        ),
        ("sheet time", "10-15 s", {"decorations.0.sheet.time": {"least": "10 s", "most": "15 s"}}),
        ("sheet time (s)", 12, {"decorations.0.sheet.time": "12 s"}),
        ("features", "nothing", {"item.features": []}),
        ("ages", "3-6", {"use.age_from": 3, "use.age_to": 6}),
        ("ages", "3+", {"use.age_from": 3}),
        ("sizes", "S-XL", {"use.size_from": "S", "use.size_to": "XL"}),
        ("use", "childcare, toy", {"use.kinds": ["childcare", "toy"]}),
        ("white", "Yes", {"decorations.0.artwork.white": True}),
        ("mirrored", False, {"decorations.0.artwork.mirrored": False}),
        ("pressure", "Medium", {"decorations.0.settings.pressure": "medium"}),
        ("pressure", "40 psi", {"decorations.0.settings.pressure": "40 psi"}),
        ("position", "Left chest", {"decorations.0.placement": "left-chest"}),
        ("order no", 1043.0, {"reference": "1043"}),
        ("qty", 12.0, {"quantity": 12}),
        ("qty", "12.0", {"quantity": 12}),
        ("age from", "1,5", {"use.age_from": 1.5}),
        ("item.fibres.CO", 33.333, {"item.fibres.CO": 33.333}),
        ("blank", "  TS-100-W ", {"item.blank": "TS-100-W"}),
        ("blank", "   ", {}),
        ("item.fibres.CO", 60, {"item.fibres.CO": 60}),
    ],
)
def test_cells_as_counters_write_them(header: str, value: Any, said: dict[str, Any]) -> None:
    assert cell(header, value) == said


@pytest.mark.parametrize(
    ("header", "value", "sentence"),
    [
        ("width (in)", "8 cm", "under a header that says in"),
        ("size (mm)", "200 x 8 in", "under a header that says mm"),
        ("width", 8, r"write the unit into the header \(“width \(in\)”\)"),
        ("temp", "180", r"“temp \(°F\)”"),
        ("size", "XL", "width x height"),
        ("qty", "a dozen", "whole number"),
        ("qty", "nan", "whole number"),
        ("qty", "1,000", "without a mark between its thousands"),
        ("qty", "1.000", "whole number"),
        ("qty", 12.5, "whole number"),
        ("age from", "1,500", "without a mark"),
        ("white", "maybe", "yes or no"),
        ("fibres", "cotton and wool", "percent of each fibre"),
        ("fibres", "50/50 polycotton", "percent of each fibre"),
        ("order no", datetime.datetime(2026, 3, 4), "is a date in the sheet .2026-03-04."),
        ("time (s)", datetime.time(0, 45), "time of day"),
        ("blank", "#REF!", "shows the error #REF!"),
        ("blank", FormulaWithoutValue(), "formula that nobody worked out"),
        ("blank", Merged("B2:B4"), "merged cells B2:B4"),
        ("blank", "x" * 1001, "1000 are read at most"),
    ],
)
def test_cells_that_cannot_be_read_say_why(header: str, value: Any, sentence: str) -> None:
    with pytest.raises(CellError, match=sentence):
        cell(header, value)


def test_a_row_is_the_order_that_its_cells_say() -> None:
    titles = ["Order no", "Blank", "Transfer", "Width (in)", "Height (in)", "Transfer 2", "Position 2", "Customer"]
    columns = columns_of(titles, own_words(None, ()), "x")
    of = asked(Row(2, ["A", "tee-heavy-white", "HTV", 8, 6, "DTF", "sleeve", "Somebody"]), columns)
    assert of.problems == ()
    assert of.order == {
        "reference": "A",
        "item": {"blank": "tee-heavy-white"},
        "decorations": [
            {"transfer": "HTV", "size": {"width": "8 in", "height": "6 in"}},
            {"transfer": "DTF", "placement": "sleeve"},
        ],
    }
    gap = asked(Row(3, ["A", "tee", None, None, None, "DTF", "sleeve"]), columns)
    assert [problem.sentence for problem in gap.problems] == [
        "print 2 is filled in and print 1 is empty: prints are numbered from 1."
    ]


def test_own_words_come_before_the_known_ones(tmp_path: Path) -> None:
    file = tmp_path / "columns.toml"
    file.write_text(
        '[columns]\nArtikelnummer = "item.blank"\n"Breite (cm)" = "width"\nHoehe = "height (mm)"\nPrint = ""\n'
        'Verfahren = "method"\n',
        encoding="utf-8",
    )
    titles = ["Artikelnummer", "Breite (cm)", "Hoehe", "Print", "Verfahren", "Menge"]
    columns = columns_of(titles, own_words(file, ("Menge=quantity",)), "x")
    assert {column.title: column.header.paths[0] for column in columns.read} == {
        "Artikelnummer": "item.blank",
        "Breite (cm)": W,
        "Hoehe": H,
        "Verfahren": "decorations.0.transfer",
        "Menge": "quantity",
    }
    assert [column.unit and column.unit.symbol for column in columns.read] == [None, "cm", "mm", None, None]
    assert columns.unread == ((3, "Print"),)


@pytest.mark.parametrize(
    ("titles", "told", "sentence"),
    [
        (["Blank", "Garment", "Transfer"], (), "both say item.blank"),
        (["Blank", "Transfer", "Size", "Width (in)"], (), "both say decorations.0.size"),
        (["Blank", "Transfer"], ("Artikel=item.blank",), "no such header"),
        (["Blank", "Transfer"], ("Blank=item.blnk",), "there is no field"),
        (["Blank", "Transfer"], ("Blank",), "HEADER=FIELD"),
        (["Tuesday", "Somebody"], (), "--header-row"),
        (["Blank"] * 501, (), "500 are read at most"),
    ],
)
def test_columns_that_are_not_clear_stop_with_a_sentence(
    titles: list[str], told: tuple[str, ...], sentence: str
) -> None:
    with pytest.raises(Failure, match=sentence):
        columns_of(titles, own_words(None, told), "x")


def test_every_question_is_told_at_once() -> None:
    with pytest.raises(Failure) as stopped:
        columns_of(["Blnk x", "Qantity", "Widht (in)", "Colours"], own_words(None, ()), "x")
    assert sum(line.startswith("  ") for line in stopped.value.message.splitlines()) == 3


@pytest.mark.parametrize("content", ['x = "y"', "[columns]\nA = 1", "[columns", '[columns]\nA = "no such field"'])
def test_a_file_of_columns_that_is_wrong_says_so(tmp_path: Path, content: str) -> None:
    file = tmp_path / "columns.toml"
    file.write_text(content, encoding="utf-8")
    with pytest.raises(Failure, match=r"columns\.toml"):
        own_words(file, ())


def test_what_is_missing_is_a_plain_sentence() -> None:
    lacking = missing(columns_of(["Order no", "Qty"], own_words(None, ()), "x"))
    assert [sentence.split(":")[0] for sentence in lacking] == [
        "No column says what the piece is",
        "No column says how it is decorated",
    ]
    assert missing(columns_of(["Fabric", "Print"], own_words(None, ()), "x")) == ()


def test_a_fault_of_an_answer_is_put_to_its_column() -> None:
    columns = columns_of(["Blank", "Size (in)", "Composition"], own_words(None, ()), "x")
    places = {"/item/blank": "A", "/decorations/0/size/width": "B", "/item/fibres/XX": "C", "/decorations/0/size": "B"}
    for pointer, letter in places.items():
        column = columns.at(pointer)
        assert column is not None
        assert column.letter == letter
    assert columns.at("/press") is None


def test_columns_are_lettered_as_spreadsheets_do() -> None:
    # As spreadsheets name columns: bijective base 26 (from memory).
    assert [letter_of(index) for index in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


def test_paths_are_those_of_orders() -> None:
    for path, field in fields().items():
        if field.span is None and ".care." not in path and not path.startswith("press."):
            assert reader_at(Order, "/" + path.replace(".", "/")), path
    assert field_at("decorations.12.transfer") is None
    assert field_at("item.no_such") is None
