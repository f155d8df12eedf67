"""An order as the query of the counter's address, and back: every order that is known says the same both ways."""

from __future__ import annotations

import json
import random
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode

import pytest
import random_orders

from accord_rules.documents.reading import Choice, Many, Object, OneOrSpan, Reader, members_of
from accord_rules.documents.typed import NOTHING
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_service.pages.counter.query import (
    NotInAQueryError,
    TypedOrder,
    changed,
    name_of,
    names_at,
    pairs_of,
    place,
    pointer_of,
    read_order,
    without_print,
)
from accord_service.tables.cells import values_of
from accord_service.tables.columns import Column
from accord_service.tables.headers import read_header
from accord_service.tables.rows import order_of

DEMO = Path(__file__).parents[3] / "demo" / "orders"
ADDRESS_MOST = 4000  # characters: gunicorn takes 4,094 in a request line


def back(document: Mapping[str, Any]) -> TypedOrder:
    """Through the text of an address."""
    return read_order(parse_qsl(urlencode(pairs_of(document))))


def _is_idle(value: Any) -> bool:
    return isinstance(value, Mapping) and all(map(_is_idle, value.values()))


def said(value: Any) -> Any:
    """Without objects in which nothing is said, which mean the same as none."""
    if isinstance(value, Mapping):
        return {key: said(inner) for key, inner in value.items() if not _is_idle(inner) or key == "item"}
    return [said(inner) for inner in value] if isinstance(value, list) else value


def test_every_order_of_the_demo_comes_back_the_same() -> None:
    files = sorted(DEMO.glob("*.json"))
    assert files
    for file in files:
        order = json.loads(file.read_text(encoding="utf-8"))
        assert back(order).document == order, file.stem
        assert len(urlencode(pairs_of(order))) < ADDRESS_MOST, file.stem


def test_random_orders_come_back_the_same(book: Book) -> None:
    rng = random.Random("an order as a query")
    for _ in range(400):
        order = random_orders.order(rng, book)
        assert back(order).document == said(order), order


def test_what_a_form_sends_of_it_is_the_same_order() -> None:
    """Empty fields, a unit beside its number, spaces around: as a browser sends them."""
    sent = [
        ("item.blank", " TS-100-W "),
        ("item.fibres", "65 % PES, 35 % CO"),
        ("item.substrate", ""),
        ("item.features", NOTHING),
        ("use.kinds", "toy"),
        ("use.kinds", "sleepwear"),
        ("use.age_from", "6,5"),
        ("quantity", "24"),
        ("decorations.0.size.width", "5 7/8"),
        ("decorations.0.size.width.unit", "in"),
        ("decorations.0.size.height", "20 cm"),
        ("decorations.0.size.height.unit", "in"),
        ("decorations.0.settings.time.unit", "s"),
        ("decorations.0.artwork.mirrored", "yes"),
        ("decorations.0.sheet.temperature", "150 to 160"),
        ("decorations.0.sheet.temperature.unit", "°C"),
        ("decorations.0.settings.pressure", "Medium"),
        ("decorations.0.settings.pressure.unit", "psi"),
        ("decorations", "2"),
    ]
    order = read_order(sent)
    assert order.faults == ()
    assert order.document == {
        "item": {"blank": "TS-100-W", "fibres": {"PES": 65, "CO": 35}, "features": []},
        "use": {"kinds": ["toy", "sleepwear"], "age_from": 6.5},
        "quantity": 24,
        "decorations": [
            {
                "size": {"width": "5 7/8 in", "height": "20 cm"},
                "artwork": {"mirrored": True},
                "sheet": {"temperature": {"least": "150 °C", "most": "160 °C"}},
                "settings": {"pressure": "medium"},
            },
            {},
        ],
    }
    assert read_order(order.pairs).document == order.document
    assert read_order(pairs_of(order.document)).document == order.document


def test_a_number_without_a_unit_stays_one() -> None:
    """Whoever judges it refuses it: 8 could be inches or centimetres."""
    order = read_order([("decorations.0.size.width", "8"), ("decorations.0.size.width.unit", "")])
    assert order.document["decorations"] == [{"size": {"width": "8"}}]


@pytest.mark.parametrize(
    ("pairs", "pointer", "says"),
    [
        ([("itm.blank", "x")], "", "itm.blank is no field of an order"),
        ([("item", "x")], "", "item is no field of an order"),
        ([("decorations.12.transfer", "x")], "", "decorations.12.transfer is no field of an order"),
        ([("decorations.01.transfer", "x")], "", "decorations.01.transfer is no field of an order"),
        ([("item.blank.unit", "in")], "", "item.blank.unit is no field of an order"),
        ([("quantity", "2,000")], "/quantity", "without a mark between its thousands"),
        ([("use.worn_over", "maybe")], "/use/worn_over", "has to be yes or no"),
        ([("item.fibres", "wool and such")], "/item/fibres", "has to say the percent of each fibre"),
        ([("item.fibres", "polycotton")], "/item/fibres", "has to say the percent of each fibre"),
        ([("item.blank", "a"), ("item.blank", "b")], "/item/blank", "is given more than once"),
        ([("press", "bench"), ("press.type", "clamshell")], "/press", "is named and described"),
        ([("press.type", "clamshell"), ("press", "bench")], "/press", "is named and described"),
    ],
)
def test_what_cannot_be_read_is_told_at_its_field(pairs: Any, pointer: str, says: str) -> None:
    (fault,) = read_order(pairs).faults
    assert fault.pointer == pointer
    assert says in fault.message


