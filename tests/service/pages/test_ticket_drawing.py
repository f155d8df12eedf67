"""What is drawn on tickets: over the tickets of the demo's orders, no label lies over a line, another label or the rim.

By day of every third order, by night of each. Sources beside the checks; where there is none, it is this project's own
contract.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from itertools import combinations

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from tests.service.pages.drawn import Drawn, drawn_tickets, smallest_pt
from tests.tiers import of_this_run

from accord_rules.authority import Authority
from accord_rules.documents.units import UNIT_SYSTEMS
from accord_rules.load.loader import load_book
from accord_service.pages.ticket.chart import chart_scene
from accord_service.pages.ticket.labels import Label, column, needed_mm
from accord_service.pages.ticket.letters import in_plain_letters, printable
from accord_service.pages.ticket.pdf import pdf
from accord_service.pages.ticket.scene import Box, Dot, Line, Rect, Scene, Text, width_of, words_of, wrapped
from accord_service.pages.ticket.sheet import code_scene, sheets
from accord_service.pages.ticket.stack import LEAST_MM, stack_scene
from accord_service.pages.ticket.svg import svg
from accord_service.pages.ticket.told import PAPERS
from demo import expected as day

STEP = of_this_run(9, 3, 1)  # one of so many orders of the demo is drawn
# As wide and with letters as large as on the page, on a sheet, and on one drawn closer.
SIZES = ((80.0, 3.0), (65.0, 1.9), (65.0, 1.75))


@pytest.fixture(scope="module")
def tickets() -> list[Drawn]:
    authority = Authority(load_book())
    try:
        return list(drawn_tickets(authority, STEP))
    finally:
        authority.close()


def overlaps(scene: Scene) -> list[tuple[str, str]]:
    """Labels that lie over a line, another label or the rim, each with over what."""
    boxes = [text.box for text in scene.texts]
    over = [(text.text, "the rim") for text, box in zip(scene.texts, boxes, strict=True) if not scene.frame.holds(box)]
    over += [
        (one.text, other.text)
        for (one, box), (other, other_box) in combinations(zip(scene.texts, boxes, strict=True), 2)
        if box.meets(other_box)
    ]
    lines = scene.lines
    over += [
        (text.text, f"{line}")
        for text, box in zip(scene.texts, boxes, strict=True)
        for line in lines
        if line.crosses(box)
    ]
    return over


def drawings(of: Drawn) -> Iterator[Scene]:
    for part in of.told.parts:
        for width, size in SIZES:
            yield from (stack_scene(layers, width, size, name) for name, layers in part.stacks)
            if part.explained is not None:
                yield chart_scene(part.explained, of.told.units, width, 0.0, size)


# -- labels ------------------------------------------------------------------------------------------------------------


def test_what_lies_over_something_is_found() -> None:
    """The check below can fail: each kind of overlap, and none where things only touch."""
    label = Text(x=10.0, y=10.0, text="label", size=2.0)
    box = label.box
    for over in (
        Line(x1=0.0, y1=9.5, x2=30.0, y2=9.5),
        Line(x1=11.0, y1=0.0, x2=11.0, y2=30.0),
        Line(x1=0.0, y1=0.0, x2=22.0, y2=20.0),
        Rect(x=11.0, y=9.0, width=20.0, height=20.0),
        Text(x=box.right - 0.1, y=10.0, text="another", size=2.0),
    ):
        assert overlaps(Scene(40.0, 40.0, (label, over))), over
    assert overlaps(Scene(40.0, 10.2, (label,)))
    touching = Line(x1=0.0, y1=box.bottom, x2=30.0, y2=box.bottom)
    beside = Text(x=box.right, y=10.0, text="beside", size=2.0)
    assert overlaps(Scene(40.0, 40.0, (label, touching, beside))) == []


def test_no_label_of_a_drawing_lies_over_anything(tickets: list[Drawn]) -> None:
    assert len(tickets) > 100 / STEP
    assert [(of.name, over) for of in tickets for scene in drawings(of) if (over := overlaps(scene))] == []


def test_no_text_of_a_sheet_lies_over_anything(tickets: list[Drawn]) -> None:
    some = [*tickets[::8], *(of for of in tickets if len(of.told.parts) > 1 or not of.as_judged)]
    over = [(of.name, paper, overlaps(scene)) for of in some for paper in PAPERS for scene in sheets(of.told, paper)]
    assert [entry for entry in over if entry[2]] == []


@given(
    st.lists(st.tuples(st.floats(0.0, 60.0), st.integers(1, 3)), min_size=1, max_size=9),
    st.floats(0.0, 30.0),
)
def test_labels_find_room_wherever_what_they_name_lies(named: list[tuple[float, int]], spare: float) -> None:
    labels = [Label(at, ("name",), ("more",) * (lines - 1), 1.9) for at, lines in named]
    height = needed_mm(labels) + spare
    marks = tuple(column(labels, tie=20.0, left=30.0, top=0.0, bottom=height))
    texts = Scene(100.0, height, tuple(mark for mark in marks if isinstance(mark, Text)))
    assert overlaps(texts) == []
    leaders = [mark for mark in marks if isinstance(mark, Line)]
    assert [(line, text) for line in leaders for text in texts.texts if line.crosses(text.box)] == []


# -- the chart ---------------------------------------------------------------------------------------------------------


def test_ticks_are_in_the_units_of_the_shop(tickets: list[Drawn]) -> None:
    """Display in the unit that the setting is given in, and what is set lies between the first and the last tick's."""
    systems = set()
    for of in tickets:
        for part in of.told.parts:
            if part.explained is None:
                continue
            scene = chart_scene(part.explained, of.told.units, 65.0, 0.0, 1.9)
            unit = of.told.units.temperature
            systems.add(unit)
            assert scene.texts[0].text == f"Display, {unit}, over dwell, s"
            assert part.large.display.endswith(unit)
            shown = [float(text.text) for text in scene.texts if text.anchor == "end"]
            set_ = float(part.large.display.split()[0])
            step = shown[1] - shown[0]
            assert shown[0] - step <= set_ <= shown[-1] + step
    assert systems == {"°F", "°C"}


