"""The marshmallow schemas and ``accord_rules.documents.reading``: two roads through one set of readers, which agree."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from datetime import UTC
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.tiers import of_this_run

from accord_rules.documents import reading
from accord_rules.documents.reading import DocumentError, Fault
from accord_rules.orders.order import DYES, Order
from accord_rules.orders.shop import Shop
from accord_rules.orders.sizes import SIZES, GarmentSizeText
from accord_rules.revision.catalogue import Amount, Blank, Limit, Transfer
from accord_service.api.answers import Catalogue
from accord_service.api.v1.get_rules import RulesQuery
from accord_service.http import wire

DOCUMENTS = (Order, Shop, Limit, Transfer, Blank)
JUNK = st.sampled_from(
    [None, True, 0, -1, 3.0, 3.7, 10**12, "", "200", "200 °C", "4 s", "50 %", "x" * 300, "a\x00b", "½", [], {}, [[]],
     {"a/b~c": 1}, ["x", "x"], {"_schema": 1}, {"": {}}]
)  # fmt: skip


def sound(reader: reading.Reader) -> st.SearchStrategy[Any]:
    """Values that the reader takes."""
    match reader:
        case reading.Text(most):
            characters = st.characters(min_codepoint=32, exclude_categories=("Cs",))
            legible = characters.filter(lambda character: reading.no_text(character) is None)
            return st.text(legible, min_size=1, max_size=min(most, 8))
        case reading.Choice(words):
            return st.sampled_from(words)
        case GarmentSizeText():
            return st.sampled_from([*SIZES, "6x", "134CM"])
        case reading.Flag():
            return st.booleans()
        case reading.Date():
            return st.dates().map(str)
        case reading.Instant():
            return st.datetimes(timezones=st.just(UTC)).map(lambda moment: moment.isoformat(timespec="microseconds"))
        case reading.Whole(least, most):
            return st.integers(least, most)
        case reading.Number(least, most):
            return st.floats(least, most) | st.integers(int(least) + 1, int(most))
        case reading.Quantity(dimension=dimension, zero=zero):
            return st.sampled_from([dimension.example, *([f"0 {dimension.symbol}"] if zero else [])])
        case Amount():
            return st.sampled_from(["200 °C", 5, 5.5])
        case reading.Many(item, most, least, distinct):
            unique = repr if distinct else None
            return st.lists(sound(item), min_size=least, max_size=min(most, least + 2), unique_by=unique)
        case reading.Table(key, value, most, least):
            return st.dictionaries(sound(key), sound(value), min_size=least, max_size=min(most, least + 2))
        case reading.Either(first_if, first, second):
            return sound(first).filter(first_if) | sound(second).filter(lambda value: not first_if(value))
        case reading.Object(into):
            return whole(into, sound)
    raise AssertionError(f"no strategy for {reader}")


def shaky(reader: reading.Reader) -> st.SearchStrategy[Any]:
    """Mostly values that the reader takes, sometimes something else, at any depth."""
    match reader:
        case reading.Object(into):
            inner = st.builds(lambda sound, more: sound | more, whole(into, shaky), MORE)
        case reading.Many(item):
            inner = st.lists(shaky(item), max_size=4)
        case reading.Table(key, value):
            inner = st.dictionaries(sound(key) | st.sampled_from(["", "a/b", "_schema"]), shaky(value), max_size=4)
        case reading.Either(_, first, second):
            inner = shaky(first) | shaky(second)
        case _:
            inner = sound(reader)
    return st.integers(0, 11).flatmap(lambda chance: JUNK if chance == 0 else inner)


MORE = st.dictionaries(st.sampled_from(["zzz", "_schema", "a~/b", "0", "fields"]), JUNK, max_size=1)


def whole(cls: type, kind: Any) -> st.SearchStrategy[dict[str, Any]]:
    readers = reading.readers_of(cls)
    needed = {name: st.deferred(lambda r=reader: kind(r)) for name, (reader, required) in readers.items() if required}
    free = {name: st.deferred(lambda r=reader: kind(r)) for name, (reader, required) in readers.items() if not required}
    return st.fixed_dictionaries(needed, optional=free)


def outcome(load: Any, cls: type, document: Any) -> tuple[Any, frozenset[Fault]]:
    try:
        return load(cls, document), frozenset()
    except DocumentError as error:
        return None, frozenset(error.faults)


SLOW = settings(max_examples=of_this_run(10, 20, 200), deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.parametrize("cls", DOCUMENTS)
@SLOW
@given(data=st.data())
def test_sound_documents_are_read_alike(cls: type, data: st.DataObject) -> None:
    document = data.draw(whole(cls, sound))
    assert wire.load(cls, document) == reading.read(cls, document)


@pytest.mark.parametrize("cls", DOCUMENTS)
@SLOW
@given(data=st.data())
def test_any_documents_are_read_or_refused_alike(cls: type, data: st.DataObject) -> None:
    document = data.draw(st.builds(lambda sound, more: sound | more, whole(cls, shaky), MORE))
    assert outcome(wire.load, cls, document) == outcome(reading.read, cls, document)


def test_the_comparison_sees_a_difference() -> None:
    """The law above would be empty if everything compared equal."""
    fine = {"item": {}, "decorations": [{}]}
    assert outcome(wire.load, Order, fine) != outcome(reading.read, Order, fine | {"quantity": 3})
    assert outcome(wire.load, Order, fine | {"zzz": 1}) != outcome(reading.read, Order, fine | {"yyy": 1})


def test_every_fault_is_told_with_pointer_and_allowed_values() -> None:
    document = {"item": {"care": None, "dye": "ink"}, "decorations": [{"settings": {"temperature": "180"}}], "zzz": 1}
    _, faults = outcome(wire.load, Order, document)
    allowed = {fault.pointer: fault.allowed for fault in faults}
    assert allowed == {
        "/item/care": (),
        "/item/dye": DYES,
        "/decorations/0/settings/temperature": ("180 °C", "180 °F", "180 K"),
        "/zzz": tuple(reading.readers_of(Order)),
    }


def test_faults_come_in_one_order_whatever_the_hash_seed() -> None:
    """marshmallow walks unknown fields as a set; the same refused document must still give the same bytes."""
    script = (
        "from accord_rules.orders.order import Order; from accord_service.http import wire\n"
        "try: wire.load(Order, {w: 1 for w in 'qwertyuiop'})\n"
        "except ValueError as e: print([f.pointer for f in e.faults])"
    )
    seen = {
        subprocess.run(
            [sys.executable, "-c", script], env={"PYTHONPATH": ":".join(sys.path), "PYTHONHASHSEED": seed},
            capture_output=True, text=True, check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }  # fmt: skip
    assert len(seen) == 1
    assert "/q" in seen.pop()


def test_query_strings_give_whole_numbers_as_text() -> None:
    query = wire.load(RulesQuery, {"limit": "7", "level": "notes"}, in_query=True)
    assert dataclasses.asdict(query) == {"cursor": None, "limit": 7, "topic": None, "level": "notes"}


@pytest.mark.parametrize("text", ["", "7.0", "1e1", "0x7", "٧", "0", "201", "99999999999"])
def test_other_texts_are_no_page_size(text: str) -> None:
    with pytest.raises(DocumentError) as caught:
        wire.load(RulesQuery, {"limit": text}, in_query=True)
    assert [fault.pointer for fault in caught.value.faults] == ["/limit"]


def test_an_answers_schema_is_strict_and_takes_what_is_answered() -> None:
    """Contract: answers may get new fields, but none that the shape does not promise yet."""
    kind = {"kind": "blanks", "description": "pieces", "count": 3, "with_sheet": None}
    catalogue = {"revision": 1, "digest": "sha256:x", "entries": [kind], "next": None}
    assert wire.schema_of(Catalogue).validate(catalogue) == {}
    assert wire.schema_of(Catalogue).validate(catalogue | {"surprise": 1}) == {"surprise": ["is not a known field"]}
    assert wire.schema_of(Catalogue).validate(catalogue | {"entries": [kind | {"count": "3"}]})
