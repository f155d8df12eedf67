"""Strict reading: every fault with its JSON Pointer (RFC 6901), and what is allowed if it can be listed."""

from __future__ import annotations

import copy
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from accord_rules.documents import units
from accord_rules.documents.reading import (
    CODES,
    DocumentError,
    Fault,
    Instant,
    LeafError,
    Many,
    Name,
    Number,
    Quantity,
    Table,
    Text,
    Whole,
    escape,
    names_in,
    optional,
    read,
    readers_of,
    required,
)
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import KINDS

ROOT = Path(__file__).parents[3]
PLAIN: dict[str, Any] = {
    "item": {"blank": "tee-heavy-white"},
    "decorations": [{"transfer": "cut-film", "size": {"width": "200 mm", "height": "150 mm"}}],
}


def faults(cls: type, document: Any) -> dict[str, Fault]:
    with pytest.raises(DocumentError) as refused:
        read(cls, document)
    return {fault.pointer: fault for fault in refused.value.faults}


def order_with(pointer: str, value: Any) -> dict[str, Any]:
    document = copy.deepcopy(PLAIN)
    *path, last = pointer.split("/")[1:]
    place: Any = document
    for step in path:
        place = place[int(step)] if isinstance(place, list) else place.setdefault(step, {})
    place[last] = value
    return document


def test_a_point_in_time_is_read_with_its_offset() -> None:
    """RFC 3339 section 5.8: these are the same instant; its own example in the second line, and the epoch."""
    assert Instant().leaf("1996-12-19T16:39:57-08:00") == Instant().leaf("1996-12-20T00:39:57Z") == 851042397.0
    assert Instant().leaf("1985-04-12T23:20:50.52Z") == 482196050.52
    assert Instant().leaf("1970-01-01T00:00:00Z") == 0.0
    for wrong in ("1996-12-19", "1996-12-19T16:39:57", "1996-12-19 16:39:57Z", "1996-02-30T00:00:00Z", 851042397, None):
        with pytest.raises(LeafError):
            Instant().leaf(wrong)


def test_what_is_allowed_is_written_with_the_nearest_first_and_cut_with_a_count() -> None:
    words = tuple(f"name-{number:02}" for number in range(30))
    written = Fault("/a", "is no name", words, code="not-allowed", refused="name-29x").document()
    assert (written["allowed"][0], len(written["allowed"]), written["allowed_left_out"]) == ("name-29", 20, 10)
    unlike = Fault("/a", "is no name", ("b", "a"), code="not-allowed", refused="???").document()
    assert (unlike["allowed"], unlike["allowed_left_out"]) == (["b", "a"], 0), "in their own order"


@pytest.mark.parametrize("message", ["is no name", "is no name.", "is no name.. "])
def test_a_fault_is_written_with_one_full_stop(message: str) -> None:
    assert Fault("", message, code="not-allowed").document()["message"] == "is no name."


def test_every_code_is_one_of_those_told() -> None:
    """The words that programs rely on have one home; a reader that makes up its own is found here."""
    sources = [file.read_text("utf-8") for room in ("rules", "service") for file in (ROOT / room).rglob("*.py")]
    used = {code for text in sources for code in re.findall(r'code(?:="|: str = field\(default=")([a-z-]+)"', text)}
    assert used == set(CODES)


def test_a_plain_order_is_read_into_inside_units() -> None:
    order = read(Order, order_with("/decorations/0/settings", {"temperature": "392 °F", "time": "1 min 10 s"}))
    settings = order.decorations[0].settings
    assert settings is not None
    assert settings.temperature == pytest.approx(200.0)
    assert settings.time == 70.0


SETTINGS = "/decorations/0/settings"