def test_what_is_set_stands_where_its_axes_say() -> None:
    """A window of 100 s to 200 s and 150 °C to 170 °C with 160 °C for 150 s set: the dot is in its middle."""
    ends = {"least": "150 °C", "least_c": 150.0, "most": "170 °C", "most_c": 170.0}
    explained = {
        "temperature": "160 °C",
        "temperature_c": 160.0,
        "window": ends,
        "widest_window": {"least": "145 °C", "least_c": 145.0, "most": "175 °C", "most_c": 175.0},
        "spots": {"least": "156 °C", "least_c": 156.0, "most": "164 °C", "most_c": 164.0},
        "ceilings": [{"what": "fibre", "most": "180 °C", "most_c": 180.0, "because": "it melts from 177 °C"}],
        "time_s": 150.0,
        "time_window": {"least": "100 s", "least_s": 100.0, "most": "200 s", "most_s": 200.0},
    }
    scene = chart_scene(explained, UNIT_SYSTEMS["metric"], 65.0, 0.0, 1.9)
    wide, allowed = (mark for mark in scene.marks if isinstance(mark, Rect))
    (dot,) = (mark for mark in scene.marks if isinstance(mark, Dot))
    assert (dot.x, dot.y) == pytest.approx((allowed.x + allowed.width / 2, allowed.y + allowed.height / 2))
    assert allowed.height / wide.height == pytest.approx(20 / 30)
    spread = next(mark for mark in scene.marks if isinstance(mark, Line) and mark.x1 == mark.x2 and mark.stroke > 0.4)
    assert abs(spread.y1 - spread.y2) / allowed.height == pytest.approx(8 / 20)
    ceiling = next(mark for mark in scene.marks if isinstance(mark, Line) and mark.style == "dashed")
    assert (wide.y - ceiling.y1) / wide.height == pytest.approx(5 / 30)
    said = {text.text.replace("\xa0", " ") for text in scene.texts}
    assert {"180 °C", "ceiling: the fibre", "160 °C, 2 min 30 s", "set this"} <= said


# -- the stack ---------------------------------------------------------------------------------------------------------


def test_layers_are_to_scale_where_they_are_not_said_to_be_drawn_higher(tickets: list[Drawn]) -> None:
    exact = 0
    for of in tickets:
        for part in of.told.parts:
            for name, layers in part.stacks:
                scene = stack_scene(layers, 65.0, 1.9, name)
                bands = [mark for mark in scene.marks if isinstance(mark, Rect)]
                assert [band.fill for band in bands] == [layer["kind"] for layer in layers]
                scales = set()
                for band, layer in zip(bands, layers, strict=True):
                    if layer["kind"] == "platen":
                        continue
                    if band.edge == "dashed":
                        assert band.height == LEAST_MM
                    else:
                        scales.add(round(band.height / layer["thickness_mm"], 6))
                assert len(scales) <= 1, (of.name, scales)
                exact += len(scales)
    assert exact > len(tickets) / 2


def test_every_layer_says_in_words_how_its_face_lies(tickets: list[Drawn]) -> None:
    for of in tickets:
        for part in of.told.parts:
            for name, layers in part.stacks:
                said = " ".join(text.text for text in stack_scene(layers, 65.0, 1.9, name).texts).replace("\xa0", " ")
                assert all(layer["what"] in said and layer["face"] in said for layer in layers), said
                assert sum(layer["kind"] == "piece" for layer in layers) == (name != "Marry sheets")