def test_a_fibre_alone_is_all_of_it_and_heavy_pressure_is_firm() -> None:
    """Common practice, no source."""
    pairs = [("item.fibres", "nylon"), ("decorations.0.settings.pressure", "Heavy")]
    document = read_order(pairs).document
    assert document["item"]["fibres"] == {"nylon": 100}
    assert document["decorations"][0]["settings"]["pressure"] == "firm"


@pytest.mark.parametrize("typed", ["270-290", "270 – 290", "270-290 °F", "270 to 290"])
def test_a_range_as_sheets_print_it_is_read_with_the_unit_beside_it(typed: str) -> None:
    field = "decorations.0.sheet.temperature"
    (decoration,) = read_order([(field, typed), (f"{field}.unit", "°F")]).document["decorations"]
    assert decoration["sheet"]["temperature"] == {"least": "270 °F", "most": "290 °F"}


def test_a_fraction_is_no_range() -> None:
    field = "decorations.0.size.width"
    (decoration,) = read_order([(field, "1-1/2"), (f"{field}.unit", "in")]).document["decorations"]
    assert decoration["size"]["width"] == "1-1/2 in"


@pytest.mark.parametrize(
    ("header", "name", "text"),
    [
        ("fibres", "item.fibres", "60/40 CO/PES"),
        ("qty", "quantity", "12,0"),
        ("white", "decorations.0.artwork.white", "oui"),
        ("pressure", "decorations.0.settings.pressure", "Heavy"),
        ("width", "decorations.0.size.width", "8 1/2 in"),
        ("sheet temperature", "decorations.0.sheet.temperature", "270-290 °F"),
        ("features", "item.features", "zip; seams|pocket"),
        ("features", "item.features", NOTHING),
    ],
)
def test_a_table_reads_the_same_text_alike(header: str, name: str, text: str) -> None:
    """One home of what people type: the cell of a table and the field of the page are the same document."""
    read = read_header(header)
    assert read is not None
    cell = order_of(values_of(Column(0, header, read), text))
    assert read_order([(name, text)]).document == cell


def test_whatever_an_order_can_say_has_a_place() -> None:
    """Each of its leaves, by the readers of an order themselves."""

    def leaves(reader: Reader, name: str) -> list[str]:
        match reader:
            case OneOrSpan():
                return [name]
            case Object(into=into):
                parts = [leaves(member.reader, f"{name}.{member.name}".strip(".")) for member in members_of(into)]
                return [leaf for part in parts for leaf in part]
            case Many(item=Object() as item):
                return leaves(item, f"{name}.0")
            case _ if isinstance(getattr(reader, "second", None), Object):
                return [name, *leaves(reader.second, name)]  # type: ignore[attr-defined]
            case _:
                return [name]

    names = leaves(Object(Order), "")
    assert len(names) > 120
    assert [name for name in names if place(name) is None] == []
    assert [name for name in names if name_of(pointer_of(name)) != name] == []


def test_a_pointer_of_a_need_leads_to_its_fields() -> None:
    assert names_at("/item/fibres") == ("item.fibres",)
    assert names_at("/decorations/1/size") == ("decorations.1.size.width", "decorations.1.size.height")
    assert names_at("/use")[:2] == ("use.age_from", "use.age_to")
    assert names_at("/item/nowhere") == ()


def test_nothing_is_no_word_of_any_list(book: Book) -> None:
    """It stands for the empty list, so no list may have it for something else."""
    words = {word for kind in book.catalogue for word in book.catalogue[kind]}
    words |= {word for kind in book.aliases for word in book.aliases[kind]}
    assert NOTHING not in words

    def choices(reader: Reader) -> set[str]:
        match reader:
            case Choice(words=listed):
                return set(listed)
            case Object(into=into):
                return set().union(*(choices(member.reader) for member in members_of(into)))
            case Many(item=item):
                return choices(item)
            case _:
                return set()

    assert NOTHING not in choices(Object(Order))


def test_what_no_address_can_say_is_refused() -> None:
    for order in (
        {"item": {"lot": " 7 "}, "decorations": [{}]},
        {"item": {"already": ["one, two"]}, "decorations": [{}]},
    ):
        with pytest.raises(NotInAQueryError):
            pairs_of(order)


def test_changes_as_needs_and_remedies_name_them() -> None:
    order = {"item": {"preparation": ["pre-washed"]}, "decorations": [{"settings": {"time": "5 s"}}]}
    assert changed(order, "/item/care/iron", 2)["item"]["care"] == {"iron": 2}
    assert changed(order, "/item/preparation/0", "primer")["item"] == {"preparation": ["primer"]}
    assert changed(order, "/item/preparation/0", None)["item"] == {"preparation": []}
    assert changed(order, "/decorations/0/settings/time", None)["decorations"] == [{"settings": {}}]
    assert changed(order, "/decorations/0/sheet", None) == order
    assert changed(order, "/evidence", [])["evidence"] == []
    assert order == {"item": {"preparation": ["pre-washed"]}, "decorations": [{"settings": {"time": "5 s"}}]}


def test_a_print_is_taken_away_and_the_others_move_up() -> None:
    order = {
        "item": {"blank": "tee"},
        "decorations": [{"transfer": "a"}, {"transfer": "b", "over": 0}, {"transfer": "c", "over": 1}, {}],
    }
    left = read_order(without_print(pairs_of(order), 0, 4))
    assert left.document["decorations"] == [{"transfer": "b"}, {"transfer": "c", "over": 0}, {}]
    middle = read_order(without_print(pairs_of(order), 1, 4))
    assert middle.document["decorations"] == [{"transfer": "a"}, {"transfer": "c"}, {}]
    assert read_order(without_print(left.pairs, 2, 3)).document["decorations"] == left.document["decorations"][:2]