@pytest.mark.parametrize(
    ("pointer", "value", "says"),
    [
        ("/colour", "red", "is not a known field"),
        ("/item/color", "red", "is not a known field"),
        ("/item", [], "must be an object, not a list"),
        ("/item", None, "must be an object, not null"),
        ("/decorations", {}, "must be a list, not an object"),
        ("/decorations", [], "must have 1 to 12 entries, has 0"),
        ("/decorations", [{}] * 13, "must have 1 to 12 entries, has 13"),
        ("/quantity", 0, "must be from 1 to 1000000"),
        ("/quantity", -3, "must be from 1 to 1000000"),
        ("/quantity", 2.0, "must be a whole number from 1 to 1000000, not 2.0"),
        ("/quantity", "3", "not '3'"),
        ("/quantity", True, "not true or false"),
        ("/item/fibres", {}, "must have 1 to 12 entries, has 0"),
        ("/item/fibres/CO", 0, "must be from 0.1 to 100"),
        ("/item/fibres/CO", float("nan"), "must be from 0.1 to 100"),
        ("/item/fibres/CO", float("inf"), "must be from 0.1 to 100"),
        ("/item/fibres/CO", "100", "must be a number from 0.1 to 100, not '100'"),
        ("/item/blank", "", "must have 1 to 80 characters, has 0"),
        ("/item/blank", "x" * 81, "must have 1 to 80 characters, has 81"),
        ("/item/blank", "tee\u202e", "must not contain U+202E: "),
        ("/item/blank", "tee\u200b", "nothing that nobody sees"),
        ("/item/blank", "tee\n", "control characters"),
        ("/item/blank", "\ud800", "half a surrogate pair"),
        ("/item/features", ["zip", "zip"], "must not name the same thing twice"),
        ("/item/dye", "purple", "'purple' is not one of the allowed words"),
        ("/item/dye", 3, "must be one of the allowed words, not a number"),
        ("/item/care", {}, "/item/care/iron"),
        ("/press", 3, "must be an object, not a number"),
        ("/press", {"id": "attic"}, "/press/type"),
        (f"{SETTINGS}/temperature", "392", "392 has no unit"),
        (f"{SETTINGS}/temperature", 392, "must be a string with a unit (°C, °F, K), such as '375 °F', not a number"),
        (f"{SETTINGS}/temperature", "392 psi", "unit 'psi' is not known here"),
        (f"{SETTINGS}/temperature", "3e2 °F", "unit 'e' is not known here"),
        (f"{SETTINGS}/temperature", "NaN °F", "cannot be read as temperature"),
        (f"{SETTINGS}/temperature", "-300 °C", "must be at least -273.15 °C"),
        (f"{SETTINGS}/temperature", "9999999999 °C", "cannot be read as temperature"),
        (f"{SETTINGS}/time", "0 s", "must be above 0 s"),
        (f"{SETTINGS}/pressure", "hard", "cannot be read as pressure"),
        (f"{SETTINGS}/pre_press", "-1 s", "must be at least 0 s"),
    ],
)
def test_a_fault_is_named_where_it_is(pointer: str, value: Any, says: str) -> None:
    refused = faults(Order, order_with(pointer, value))
    near = {where: fault for where, fault in refused.items() if where.startswith(pointer)}
    assert len(refused) == len(near) == 1, refused
    assert any(says in str(fault) for fault in near.values()), refused


@pytest.mark.parametrize("zero", ["0 s", "0s", " 0 s ", "0 min"])
def test_none_of_a_pre_press_may_be_said_as_zero(zero: str) -> None:
    settings = read(Order, order_with(SETTINGS, {"pre_press": zero})).decorations[0].settings
    assert settings is not None
    assert settings.pre_press == 0.0


@pytest.mark.parametrize("text", ["5s", "05 s", "00 s 5 s"])
def test_a_zero_in_front_is_no_zero(text: str) -> None:
    settings = read(Order, order_with(SETTINGS, {"pre_press": text})).decorations[0].settings
    assert settings is not None
    assert settings.pre_press == 5.0


def test_all_faults_are_told_at_once() -> None:
    document = {"item": {"dye": "purple", "color": 1}, "decorations": [{"size": {"width": "3"}}, 4], "quantity": 0}
    assert set(faults(Order, document)) == {
        "/item/dye",
        "/item/color",
        "/decorations/0/size/width",
        "/decorations/0/size/height",
        "/decorations/1",
        "/quantity",
    }