def test_thicknesses_are_the_books() -> None:
    """A print of dye is no layer of its own, and its paper is as thick as the book says its paper is."""
    book = load_book()
    authority = Authority(book)
    order = day.read_order("011-coasters-hardboard-draw")
    shop = day.read_shops()[day.read_expected()["011-coasters-hardboard-draw"]["shop"]]
    (plan, *_) = authority.recommend(order, shop, most=1).plans
    authority.close()
    layers = {layer.kind: layer for layer in plan.decorations[0].stacks[0].layers}
    paper = book.transfer(plan.decorations[0].transfer)
    assert paper is not None
    assert layers["print"].thickness_mm == 0.0
    assert layers["carrier"].thickness_mm == pytest.approx(paper.thickness)
    blank = book.catalogue["blanks"][order.item.blank]
    own, substrate = blank.thickness, book.catalogue["substrates"][blank.substrate]
    assert layers["piece"].thickness_mm == (substrate.thickness if own is None else own)


# -- sheets ------------------------------------------------------------------------------------------------------------


def test_a_print_has_a_sheet(tickets: list[Drawn]) -> None:
    """One for each; few need a second for their last steps, and each sheet of several says which it is."""
    many = 0
    for of in tickets[::2]:
        laid_out = sheets(of.told, "letter")
        many += len(laid_out) > len(of.told.parts)
        pages = [f"Sheet {number} of {len(laid_out)}" for number in range(1, len(laid_out) + 1)]
        assert len(laid_out) == 1 or [scene.texts[-1].text for scene in laid_out] == pages
    assert many <= len(tickets[::2]) / 8


def test_no_letter_is_smaller_than_the_smallest_that_may_be_printed(tickets: list[Drawn]) -> None:
    """An x-height of 0.9 mm, the least on small packs by Regulation (EU) No 1169/2011, Article 13(3). Helvetica's is
    0.523 of its size by Adobe's font metrics."""
    for of in tickets:
        assert smallest_pt(of, "a5") / 72 * 25.4 * 0.523 >= 0.9, of.name
        assert smallest_pt(of, "letter") > smallest_pt(of, "a5")


def test_all_that_is_told_stands_on_the_sheets(tickets: list[Drawn]) -> None:
    for of in tickets[::6]:
        told = of.told
        on_sheets = " ".join(text.text for scene in sheets(told, "a5") for text in scene.texts).replace("\xa0", " ")
        for part in told.parts:
            steps = [text for stage in part.stages for _, text in stage.steps]
            settings = [part.large.display, part.large.time, *(text for _, text in (*part.rows, *part.waits))]
            for sentence in (*steps, *settings, *(layer["what"] for _, layers in part.stacks for layer in layers)):
                assert all(word in on_sheets for word in words_of(sentence)[0].split("\xa0")), sentence
        heeded = [sentence for heed in (*told.heeds, *told.parts[0].heeds) for sentence in heed.sentences]
        for sentence in (*told.slip, *heeded, told.verdict_id, *told.signed):
            assert " ".join(sentence.split()[:2]) in on_sheets, sentence


# -- how it is written -------------------------------------------------------------------------------------------------


def test_a_drawing_is_sound_svg_without_styles(tickets: list[Drawn]) -> None:
    """XML that is read by another reader; what the pages' Content-Security-Policy would drop is not in it."""
    for scene in drawings(tickets[0]):
        root = ET.fromstring(svg(scene, name="drawing"))
        attributes = {name for element in root.iter() for name in element.attrib}
        assert attributes.isdisjoint({"style", "class", "onload", "href"})
        assert root.attrib["role"] == "img"
        assert root.find("{*}title").text == scene.title  # type: ignore[union-attr]
        texts = [element.text for element in root.findall(".//{*}text")]
        assert texts == [text.text for text in scene.texts]


def test_what_shops_write_is_text_in_svg() -> None:
    scene = Scene(10.0, 10.0, (Text(x=0.0, y=5.0, text="<script>&\"'", size=2.0),), "<b>")
    root = ET.fromstring(svg(scene, name='a"b'))
    assert [element.text for element in root.findall(".//{*}text")] == ["<script>&\"'"]


def test_the_same_ticket_is_the_same_bytes(tickets: list[Drawn]) -> None:
    told = tickets[0].told
    once, again = (pdf(sheets(told, "a5"), PAPERS["a5"], title=told.title, subject="a press") for _ in range(2))
    assert once == again
    read = PdfReader(BytesIO(once))
    assert read.metadata is not None
    assert (read.metadata.title, read.metadata.subject) == (told.title, "a press")
    assert read.trailer["/Root"]["/Lang"] == "en-GB"
    assert [round(float(side) / 72 * 25.4) for side in read.pages[0].mediabox[2:]] == [148, 210]