def test_what_is_allowed_is_listed() -> None:
    assert faults(Order, order_with("/item/dye", "purple"))["/item/dye"].allowed[0] == "undyed"
    units_of_temperature = faults(Order, order_with(f"{SETTINGS}/temperature", "5 mm"))[f"{SETTINGS}/temperature"]
    assert units_of_temperature.allowed == ("5 °C", "5 °F", "5 K")
    assert units_of_temperature.message_with_hints.count("5 °F") == 1
    pressure = faults(Order, order_with(f"{SETTINGS}/pressure", "hard"))[f"{SETTINGS}/pressure"].allowed
    assert pressure[:3] == ("light", "medium", "firm")
    pressure = faults(Order, order_with(f"{SETTINGS}/pressure", 3))[f"{SETTINGS}/pressure"].allowed
    assert {"light", "3 kPa", "3 psi", "3 bar"} <= set(pressure)
    assert "blank" in faults(Order, order_with("/item/color", "red"))["/item/color"].allowed
    assert faults(Order, order_with("/item/care", {"iron": 1, "edition": True})).keys() == {"/item/care/edition"}


@pytest.mark.parametrize(("key", "token"), [("a/b", "a~1b"), ("a~b", "a~0b"), ("~1", "~01"), ("plain", "plain")])
def test_keys_are_escaped_in_pointers(key: str, token: str) -> None:
    """RFC 6901, section 3."""
    assert escape(key) == token
    assert set(faults(Order, order_with("/item", {key: 1}))) == {f"/item/{token}"}


def test_wishes_are_those_there_are_each_once() -> None:
    assert read(Order, PLAIN | {"prefer": ["cost", "hand"]}).prefer == ("cost", "hand")
    assert set(faults(Order, PLAIN | {"prefer": ["beauty"]})) == {"/prefer/0"}
    assert set(faults(Order, PLAIN | {"prefer": ["cost", "cost"]})) == {"/prefer"}


def test_names_of_the_book_are_found_with_their_kind() -> None:
    document = order_with("/item/already", ["cut-film"]) | {"press": {"type": "clamshell"}}
    document["decorations"][0]["settings"] = {"cover": "ptfe-sheet", "pressure": "medium"}
    assert set(names_in(read(Order, document))) == {
        ("/item/blank", "blanks", "tee-heavy-white"),
        ("/item/already/0", "transfers", "cut-film"),
        ("/decorations/0/transfer", "transfers|products", "cut-film"),
        ("/decorations/0/settings/cover", "consumables", "ptfe-sheet"),
        ("/press/type", "press_types", "clamshell"),
    }


def test_a_press_of_the_shop_is_no_name_of_the_book() -> None:
    assert not [name for name in names_in(read(Order, PLAIN | {"press": "bench"})) if name[0] == "/press"]


@dataclass(frozen=True, slots=True)
class Odd:
    """Every plain reader, with bounds."""

    word: str = required(Text(3))
    many: tuple[float, ...] = required(Many(Number(0, 1), 2))
    table: dict[str, int] = optional(Table(Name(), Whole(1, 2), most=2))
    gap: float | None = optional(Quantity(units.TEMPERATURE_DIFFERENCE, zero=True))


def test_bounds_hold_at_their_edges() -> None:
    good = {"word": "abc", "many": [0, 1.0], "table": {"a": 1, "b": 2}, "gap": "0 K"}
    assert read(Odd, good) == Odd("abc", (0.0, 1.0), {"a": 1, "b": 2}, 0.0)
    bad = {"word": "abcd", "many": [0, 0, 0], "table": {"a": 1, "b": 2, "c": 1}, "gap": "20 °F"}
    assert set(faults(Odd, bad)) == {"/word", "/many", "/table", "/gap"}


CLASSES: tuple[type, ...] = (Order, Shop, *dict.fromkeys(KINDS.values()))


@pytest.mark.parametrize("cls", CLASSES)
def test_every_reader_describes_itself_as_json(cls: type) -> None:
    for reader, _ in readers_of(cls).values():
        json.dumps(reader.json_schema(), allow_nan=False)


@pytest.mark.parametrize("cls", [Order, Shop])
@pytest.mark.parametrize("document", [None, 3, "text", [], True])
def test_a_document_that_is_no_object_is_refused_at_its_root(cls: type, document: Any) -> None:
    (fault,) = faults(cls, document).values()
    assert fault.pointer == ""
    assert "must be an object" in str(fault)