def test_texts_of_a_pdf_can_be_selected(tickets: list[Drawn]) -> None:
    scene = sheets(tickets[0].told, "a5")[0]
    told = PdfReader(BytesIO(pdf((scene,), PAPERS["a5"], title="", subject=""))).pages[0].extract_text()
    lines = told.replace("\xa0", " ")
    assert [text.text for text in scene.texts if text.text.replace("\xa0", " ") not in lines] == []


@pytest.mark.parametrize(
    ("name", "written_as"),
    [
        ("Küche “am Tor” – 180 °C ±5 é", "Küche “am Tor” – 180 °C ±5 é"),
        ("Łódź, Čačak, İzmir", "Lódz, Cacak, Izmir"),
        ("−5 µm", "-5 µm"),
        ("印刷", "[...]"),
        ("Καφές και Κούπες, Łódź", "[...] Lódz"),
        ("Печать 24", "[...] 24"),
        ("Erdős Őr", "Erdos Or"),
    ],
)
def test_what_the_letters_of_a_pdf_do_not_have_is_written_plainly(name: str, written_as: str) -> None:
    assert printable(name) == written_as


@pytest.mark.parametrize(
    ("shop", "plain", "told_of_it"),
    [
        ("Kiln Corner, Café “Süd”", "Kiln Corner, Café “Süd”", False),
        ("Łódź Őrség", "Lódz Orség", True),
        ("Κούπες & Prints", "[...] & Prints", True),
        ("Кружки", "[...]", True),
    ],
)
def test_names_in_other_letters_are_neither_boxes_nor_mangled_and_the_file_says_so(
    shop: str, plain: str, told_of_it: bool, tickets: list[Drawn]
) -> None:
    """In the file as they can be written, with a sentence; printed from the page as they are."""
    told = replace(tickets[0].told, shop=shop)
    for paper in PAPERS:
        laid_out = sheets(in_plain_letters(told), paper)
        read = PdfReader(BytesIO(pdf(laid_out, PAPERS[paper], title=told.title, subject="")))
        said = " ".join(" ".join(page.extract_text() for page in read.pages).replace("\xa0", " ").split())
        assert f"Job ticket · {plain}" in said
        assert ("LETTERS: This file has the letters of western Europe alone" in said) is told_of_it
        assert not {"?", "■", "□", "\ufffd"} & set(said)
        from_page = sheets(told, paper)
        assert any(shop in text.text for text in from_page[0].texts)
        assert [over for scene in (*laid_out, *from_page) for over in overlaps(scene)] == []


def test_a_code_is_read_back_as_the_verdicts_id() -> None:
    """By ZXing, which shares no code with what writes it; ISO/IEC 18004 wants four modules of quiet around it."""
    name = "vd_" + "5fe4f4fac16f6bfbfd68e9050a672de664054939"
    scene, dots = code_scene(name, 15.0), 20
    picture = np.full((round(15 * dots), round(15 * dots)), 255, dtype=np.uint8)
    for mark in scene.marks:
        if isinstance(mark, Rect) and mark.fill == "ink":
            ends = (mark.y, mark.y + mark.height, mark.x, mark.x + mark.width)
            top, bottom, left, right = (round(end * dots) for end in ends)
            picture[top:bottom, left:right] = 0
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.text == name
    dark = [mark for mark in scene.marks if isinstance(mark, Rect) and mark.fill == "ink"]
    module = min(mark.height for mark in dark) - 0.01
    assert min(mark.x for mark in dark) == pytest.approx(4 * module)


# -- texts -------------------------------------------------------------------------------------------------------------


@given(st.text(st.characters(codec="latin-1", exclude_categories=["C"]), max_size=200), st.floats(8.0, 80.0))
def test_lines_are_no_wider_than_their_room_and_lose_nothing(text: str, room: float) -> None:
    lines = wrapped(text, 2.0, room)
    assert all(width_of(line, 2.0) <= room + 1e-6 or len(line) == 1 for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_number_stays_with_its_unit() -> None:
    assert words_of("up to 1 min 20 s at 180 °C, 3 in and 5 mm/s") == [
        "up", "to", "1\xa0min", "20\xa0s", "at", "180\xa0°C,", "3\xa0in", "and", "5", "mm/s",
    ]  # fmt: skip


def test_boxes_that_touch_do_not_meet() -> None:
    box = Box(0.0, 0.0, 10.0, 10.0)
    assert not box.meets(Box(10.0, 0.0, 20.0, 10.0))
    assert box.meets(Box(9.9, 9.9, 20.0, 20.0))
    assert box.holds(Box(0.0, 0.0, 10.0, 5.0))
    assert not box.holds(Box(0.0, 0.0, 10.1, 5.0))
